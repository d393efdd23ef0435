//! A wheel turned as `tallywheel learn` asks: one turn each way between two marks, three times slowly, then three
//! times briskly, then click by click.

use crate::{
    ButtonField, Chance, Detents, Encoder, Motion, PulseBoard, PulseTally, RawBoard, Recorder, Report,
    Reporting, Sampling, Wheel, whole,
};
use tallywheel_units::{ButtonNumber, Buttons, CountsPerCycle, Timestamp};

/// What the board makes of the encoder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LessonBoard {
    /// Lines A and B as they are.
    Raw,
    /// One pulse for each count.
    Pulses {
        /// What it counts.
        per_cycle: CountsPerCycle,
        /// How long it presses, in seconds.
        on: f64,
        /// How long it releases, in seconds.
        off: f64,
        /// Counts that may wait.
        queue: u32,
    },
}

/// What a second wheel does meanwhile, raw on buttons 9 and 10 of a board with raw lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SecondWheel {
    /// It turns along with the first all the time.
    Along,
    /// It is turned instead of the first in the third and fourth turn.
    Instead,
}

/// How the wheel is built and turned.
#[derive(Debug, Clone)]
pub struct Lesson {
    /// What the board does.
    pub board: LessonBoard,
    /// Cycles of the encoder in a turn.
    pub cycles: u32,
    /// Clicks in a turn, if it has any.
    pub clicks: Option<u32>,
    /// How the board reports.
    pub sampling: Sampling,
    /// Whether the lines are pressed when idle.
    pub pressed_at_rest: bool,
    /// The button of line A or of forward counts, and the other.
    pub buttons: [u8; 2],
    /// Peak speed of the slow turns in turns/s.
    pub slow: f64,
    /// Peak speed of the brisk turns in turns/s.
    pub brisk: f64,
    /// How far an eye sets the wheel off its mark, in degrees either way. Clicks hold it on its mark.
    pub eye_degrees: f64,
    /// The shortest and the longest rest before a mark, and after it, in seconds.
    pub rest: (f64, f64),
    /// How often somebody presses another button, 12 or 13, meanwhile.
    pub presses: u32,
    /// What another wheel does.
    pub second: Option<SecondWheel>,
}

/// What came of a lesson.
#[derive(Debug, Clone)]
pub struct Taught {
    /// What the board sent.
    pub reports: Vec<Report>,
    /// When the wheel stood at its mark, or after a click (true).
    pub marks: Vec<(Timestamp, bool)>,
    /// What became of the counts, for a board that pulses.
    pub pulses: Option<PulseTally>,
}

/// Slow turns, then as many brisk ones.
const TURNS: usize = 6;
/// Clicks marked after the turns.
const CLICKS: usize = 8;

impl Lesson {
    /// A wheel of 24 cycles and 24 clicks on raw lines at 4 ms, turned with care.
    #[must_use]
    pub const fn raw() -> Self {
        Self {
            board: LessonBoard::Raw,
            cycles: 24,
            clicks: Some(24),
            sampling: Sampling::every(0.004, Reporting::Fixed),
            pressed_at_rest: false,
            buttons: [1, 2],
            slow: 0.25,
            brisk: 1.0,
            eye_degrees: 0.4,
            rest: (0.6, 0.9),
            presses: 0,
            second: None,
        }
    }

    /// Counts in a turn as the board gives them: pulses, or edges.
    #[must_use]
    pub const fn counts_per_turn(&self) -> u32 {
        match self.board {
            LessonBoard::Raw => 4 * self.cycles,
            LessonBoard::Pulses { per_cycle, .. } => per_cycle.get() * self.cycles,
        }
    }

