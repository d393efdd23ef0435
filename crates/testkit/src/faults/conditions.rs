//! Boards that decode by themselves as builders have them: any length of pulse and pause, boards that let counts wait,
//! drop them or merge them, hands of every shape, hosts that read late, rig files that leave things out.
//!
//! Where [`fault`](super::Fault) asks whether one injected fault is named, this asks what a margin is worth: how often
//! the tally is wrong, how often the truth is outside the margin, and how often it was called certain and was wrong.
//!
//! Constants of the reader were fitted on seeds below [`JUDGED_FROM`]; figures in README and docs are of seeds from there
//! on, which nothing was fitted on.

use super::bench::{Bench, Kinds, buttons};
use crate::{
    Chance, Encoder, Motion, PulseBoard, PulseFaults, PulseLines, Report, Reporting, Sampling, Shape, Wheel,
    WhileBusy, whole,
};
use std::ops::Range;
use std::time::Duration;
use tallywheel_hid_reader::{WheelConfig, WheelFacts, WheelInputs, free_of_loss};
use tallywheel_units::{CountsPerCycle, CountsPerTurn, Timestamp};

/// Seeds from here on judge; those below were used for fitting.
pub const JUDGED_FROM: u64 = 1_000_000;

/// How long a run is, in seconds.
const SECONDS: f64 = 25.0;

/// What a board, its rig file and its hand have in common over many runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Condition {
    /// Pulse and pause are given; the hand keeps to what [`free_of_loss`] allows.
    GivenFree,
    /// The same, and reports are read late, now and then by up to 15 ms.
    GivenFreeLate,
    /// Pulse and pause are given; the hand turns at up to four times the board's rate.
    GivenFast,
    /// Nothing is given; the hand stays below half of the board's rate.
    UnknownSlow,
    /// Nothing is given; the hand turns at up to four times the board's rate.
    UnknownFast,
    /// Nothing is given, the pause is at least 1.6 times the pulse, the board drops what comes while it is busy.
    UnknownLongPause,
    /// One pulse of fifty is lost at random; the hand keeps to what [`free_of_loss`] allows.
    LosesTwoPercent,
    /// Reports are not delivered for 50 ms to 1 s while the wheel turns, at a board that reports at every interval.
    Missing,
    /// The same at a board that reports changes.
    MissingOnChange,
}

impl Condition {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::GivenFree,
        Self::GivenFreeLate,
        Self::GivenFast,
        Self::UnknownSlow,
        Self::UnknownFast,
        Self::UnknownLongPause,
        Self::LosesTwoPercent,
        Self::Missing,
        Self::MissingOnChange,
    ];

    /// In a few words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::GivenFree => "given, free of loss by plan",
            Self::GivenFreeLate => "the same, read late",
            Self::GivenFast => "given, up to 4 x board's rate",
            Self::UnknownSlow => "unknown, below half the rate",
            Self::UnknownFast => "unknown, up to 4 x the rate",
            Self::UnknownLongPause => "unknown, drops, pause >= 1.6",
            Self::LosesTwoPercent => "2 % of pulses lost",
            Self::Missing => "reports missing, every T",
            Self::MissingOnChange => "reports missing, on change",
        }
    }

    /// Runs it from `seed`.
    #[must_use]
    pub fn run(self, seed: u64) -> Option<Run> {
        let mut chance = Chance::new(seed ^ 0x5E_ED0F ^ (self.number() << 40));
        Draw::new(self, &mut chance).run(seed, &mut chance)
    }

    fn number(self) -> u64 {
        Self::ALL.iter().zip(1..).find(|(it, _)| **it == self).map_or(0, |(_, number)| number)
    }

    const fn is_given(self) -> bool {
        matches!(self, Self::GivenFree | Self::GivenFreeLate | Self::GivenFast)
    }

    const fn loses_reports(self) -> bool {
        matches!(self, Self::Missing | Self::MissingOnChange)
    }
}

