use crate::{Chance, Encoder, Report, Reporting, Sampling, Wheel, WheelCursor};
use tallywheel_units::{ButtonNumber, Buttons, CountsPerCycle, Timestamp};

/// Whether a board gives out its pulses one after the other, or each direction on its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PulseLines {
    /// One pulse at a time, in the order of the counts.
    Shared,
    /// Each direction has its own queue, so both lines may be pressed at once.
    Independent,
}

/// What a board does with a count that comes while it presses a button or pauses after it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum WhileBusy {
    /// It lets the count wait where its queue has room, and drops it where it has none.
    #[default]
    Queue,
    /// It presses the button for longer, for a whole pulse from the new count on; in the pause it does as with a queue.
    Extend,
}

/// What is wrong with a board or with the wires to it. Nothing by default.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PulseFaults {
    /// A pulse is cut off when the next count comes.
    pub cuts_off: bool,
    /// The first count after this time in seconds gets no pulse.
    pub misses_after: Option<f64>,
    /// From this time in seconds on the forward button is pressed.
    pub sticks_after: Option<f64>,
    /// Every so many pulses the other button is pressed for the same time.
    pub echoes_every: Option<u64>,
    /// Line A or B of the encoder is off.
    pub dead: Option<DeadLine>,
    /// Each count is lost with this probability, whatever the board is doing.
    pub loses: f64,
}

/// Which of an encoder's lines is off, and so at rest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DeadLine {
    /// Line A.
    A,
    /// Line B.
    B,
}

impl DeadLine {
    /// What is left of the lines A and B.
    #[must_use]
    pub const fn of(dead: Option<Self>, (a, b): (bool, bool)) -> (bool, bool) {
        match dead {
            None => (a, b),
            Some(Self::A) => (false, b),
            Some(Self::B) => (a, false),
        }
    }
}

/// A board that decodes an encoder itself and presses one button per count and direction.
/// An iterator over its reports.
#[derive(Debug)]
pub struct PulseBoard<'a> {
    /// How it reports.
    pub sampling: Sampling,
    /// How often it looks at the encoder, in seconds.
    pub looks_every: f64,
    /// What it counts.
    pub per_cycle: CountsPerCycle,
    /// How long it presses a button for a count, in seconds.
    pub pulse_on: f64,
    /// How long it releases it before the next, in seconds.
    pub pulse_off: f64,
    /// How many counts may wait for their pulse; further ones are dropped.
    pub queue: u32,
    /// What it does with a count while it is busy.
    pub busy: WhileBusy,
    /// How the directions share the time.
    pub lines: PulseLines,
    /// What is wrong with it.
    pub faults: PulseFaults,
    wheel: &'a Wheel,
    forward: ButtonNumber,
    backward: ButtonNumber,
    chance: Chance,
    cursor: WheelCursor,
    edges: Option<i64>,
    phase: i64,
    pulses: u64,
    looked: f64,
    reports: f64,
    read_last: Timestamp,
    sent: Option<Buttons>,
    tally: PulseTally,
    outlets: [Outlet; 2],
}

/// What truly became of the counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PulseTally {
    /// What the encoder's lines went through, in edges, signed.
    pub edges: i64,
    /// What the board would have made of it with nothing wrong, in counts, signed.
    pub truth: i64,
    /// What the board made of it, in counts, signed.
    pub counted: i64,
    /// Pulses begun, signed.
    pub pulsed: i64,
    /// Counts dropped because the queue was full, without sign.
    pub dropped: u64,
    /// Counts that made a pulse longer and got none of their own, without sign.
    pub merged: u64,
    /// Counts lost by [`PulseFaults::loses`], without sign.
    pub lost: u64,
    /// Times that both lines had changed when the board looked.
    pub unreadable: u64,
}

/// What presses one button, or both in turn where they are shared.
#[derive(Debug, Clone, Copy, Default)]
struct Outlet {
    /// Counts that wait, oldest in bit 0; a set bit is a forward count.
    waiting: u128,
    length: u32,
    /// The pulse being given: forward or not, and when it was begun.
    pulse: Option<(bool, f64)>,
    free_at: f64,
}

impl Outlet {
    fn add(&mut self, forward: bool, limit: u32) -> bool {
        // Whatever the limit, what does not fit into the word is dropped too.
        if self.length >= limit.min(127) {
            return false;
        }
        self.waiting |= u128::from(forward) << self.length;
        self.length += 1;
        true
    }

    fn take(&mut self) -> Option<bool> {
        if self.length == 0 {
            return None;
        }
        let forward = self.waiting & 1 == 1;
        self.waiting >>= 1;
        self.length -= 1;
        Some(forward)
    }
}