    /// Gives the lesson.
    #[must_use]
    pub fn teach(&self, chance: &mut Chance) -> Taught {
        let mut marks = Vec::new();
        let motion = self.motion(chance, &mut marks);
        let edges = 4 * self.cycles;
        let mut encoder = Encoder::ideal(edges).with_phase_error(chance);
        // Fine encoders are optical: there is no contact to bounce. A board that decodes filters it itself.
        if self.board == LessonBoard::Raw && self.cycles <= 64 {
            encoder = encoder.with_bounce(chance);
        }
        let detents = self.clicks.map(|per_turn| Detents { per_turn, depth: 0.6, half_at: 0.3 });
        let offset = if self.clicks.is_some() { 0.5 } else { chance.between(0.0, 4.0) };
        let wheel = Wheel { motion, encoder, detents, offset };
        let [a, b] = self.buttons.map(|n| ButtonNumber::new(n).unwrap_or(ButtonNumber::LAST));
        let own = Chance::new(chance.seed());
        let (reports, pulses) = match self.board {
            LessonBoard::Raw => {
                let second = self.second.map(|_| Wheel {
                    motion: self.other_motion(&wheel.motion),
                    encoder: Encoder::ideal(edges),
                    detents: None,
                    offset: 0.5,
                });
                let mut board = RawBoard::new(self.sampling, own).with(&wheel, a, b);
                if let (Some(second), Some(c), Some(d)) =
                    (&second, ButtonNumber::new(9), ButtonNumber::new(10))
                {
                    board = board.with(second, c, d);
                }
                (board.collect(), None)
            }
            LessonBoard::Pulses { per_cycle, on, off, queue } => {
                let mut board = PulseBoard::new(self.sampling, &wheel, a, b, own);
                (board.per_cycle, board.pulse_on, board.pulse_off, board.queue) = (per_cycle, on, off, queue);
                let reports = board.by_ref().collect();
                (reports, Some(board.tally()))
            }
        };
        let reports = self.disturbed(reports, a, b, chance);
        let marks = marks
            .into_iter()
            .map(|(time, click)| (Timestamp::from_nanos(whole::nanos(time)), click))
            .collect();
        Taught { reports, marks, pulses }
    }

    /// Whether turn `n` of the first wheel is given to the second one.
    fn given_away(&self, n: usize) -> bool {
        self.second == Some(SecondWheel::Instead) && (n == 2 || n == 3)
    }

    fn motion(&self, chance: &mut Chance, marks: &mut Vec<(f64, bool)>) -> Motion {
        let mut motion = Motion::resting_at(0.0);
        let rest = |motion: &mut Motion, marks: &mut Vec<(f64, bool)>, click: bool, chance: &mut Chance| {
            motion.rest(chance.between(self.rest.0, self.rest.1));
            marks.push((motion.ends(), click));
            motion.rest(chance.between(self.rest.0, self.rest.1));
        };
        rest(&mut motion, marks, false, chance);
        for turn in 0..2 * TURNS {
            let eye = if self.clicks.is_some() {
                0.0
            } else {
                chance.between(-self.eye_degrees, self.eye_degrees) / 360.0
            };
            let to = eye + if turn % 2 == 0 { 1.0 } else { 0.0 };
            let peak = if turn < TURNS { self.slow } else { self.brisk };
            if self.given_away(turn) {
                motion.rest(3.0);
            } else {
                // A turn is a few strokes with regrips between them.
                let strokes = 2 + chance.below(3);
                let from = motion.rests_at();
                for stroke in 1..=strokes {
                    let part = f64::from(stroke) / f64::from(strokes);
                    let place = from + (to - from) * part;
                    let place = match self.clicks {
                        Some(clicks) if stroke < strokes => {
                            (place * f64::from(clicks)).round() / f64::from(clicks)
                        }
                        _ => place,
                    };
                    motion.stroke(place - motion.rests_at(), peak * chance.between(0.7, 1.0));
                    motion.rest(chance.between(0.05, 0.3));
                }
            }
            rest(&mut motion, marks, false, chance);
        }
        if let Some(clicks) = self.clicks {
            for _ in 0..CLICKS {
                motion.stroke(1.0 / f64::from(clicks), 0.2);
                rest(&mut motion, marks, true, chance);
            }
        }
        motion
    }

    /// The second wheel: as the first one, or a turn each way while that one rests.
    fn other_motion(&self, first: &Motion) -> Motion {
        match self.second {
            Some(SecondWheel::Along) | None => first.clone(),
            Some(SecondWheel::Instead) => {
                let strokes: Vec<_> = first.strokes().collect();
                let longest = strokes
                    .windows(2)
                    .filter_map(|pair| match pair {
                        [one, next] => Some((one.1, next.0)),
                        _ => None,
                    })
                    .max_by(|one, other| (one.1 - one.0).total_cmp(&(other.1 - other.0)));
                let mut motion = Motion::resting_at(0.0);
                if let Some((begins, _)) = longest {
                    // The gap is two turns of 3 s and the rests around them.
                    motion.rest_until(begins + 0.2 + 2.0 * self.rest.1);
                    motion.stroke(1.0, 0.75);
                    motion.rest(1.9);
                    motion.stroke(-1.0, 0.75);
                }
                motion.rest_until(first.ends());
                motion
            }
        }
    }