/// What came of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// What the reader said.
    pub outcome: super::Outcome,
    /// What would have been true, in counts.
    pub truth: i64,
    /// How the bench was set, for people who look into a run.
    pub draw: Draw,
    /// Pulses that were begun, without sign.
    pub pulses: u64,
}

/// What many runs came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Sum {
    /// Runs made.
    pub runs: u64,
    /// Runs whose tally was wrong at the end.
    pub wrong: u64,
    /// Runs whose truth was outside the margin at the end.
    pub outside: u64,
    /// Runs with a margin of 0 at the end.
    pub certain: u64,
    /// Runs that were called certain and were wrong.
    pub certain_and_wrong: u64,
    /// Runs in which a loss was named.
    pub named: u64,
}

impl Sum {
    /// The sum of both.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self {
            runs: self.runs + other.runs,
            wrong: self.wrong + other.wrong,
            outside: self.outside + other.outside,
            certain: self.certain + other.certain,
            certain_and_wrong: self.certain_and_wrong + other.certain_and_wrong,
            named: self.named + other.named,
        }
    }

    /// Runs `condition` from each of `seeds`; `failed` gets those that are outside, or certain and wrong, or in doubt where
    /// nothing was lost and [`free_of_loss`] allowed it.
    #[must_use]
    pub fn of(condition: Condition, seeds: Range<u64>, mut failed: impl FnMut(u64, &Run)) -> Self {
        let mut sum = Self::default();
        for (seed, run) in seeds.filter_map(|seed| Some((seed, condition.run(seed)?))) {
            let outcome = &run.outcome;
            let wrong = outcome.counts.get() != run.truth;
            let outside = !outcome.covers(run.truth);
            let certain = (outcome.margin + outcome.doubt).is_certain();
            let named = outcome.kinds != Kinds::default();
            let one = |it: bool| u64::from(it);
            sum = sum.and(Self {
                runs: 1,
                wrong: one(wrong),
                outside: one(outside),
                certain: one(certain),
                certain_and_wrong: one(certain && wrong),
                named: one(named),
            });
            let free = matches!(condition, Condition::GivenFree | Condition::GivenFreeLate);
            if outside || (free && (named || !certain)) || (condition == Condition::UnknownSlow && !certain) {
                failed(seed, &run);
            }
        }
        sum
    }
}

/// How a bench is set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Draw {
    /// The condition that it is of.
    pub condition: Condition,
    /// The report interval in seconds.
    pub interval: f64,
    /// When the board reports.
    pub reporting: Reporting,
    /// The pulse in seconds.
    pub on: f64,
    /// The pause in seconds.
    pub off: f64,
    /// How many counts may wait.
    pub queue: u32,
    /// What the board does while it is busy.
    pub busy: WhileBusy,
    /// Counts per turn of the wheel.
    pub per_turn: u32,
    /// Whether the encoder's phases are uneven.
    pub uneven: bool,
    /// The hand's peak rate as a share of 1 / (pulse + pause).
    pub share: f64,
    /// The form of its strokes; each its own where there is none.
    pub shape: Option<Shape>,
    /// Whether the rig file has the report interval.
    pub interval_given: bool,
    /// How late reports are read on average, in seconds.
    pub late: f64,
    /// How often in a second the host stalls for 1 to 15 ms.
    pub stalls: f64,
}