impl<'a> PulseBoard<'a> {
    /// A board with common settings: it looks every 0.25 ms, presses for 20 ms, releases for 20 ms and lets 32
    /// counts wait. Common practice, no source.
    #[must_use]
    pub fn new(
        sampling: Sampling,
        wheel: &'a Wheel,
        forward: ButtonNumber,
        backward: ButtonNumber,
        chance: Chance,
    ) -> Self {
        Self {
            sampling,
            looks_every: 0.000_25,
            per_cycle: CountsPerCycle::X4,
            pulse_on: 0.02,
            pulse_off: 0.02,
            queue: 32,
            busy: WhileBusy::default(),
            lines: PulseLines::Shared,
            faults: PulseFaults::default(),
            wheel,
            forward,
            backward,
            chance,
            cursor: WheelCursor::default(),
            edges: None,
            phase: 0,
            pulses: 0,
            looked: 0.0,
            reports: 0.0,
            read_last: Timestamp::START,
            sent: None,
            tally: PulseTally::default(),
            outlets: [Outlet::default(); 2],
        }
    }

    /// What became of the counts so far.
    #[must_use]
    pub const fn tally(&self) -> PulseTally {
        self.tally
    }

    /// Counts that still wait for their pulse.
    #[must_use]
    pub const fn waiting(&self) -> u32 {
        self.outlets[0].length + self.outlets[1].length
    }

    fn look(&mut self) {
        let now = self.wheel.edges(&mut self.cursor, self.looked);
        let before = self.edges.replace(now).unwrap_or(now);
        self.tally.edges += now - before;
        self.tally.truth += self.per_cycle_counts(now) - self.per_cycle_counts(before);
        // The board sees phases only, so it decodes by the published table, not by the truth.
        let phase = match DeadLine::of(self.faults.dead, Encoder::lines(now)) {
            (false, false) => 0,
            (true, false) => 1,
            (true, true) => 2,
            (false, true) => 3,
        };
        let before = std::mem::replace(&mut self.phase, phase);
        if self.looked <= self.looks_every {
            return;
        }
        let step = match (phase - before).rem_euclid(4) {
            1 => 1,
            3 => -1,
            0 => 0,
            _ => {
                self.tally.unreadable += 1;
                0
            }
        };
        if self.per_cycle_counts(before + step) == self.per_cycle_counts(before) {
            return;
        }
        let forward = step > 0;
        self.tally.counted += step;
        if self.faults.misses_after.is_some_and(|time| self.looked >= time) {
            self.faults.misses_after = None;
            return;
        }
        if self.faults.loses > 0.0 && self.chance.happens(self.faults.loses) {
            self.tally.lost += 1;
            return;
        }
        let limit = self.queue;
        let busy = self.looked;
        let extends = self.busy == WhileBusy::Extend;
        let outlet = self.outlet(forward);
        if let (true, Some((pressed, begun))) = (extends, &mut outlet.pulse)
            && *pressed == forward
        {
            *begun = busy;
            self.tally.merged += 1;
            return;
        }
        // Without a queue a count still gets its pulse when nothing is being pulsed.
        let room = if limit == 0 && outlet.pulse.is_none() && outlet.free_at <= busy { 1 } else { limit };
        if !outlet.add(forward, room) {
            self.tally.dropped += 1;
        }
    }

    /// Counts at edge `e`: all edges; both of A, which changes between phases 0 and 1 and between 2 and 3
    /// (00 -> 10 and 11 -> 01); or A rising while going forward and falling while going back, between 0 and 1.
    fn per_cycle_counts(&self, e: i64) -> i64 {
        match self.per_cycle {
            CountsPerCycle::X4 => e,
            CountsPerCycle::X2 => (e + 1).div_euclid(2),
            CountsPerCycle::X1 => (e + 3).div_euclid(4),
        }
    }

    fn outlet(&mut self, forward: bool) -> &mut Outlet {
        let [first, second] = &mut self.outlets;
        if forward || self.lines == PulseLines::Shared { first } else { second }
    }

    fn press(&mut self) {
        let (now, on, off) = (self.looked, self.pulse_on, self.pulse_off);
        for outlet in &mut self.outlets {
            if let Some((_, begun)) = outlet.pulse
                && (now >= begun + on || self.faults.cuts_off && outlet.length > 0)
            {
                outlet.pulse = None;
                outlet.free_at = now.min(begun + on) + off;
            }
            if outlet.pulse.is_none()
                && now >= outlet.free_at
                && let Some(forward) = outlet.take()
            {
                outlet.pulse = Some((forward, now));
                self.pulses += 1;
                self.tally.pulsed += if forward { 1 } else { -1 };
            }
        }
    }

    fn buttons(&self) -> Buttons {
        let button = |forward| if forward { self.forward } else { self.backward };
        let echo = self.faults.echoes_every.is_some_and(|every| self.pulses.is_multiple_of(every));
        let pulses = self.outlets.iter().filter_map(|outlet| outlet.pulse);
        let buttons = pulses.fold(Buttons::NONE, |buttons, (forward, _)| {
            let buttons = buttons.with(button(forward), true);
            if echo { buttons.with(button(!forward), true) } else { buttons }
        });
        if self.faults.sticks_after.is_some_and(|time| self.looked >= time) {
            return buttons.with(self.forward, true);
        }
        buttons
    }
}