    /// The reports as idle lines and other fingers leave them.
    fn disturbed(
        &self,
        reports: Vec<Report>,
        a: ButtonNumber,
        b: ButtonNumber,
        chance: &mut Chance,
    ) -> Vec<Report> {
        let idle = if self.pressed_at_rest { a.mask() | b.mask() } else { 0 };
        let end = reports.last().map_or(0.0, |report| report.at.seconds());
        let mut presses: Vec<(f64, f64, u128)> = (0..self.presses)
            .filter_map(|press| {
                let button = ButtonNumber::new(if press % 2 == 0 { 12 } else { 13 })?;
                let begins = chance.between(0.0, end);
                Some((begins, begins + chance.between(0.05, 0.4), button.mask()))
            })
            .collect();
        presses.sort_by(|one, other| one.0.total_cmp(&other.0));
        let mut moments: Vec<f64> = presses.iter().flat_map(|press| [press.0, press.1]).collect();
        moments.sort_by(f64::total_cmp);
        let pressed = |time: f64| {
            presses
                .iter()
                .filter(|press| press.0 <= time && time < press.1)
                .fold(0, |all, press| all | press.2)
        };
        let mut moments = moments.into_iter().peekable();
        let mut disturbed = Vec::with_capacity(reports.len());
        let mut last = 0;
        for report in reports {
            // A board that reports changes reports these as well.
            while let Some(moment) = moments.next_if(|moment| *moment < report.at.seconds()) {
                if self.sampling.reporting == Reporting::OnChange {
                    let at = Timestamp::from_nanos(whole::nanos(moment));
                    let buttons = Buttons::from_bits(last | pressed(moment));
                    disturbed.push(Report { at, buttons });
                }
            }
            last = report.buttons.bits() ^ idle;
            let buttons = Buttons::from_bits(last | pressed(report.at.seconds()));
            disturbed.push(Report { at: report.at, buttons });
        }
        disturbed
    }

    /// A recording of the lesson with its marks, as `tallywheel learn --save` writes it.
    #[must_use]
    pub fn recording(&self, name: &str, chance: &mut Chance) -> String {
        let taught = self.teach(chance);
        let mut recorder = Recorder::new(name, ButtonField::Sixteen);
        recorder.comment(&format!("{} counts in a turn, as the testkit made it", self.counts_per_turn()));
        let mut marks = taught.marks.iter().peekable();
        for report in &taught.reports {
            while let Some((_, click)) = marks.next_if(|(at, _)| *at < report.at) {
                recorder.comment(if *click { "mark click" } else { "mark" });
            }
            recorder.report(report);
        }
        for (_, click) in marks {
            recorder.comment(if *click { "mark click" } else { "mark" });
        }
        recorder.finish()
    }
}

/// The recording in tests/recordings/learn/rudder.hid: the bench's rudder before anything is known about it. Line
/// A is on button 2, so that forward is the other way round than the buttons' numbers.
#[must_use]
pub fn rudder() -> String {
    let sampling = Sampling::every(0.004, Reporting::OnChange);
    Lesson { sampling, buttons: [2, 1], ..Lesson::raw() }.recording("Bench board", &mut Chance::new(3))
}

/// The recording in tests/recordings/learn/elevator.hid: a board that pulses 20 ms on, 20 ms off without a queue,
/// turned faster than that.
#[must_use]
pub fn elevator() -> String {
    let board = LessonBoard::Pulses { per_cycle: CountsPerCycle::X1, on: 0.02, off: 0.02, queue: 0 };
    let sampling = Sampling::every(0.004, Reporting::OnChange);
    Lesson { board, sampling, buttons: [3, 4], brisk: 2.5, ..Lesson::raw() }
        .recording("Bench board", &mut Chance::new(4))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_committed_recordings_are_those_that_the_testkit_writes() {
        for (name, text) in [("rudder", rudder()), ("elevator", elevator())] {
            let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/recordings/learn");
            let committed = std::fs::read_to_string(format!("{folder}/{name}.hid")).unwrap_or_default();
            assert!(
                committed == text,
                "run `cargo run -p tallywheel-testkit -- lesson {name} tests/recordings/learn/{name}.hid`"
            );
            assert!(text.len() < 200 * 1024, "{}", text.len());
        }
    }

    #[test]
    fn every_turn_is_marked_and_every_click() {
        let taught = Lesson::raw().teach(&mut Chance::new(1));
        assert_eq!(taught.marks.iter().filter(|(_, click)| !click).count(), 1 + 2 * TURNS);
        assert_eq!(taught.marks.iter().filter(|(_, click)| *click).count(), CLICKS);
        assert!(taught.marks.windows(2).all(|pair| pair[0].0 < pair[1].0));
    }
}