impl Draw {
    fn new(condition: Condition, chance: &mut Chance) -> Self {
        use Condition as C;
        let interval: f64 = pick(chance, 0.001, &[0.002, 0.004, 0.008]);
        let least = f64::max(interval, 0.008);
        let on = chance.between(least, 0.06);
        let off = match condition {
            C::UnknownLongPause => (on * chance.between(1.6, 4.0)).min(0.06),
            _ => chance.between(least, 0.06),
        };
        let (queue, busy) = match place(chance, 8) {
            _ if condition == C::UnknownLongPause => (0, WhileBusy::Queue),
            0..3 => (0, WhileBusy::Queue),
            3 => (1, WhileBusy::Queue),
            4 => (2 + chance.below(6), WhileBusy::Queue),
            5 => (8 + chance.below(100), WhileBusy::Queue),
            6 => (0, WhileBusy::Extend),
            _ => (1, WhileBusy::Extend),
        };
        let per_turn = pick(chance, 24, &[48, 96, 100]);
        let uneven = chance.happens(0.25);
        let longest = free_of_loss(seconds(on), seconds(off), seconds(interval));
        let mut free = longest.map_or(0.7, |longest| (on + off) / longest.as_secs_f64());
        if uneven {
            free *= 0.6;
        }
        let share = match condition {
            C::GivenFree | C::GivenFreeLate | C::LosesTwoPercent | C::Missing | C::MissingOnChange => {
                if chance.happens(0.3) {
                    free
                } else {
                    chance.between(0.15, free)
                }
            }
            C::UnknownSlow => chance.between(0.1, if uneven { 0.3 } else { 0.5 }),
            C::GivenFast | C::UnknownFast | C::UnknownLongPause => {
                0.3 * (4.0_f64 / 0.3).powf(chance.between(0.0, 1.0))
            }
        };
        let reporting = match condition {
            C::Missing => Reporting::Fixed,
            C::MissingOnChange => Reporting::OnChange,
            _ => pick(chance, Reporting::Fixed, &[Reporting::OnChange]),
        };
        let late = pick(chance, 0.0, &[20e-6, 100e-6, 300e-6]);
        let stalls = if condition == C::GivenFreeLate { 0.5 } else { 0.0 };
        let shape = chance.happens(0.75).then(|| {
            pick(chance, Shape::MinimumJerk, &[Shape::RaisedCosine, Shape::Trapezoid, Shape::StickSlip])
        });
        let interval_given = chance.happens(0.7);
        Self {
            condition,
            interval,
            reporting,
            on,
            off,
            queue,
            busy,
            per_turn,
            uneven,
            share,
            shape,
            interval_given,
            late,
            stalls,
        }
    }

    /// Strokes of every shape, regrips, rests, reversals.
    fn motion(&self, chance: &mut Chance) -> Motion {
        let peak = self.share / (self.on + self.off) / f64::from(self.per_turn);
        let longest = chance.between(0.3, 1.0);
        let mut motion = Motion::resting_at(chance.between(0.0, 1.0));
        motion.rest(0.4);
        let same_peaks = chance.happens(0.3);
        while motion.ends() < SECONDS {
            let shape = self.shape.unwrap_or_else(|| {
                pick(chance, Shape::MinimumJerk, &[Shape::RaisedCosine, Shape::Trapezoid, Shape::StickSlip])
            });
            let way = if chance.happens(0.3) { -1.0 } else { 1.0 };
            let speed = if same_peaks { peak } else { peak * chance.between(0.4, 1.0) };
            motion.stroke_of(shape, way * chance.between(0.15, longest), speed);
            match chance.below(10) {
                0 => {}
                1..3 => motion.rest(chance.between(0.6, 2.0)),
                _ => motion.rest(chance.between(0.05, 0.35)),
            }
        }
        motion.rest(0.5);
        motion
    }