impl Iterator for PulseBoard<'_> {
    type Item = Report;

    fn next(&mut self) -> Option<Report> {
        let idle = |board: &Self| board.waiting() == 0 && board.outlets.iter().all(|o| o.pulse.is_none());
        while self.reports < self.wheel.motion.ends() || !idle(self) {
            self.reports += self.sampling.step(&mut self.chance);
            while self.looked + self.looks_every <= self.reports {
                self.looked += self.looks_every;
                self.look();
                self.press();
            }
            let buttons = self.buttons();
            if self.sampling.reporting == Reporting::OnChange && self.sent == Some(buttons) {
                continue;
            }
            self.sent = Some(buttons);
            self.read_last = self.sampling.read_at(self.reports, &mut self.chance).max(self.read_last);
            return Some(Report { at: self.read_last, buttons });
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Motion;

    fn turning(edges_per_turn: u32, turns: f64, peak: f64) -> Wheel {
        let mut motion = Motion::resting_at(0.0);
        motion.rest(0.1);
        motion.stroke(turns, peak);
        motion.rest(0.1);
        Wheel { motion, encoder: Encoder::ideal(edges_per_turn), detents: None, offset: 0.5 }
    }

    fn buttons() -> (ButtonNumber, ButtonNumber) {
        (ButtonNumber::new(3).unwrap(), ButtonNumber::new(4).unwrap())
    }

    fn rising(reports: &[Report], button: ButtonNumber) -> i64 {
        let pressed = |r: &Report| r.buttons.pressed(button);
        i64::try_from(reports.windows(2).filter(|w| !pressed(&w[0]) && pressed(&w[1])).count()).unwrap()
    }

    #[test]
    fn slow_turning_gives_one_pulse_per_count_for_every_counts_per_cycle() {
        let (up, down) = buttons();
        for (per_cycle, expected) in
            [(CountsPerCycle::X1, 24), (CountsPerCycle::X2, 48), (CountsPerCycle::X4, 96)]
        {
            for turns in [1.0, -1.0] {
                let wheel = turning(96, turns, 0.2);
                let mut board = PulseBoard::new(
                    Sampling::every(0.001, Reporting::OnChange),
                    &wheel,
                    up,
                    down,
                    Chance::new(1),
                );
                (board.per_cycle, board.pulse_on, board.pulse_off) = (per_cycle, 0.01, 0.01);
                let reports: Vec<_> = board.by_ref().collect();
                let tally = board.tally();
                assert_eq!((tally.dropped, tally.unreadable), (0, 0));
                assert_eq!(
                    rising(&reports, up) - rising(&reports, down),
                    if turns > 0.0 { expected } else { -expected }
                );
                assert_eq!(tally.pulsed, tally.counted);
            }
        }
    }

    #[test]
    fn a_board_without_a_queue_drops_what_comes_while_it_is_busy() {
        let (up, down) = buttons();
        let wheel = turning(96, 1.0, 1.0);
        let mut board =
            PulseBoard::new(Sampling::every(0.001, Reporting::OnChange), &wheel, up, down, Chance::new(1));
        board.queue = 0;
        let reports: Vec<_> = board.by_ref().collect();
        let tally = board.tally();
        assert_eq!(tally.counted, 96);
        assert_eq!(rising(&reports, up), tally.pulsed);
        assert_eq!(tally.pulsed.unsigned_abs() + tally.dropped, 96);
        assert!(tally.dropped > 40, "{tally:?}");
        // The top rate is one pulse in 40 ms, and the stroke takes 1.875 s.
        assert!(tally.pulsed <= 1 + 1_875 / 40, "{tally:?}");
    }

    #[test]
    fn a_queue_drains_after_the_hand_has_stopped() {
        let (up, down) = buttons();
        let wheel = turning(96, 0.25, 1.0);
        let mut board =
            PulseBoard::new(Sampling::every(0.001, Reporting::OnChange), &wheel, up, down, Chance::new(1));
        let reports: Vec<_> = board.by_ref().collect();
        assert_eq!(rising(&reports, up), 24);
        assert_eq!(board.tally().dropped, 0);
        assert!(reports.last().unwrap().at.seconds() > wheel.motion.ends() + 0.2);
    }

    #[test]
    fn independent_lines_overlap_on_a_reversal_and_shared_ones_do_not() {
        let (up, down) = buttons();
        let mut wheel = turning(96, 0.2, 1.0);
        wheel.motion.stroke(-0.2, 1.0);
        wheel.motion.rest(0.1);
        for (lines, expected) in [(PulseLines::Independent, true), (PulseLines::Shared, false)] {
            let mut board = PulseBoard::new(
                Sampling::every(0.001, Reporting::OnChange),
                &wheel,
                up,
                down,
                Chance::new(1),
            );
            board.lines = lines;
            let both = board.any(|report| report.buttons.pressed(up) && report.buttons.pressed(down));
            assert_eq!(both, expected, "{lines:?}");
        }
    }
}