    fn run(&self, seed: u64, chance: &mut Chance) -> Option<Run> {
        let motion = self.motion(chance);
        let strokes: Vec<_> = motion.strokes().collect();
        let ends = motion.ends();
        let mut encoder = Encoder::ideal(self.per_turn);
        if self.uneven {
            encoder = encoder.with_phase_error(chance);
        }
        let wheel = Wheel { motion, encoder, detents: None, offset: chance.between(0.0, 1.0) };
        let [forward, backward] = buttons();
        let sampling =
            Sampling { interval: self.interval, jitter: 0.0, latency: 0.0, reporting: self.reporting };
        let mut board = PulseBoard::new(sampling, &wheel, forward, backward, Chance::new(chance.seed()));
        (board.pulse_on, board.pulse_off, board.queue) = (self.on, self.off, self.queue);
        (board.busy, board.per_cycle) = (self.busy, CountsPerCycle::X4);
        board.lines = if chance.happens(0.3) { PulseLines::Independent } else { PulseLines::Shared };
        let loses = if self.condition == Condition::LosesTwoPercent { 0.02 } else { 0.0 };
        board.faults = PulseFaults { loses, ..PulseFaults::default() };
        let known = |time: f64| self.condition.is_given().then(|| seconds(time));
        let facts = WheelFacts {
            counts_per_turn: CountsPerTurn::new(self.per_turn),
            pulse_on: known(self.on),
            pulse_off: known(self.off),
            counts_per_detent: None,
        };
        let inputs = WheelInputs::Pulses { forward, backward };
        let config = WheelConfig { inputs, pressed_at_rest: false, index: None };
        let mut bench = Bench::new(config, self.interval_given.then_some(self.interval), &facts)?;
        let hole = self.condition.loses_reports().then(|| {
            let (from, to) = strokes.get(place(chance, strokes.len())).copied().unwrap_or((1.0, 2.0));
            (from + (to - from) * chance.between(0.1, 0.9), 0.05 * 20_f64.powf(chance.between(0.0, 1.0)))
        });
        let mut reader = LateReader::new(self.late, self.stalls, Chance::new(seed ^ 0x1A7E));
        for report in board.by_ref() {
            let sampled = report.at.seconds();
            if hole.is_some_and(|(from, lasts)| (from..from + lasts).contains(&sampled)) {
                continue;
            }
            bench.read(reader.read(report));
        }
        bench.touch(ends);
        let tally = board.tally();
        let pulses = tally.pulsed.unsigned_abs();
        Some(Run { outcome: bench.outcome(), truth: tally.truth, draw: *self, pulses })
    }
}

/// Reads late and never early: exponential, with stalls now and then after which all that waited is read in one go.
struct LateReader {
    late: f64,
    stalls: f64,
    chance: Chance,
    next_stall: f64,
    stalled_until: f64,
    read_last: f64,
}

impl LateReader {
    fn new(late: f64, stalls: f64, chance: Chance) -> Self {
        let mut reader =
            Self { late, stalls, chance, next_stall: f64::INFINITY, stalled_until: 0.0, read_last: 0.0 };
        if stalls > 0.0 {
            reader.next_stall = reader.exponential(1.0 / stalls);
        }
        reader
    }

    fn exponential(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.chance.between(0.0, 1.0)).ln()
    }

    fn read(&mut self, report: Report) -> Report {
        let sampled = report.at.seconds();
        while self.next_stall <= sampled {
            self.stalled_until = self.next_stall + self.chance.between(0.001, 0.015);
            self.next_stall += self.exponential(1.0 / self.stalls);
        }
        let late = if self.late > 0.0 { self.exponential(self.late) } else { 0.0 };
        self.read_last = (sampled + late).max(self.stalled_until).max(self.read_last + 20e-6);
        Report { at: Timestamp::from_nanos(whole::nanos(self.read_last)), ..report }
    }
}

fn seconds(time: f64) -> Duration {
    Duration::from_secs_f64(time)
}

/// One of `first` and `others`.
fn pick<T: Copy>(chance: &mut Chance, first: T, others: &[T]) -> T {
    let place = place(chance, others.len() + 1);
    place.checked_sub(1).and_then(|place| others.get(place)).copied().unwrap_or(first)
}

fn place(chance: &mut Chance, of: usize) -> usize {
    let below = chance.below(u32::try_from(of).unwrap_or(u32::MAX));
    usize::try_from(below).unwrap_or_default()
}
