use super::bench::{Bench, Outcome, buttons, through_the_ring};
use crate::{
    Chance, DeadLine, Detents, Encoder, Hand, Motion, PulseBoard, PulseFaults, PulseLines, RawBoard,
    Reporting, Sampling, Wheel,
};
use std::time::Duration;
use tallywheel_hid_reader::{WheelConfig, WheelFacts, WheelInputs};
use tallywheel_units::{CountsPerCycle, CountsPerTurn, LossKind};

/// A fault that can be injected. C is the board's cycle (pulse on plus off), T the report interval. Where a
/// rig file is said to know something, half of the runs leave it out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Strokes at 2 to 3 times the board's top rate 1/C, no queue: counts are dropped.
    TopRateClipped,
    /// The same with room for 24 to 96 counts.
    TopRateQueued,
    /// Strokes at 2 to 4 times the top rate, room for 32 to 120 counts, rests of a second or more: the queue
    /// drains after the hand has stopped.
    QueueDrains,
    /// A pause between pulses of 0.2 to 0.5 T, strokes whose counts come every 0.5 to 0.7 pulses at the peak.
    Merged,
    /// Pulses of 10 T or more cut off by the next count, which comes after 0.3 to 0.5 pulses at the peak.
    Clipped,
    /// Pulses of 0.4 to 0.7 T, counts no closer than 4 T.
    TooShort,
    /// Both lines at once, one pulse in 10 to 20.
    BothAtOnce,
    /// One count missed in the middle of a spin of 48 to 96 counts.
    Gap,
    /// The reader sleeps for 2 to 6 times what fills the kernel's ring of 63, at a board with a fixed interval.
    ReaderStalled,
    /// The forward button hangs from the middle of the run on, 5 s or more.
    Stuck,
    /// Line A or B of the encoder is off, at a board that counts every edge.
    WireOffPulses,
    /// Line A or B of the encoder is off, raw.
    WireOffRaw,
    /// Forward and backward exchanged; two turns confirmed.
    SwappedPulses,
    /// A and B exchanged, raw; two turns confirmed.
    SwappedRaw,
    /// The board counts four to a detent where the rig file says one; strokes end in detents, 16 strokes or more,
    /// pulses of 15 ms (24 ms where T is 8 ms), peaks at 0.3 to 0.5 of the top rate.
    FourPerDetent,
    /// The board counts one to four detents where the rig file says one to each; two turns confirmed.
    OnePerFourDetents,
}

impl Fault {
    /// Every fault.
    pub const ALL: [Self; 16] = [
        Self::TopRateClipped,
        Self::TopRateQueued,
        Self::QueueDrains,
        Self::Merged,
        Self::Clipped,
        Self::TooShort,
        Self::BothAtOnce,
        Self::Gap,
        Self::ReaderStalled,
        Self::Stuck,
        Self::WireOffPulses,
        Self::WireOffRaw,
        Self::SwappedPulses,
        Self::SwappedRaw,
        Self::FourPerDetent,
        Self::OnePerFourDetents,
    ];

    /// What is injected and how severe it is, for the table.
    #[must_use]
    pub const fn text(self) -> (&'static str, &'static str) {
        match self {
            Self::TopRateClipped => ("top rate, clipped", "peaks 2-3 x top rate, no queue"),
            Self::TopRateQueued => ("top rate, queued", "peaks 2-3 x top rate, queue 24-96"),
            Self::QueueDrains => ("queue drains after stop", "peaks 2-4 x top rate, queue 32-120, rests"),
            Self::Merged => ("merged pulses", "pause 0.2-0.5 T, a count per 0.5-0.7 pulse"),
            Self::Clipped => ("clipped pulses", "cut at 0.3-0.5, pulse >= 10 T"),
            Self::TooShort => ("pulses below T", "pulse 0.4-0.7 T, a count per >= 4 T"),
            Self::BothAtOnce => ("both lines at once", "1 pulse in 10-20"),
            Self::Gap => ("gap in a steady spin", "1 count in a spin of 48-96"),
            Self::ReaderStalled => ("reports lost in kernel", "asleep for 2-6 rings of 63 T"),
            Self::Stuck => ("stuck input", "forward pressed >= 5 s"),
            Self::WireOffPulses => ("wire off, pulses x4", "A or B dead"),
            Self::WireOffRaw => ("wire off, raw", "A or B dead"),
            Self::SwappedPulses => ("lines swapped, pulses", "2 turns confirmed"),
            Self::SwappedRaw => ("A and B swapped, raw", "2 turns confirmed"),
            Self::FourPerDetent => ("four counts a detent", "x4 for x1, 16 strokes or more"),
            Self::OnePerFourDetents => ("one count for 4 detents", "x1 for x4, 2 turns confirmed"),
        }
    }

    /// The kind that it has to be named.
    #[must_use]
    pub const fn kind(self) -> LossKind {
        match self {
            Self::TopRateClipped | Self::TopRateQueued => LossKind::TopRate,
            Self::QueueDrains => LossKind::LatePulses,
            Self::Merged => LossKind::PulsesMerged,
            Self::Clipped => LossKind::PulsesClipped,
            Self::TooShort => LossKind::PulsesTooShort,
            Self::BothAtOnce => LossKind::PulsesOverlap,
            Self::Gap => LossKind::GapInSpin,
            Self::ReaderStalled => LossKind::ReaderStalled,
            Self::Stuck => LossKind::InputStuck,
            Self::WireOffPulses | Self::WireOffRaw => LossKind::LineDead,
            Self::SwappedPulses | Self::SwappedRaw => LossKind::LinesSwapped,
            Self::FourPerDetent | Self::OnePerFourDetents => LossKind::WrongCountsPerCycle,
        }
    }

    /// Kinds that are as true of the same run: a board that queues, merges or cuts off is at its limit, and
    /// a hanging button overlaps with each pulse until it is seen to hang.
    #[must_use]
    pub const fn companions(self) -> &'static [LossKind] {
        match self {
            Self::TopRateQueued => &[LossKind::LatePulses],
            Self::QueueDrains | Self::Clipped => &[LossKind::TopRate],
            Self::Merged => &[LossKind::TopRate, LossKind::LatePulses],
            Self::Stuck => &[LossKind::PulsesOverlap],
            // Detents hurry the wheel up to near the board's rate.
            Self::FourPerDetent => &[LossKind::TopRate],
            _ => &[],
        }
    }

    /// Whether a doubt that stays in the margin says as much as its name: where nobody knows the board's cycle, a rhythm
    /// that shows no fold may be a board at its limit or a hand that is even.
    #[must_use]
    pub const fn may_stay_in_doubt(self) -> bool {
        matches!(self, Self::TopRateClipped | Self::TopRateQueued)
    }

    /// Runs it from `seed`: what came out, and the counts that would have been true.
    #[must_use]
    pub fn run(self, seed: u64) -> Option<(Outcome, i64)> {
        let mut chance = Chance::new(seed ^ 0x7A11);
        match self {
            Self::WireOffRaw | Self::SwappedRaw => self.raw(&mut chance),
            _ => self.pulses(&mut chance),
        }
    }

    fn raw(self, chance: &mut Chance) -> Option<(Outcome, i64)> {
        let interval = pick(chance, &[0.001, 0.002, 0.004]);
        let per_turn = pick(chance, &[48, 72, 96]);
        let hand = Hand { rest_percent: 10, ..Hand::wrist(0.5 / (f64::from(per_turn) * interval).max(0.2)) };
        let mut motion = hand.turns(0.0, 10.0, chance);
        two_turns(self == Self::SwappedRaw, &mut motion, 0.2);
        let encoder = Encoder::ideal(per_turn).with_phase_error(chance).with_bounce(chance);
        let wheel = Wheel { motion, encoder, detents: None, offset: 0.5 };
        let sampling = Sampling::every(interval, reporting(chance));
        let [a, b] = buttons();
        let mut inputs = WheelInputs::Quadrature { a, b, per_cycle: CountsPerCycle::X4 };
        let mut dead = None;
        if self == Self::SwappedRaw {
            inputs = WheelInputs::Quadrature { a: b, b: a, per_cycle: CountsPerCycle::X4 };
        } else {
            dead = Some(if chance.happens(0.5) { DeadLine::A } else { DeadLine::B });
        }
        let facts = WheelFacts { counts_per_turn: CountsPerTurn::new(per_turn), ..WheelFacts::default() };
        let given = chance.happens(0.5).then_some(interval);
        let mut bench =
            Bench::new(WheelConfig { inputs, pressed_at_rest: false, index: None }, given, &facts)?;
        let mut board = RawBoard::new(sampling, Chance::new(chance.seed())).with(&wheel, a, b);
        let (mut first, mut sent) = (None, None);
        while let Some(mut report) = board.next() {
            first.get_or_insert(board.edges(0));
            let (a_is, b_is) = DeadLine::of(dead, (report.buttons.pressed(a), report.buttons.pressed(b)));
            report.buttons = report.buttons.with(a, a_is).with(b, b_is);
            if sampling.reporting == Reporting::Fixed || sent.replace(report.buttons) != Some(report.buttons)
            {
                bench.read(report);
            }
        }
        let truth = board.edges(0) - first.unwrap_or_default();
        if self == Self::SwappedRaw {
            bench.confirm(truth);
        }
        Some((bench.outcome(), truth))
    }

    fn pulses(self, chance: &mut Chance) -> Option<(Outcome, i64)> {
        let mut setting = Setting::draw(chance);
        let mut faults = PulseFaults::default();
        // Peak rate as a share of the top rate.
        let mut rate = chance.between(0.2, 0.5);
        let mut lines = PulseLines::Shared;
        let mut stall = None;
        match self {
            Self::TopRateClipped => {
                (rate, setting.queue) = (chance.between(2.0, 3.0), 0);
                setting.off_is_on_unless_known(chance);
            }
            Self::TopRateQueued => {
                (rate, setting.queue) = (chance.between(2.0, 3.0), 24 + chance.below(73));
                setting.off_is_on_unless_known(chance);
            }
            Self::QueueDrains => (rate, setting.queue) = (chance.between(2.0, 4.0), 32 + chance.below(89)),
            Self::Merged => {
                setting.off = setting.interval * chance.between(0.2, 0.5);
                // Room for all of them: a full queue would be a second fault.
                setting.queue = 120;
                setting.on = setting.interval * chance.between(6.0, 12.0);
                rate = (setting.on + setting.off) / (setting.on * chance.between(0.5, 0.7));
            }
            Self::Clipped => {
                setting.on = setting.interval * chance.between(10.0, 20.0);
                setting.off = setting.interval * 1.5;
                setting.given = true;
                rate = (setting.on + setting.off) / (setting.on * chance.between(0.3, 0.5));
                faults.cuts_off = true;
            }
            Self::TooShort => {
                setting.on = setting.interval * chance.between(0.4, 0.7);
                setting.off = setting.interval * 1.2;
                setting.given = true;
                rate = (setting.on + setting.off) / (4.0 * setting.interval);
            }
            Self::BothAtOnce => faults.echoes_every = Some(10 + u64::from(chance.below(11))),
            Self::FourPerDetent => {
                setting.per_cycle = CountsPerCycle::X4;
                setting.on = setting.on.min(0.015).max(3.0 * setting.interval);
                setting.off = setting.on;
                rate = chance.between(0.3, 0.5);
            }
            Self::OnePerFourDetents => setting.per_cycle = CountsPerCycle::X1,
            Self::WireOffPulses => setting.per_cycle = CountsPerCycle::X4,
            _ => {}
        }
        let counts_per_turn = f64::from(setting.cycles * setting.per_cycle.get());
        let peak = rate / (setting.on + setting.off) / counts_per_turn;
        let hand = Hand { peak_speed: peak, rest_percent: 20, ..Hand::wrist(peak) };
        let mut motion = Motion::resting_at(0.0);
        match self {
            Self::Gap => {
                motion.rest(0.5);
                motion.stroke(f64::from(48 + chance.below(49)) / counts_per_turn, peak);
                faults.misses_after =
                    Some(motion.ends() - 0.5 * (motion.ends() - 0.5) + chance.between(-0.1, 0.1));
                motion.rest(1.0);
            }
            Self::QueueDrains => {
                motion.rest(0.5);
                for _ in 0..6 {
                    let sign = if chance.happens(0.25) { -1.0 } else { 1.0 };
                    motion.stroke(sign * f64::from(16 + chance.below(17)) / counts_per_turn, peak);
                    motion.rest(chance.between(1.0, 3.0) + 130.0 * (setting.on + setting.off));
                }
            }
            Self::FourPerDetent => {
                let click = 1.0 / f64::from(setting.cycles);
                let hand = Hand {
                    detents: Some(setting.cycles),
                    stroke: (click, 4.0 * click),
                    regrip: (0.6, 1.0),
                    unbroken_percent: 0,
                    ..hand
                };
                motion = hand.turns(0.0, 90.0, chance);
            }
            _ => {
                // Strokes of a dozen counts at least, so that there is something to be seen.
                let shortest = (24.0 / counts_per_turn).max(0.15);
                motion = Hand { stroke: (shortest, 2.5 * shortest), ..hand }.turns(0.0, 30.0, chance);
            }
        }
        two_turns(matches!(self, Self::SwappedPulses | Self::OnePerFourDetents), &mut motion, peak.min(0.2));
        let ends = motion.ends();
        match self {
            Self::WireOffPulses => {
                faults.dead = Some(if chance.happens(0.5) { DeadLine::A } else { DeadLine::B });
            }
            Self::Stuck => faults.sticks_after = Some(chance.between(0.3, 0.5) * ends),
            Self::ReaderStalled => {
                setting.reporting = Reporting::Fixed;
                stall = Some((0.4 * ends, 63.0 * setting.interval * chance.between(2.0, 6.0)));
            }
            _ => {}
        }
        if chance.happens(0.1) {
            lines = PulseLines::Independent;
        }
        if setting.queue != 0 {
            // Independent lines may overlap at a reversal, which is a fault of its own.
            lines = PulseLines::Shared;
        }
        let clicks = self == Self::FourPerDetent;
        let detents = clicks.then_some(Detents { per_turn: setting.cycles, depth: 0.6, half_at: 0.3 });
        let encoder = Encoder::ideal(4 * setting.cycles).with_phase_error(chance);
        let wheel = Wheel { motion, encoder, detents, offset: 2.5 };
        let mut board = setting.board(&wheel, chance);
        (board.faults, board.lines) = (faults, lines);
        let [mut forward, mut backward] = buttons();
        if self == Self::SwappedPulses {
            (forward, backward) = (backward, forward);
        }
        let mut facts = setting.facts();
        if clicks {
            facts.counts_per_detent = Some(1);
        }
        let inputs = WheelInputs::Pulses { forward, backward };
        let mut bench = Bench::new(
            WheelConfig { inputs, pressed_at_rest: false, index: None },
            setting.given_interval(),
            &facts,
        )?;
        match stall {
            Some(stall) => through_the_ring(board.by_ref(), stall, |report| bench.read(report)),
            None => board.by_ref().for_each(|report| bench.read(report)),
        }
        bench.touch(ends);
        let mut truth = board.tally().truth;
        match self {
            Self::SwappedPulses => bench.confirm(truth),
            Self::OnePerFourDetents => {
                truth *= 4;
                bench.confirm(truth);
            }
            _ => {}
        }
        Some((bench.outcome(), truth))
    }
}

/// Two turns forward from mark to mark, at ease.
fn two_turns(wanted: bool, motion: &mut Motion, peak: f64) {
    if wanted {
        *motion = Motion::resting_at(0.0);
        motion.rest(0.5);
        for _ in 0..8 {
            motion.stroke(0.25, peak);
            motion.rest(0.3);
        }
    }
}

fn pick<T: Copy + Default>(chance: &mut Chance, of: &[T]) -> T {
    let place = chance.below(u32::try_from(of.len()).unwrap_or(u32::MAX));
    usize::try_from(place).ok().and_then(|place| of.get(place)).copied().unwrap_or_default()
}

fn reporting(chance: &mut Chance) -> Reporting {
    if chance.happens(0.5) { Reporting::Fixed } else { Reporting::OnChange }
}

/// How a board that decodes by itself is set, and what the rig file knows of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Setting {
    pub(super) interval: f64,
    pub(super) reporting: Reporting,
    pub(super) on: f64,
    pub(super) off: f64,
    pub(super) queue: u32,
    pub(super) cycles: u32,
    pub(super) per_cycle: CountsPerCycle,
    /// Whether the rig file knows the report interval.
    pub(super) given: bool,
    /// Whether it knows the pulses.
    pub(super) pulses_known: bool,
}

impl Setting {
    /// T of 1 to 8 ms, pulses of 5 to 40 ms but at least 3 T, pauses of half to twice as long but at least
    /// 2.5 T, 12 to 100 cycles a turn, any counts per cycle.
    pub(super) fn draw(chance: &mut Chance) -> Self {
        let interval = pick(chance, &[0.001, 0.002, 0.004, 0.008]);
        let on = chance.between(0.005, 0.04).max(3.0 * interval);
        let off = (on * chance.between(0.5, 2.0)).max(2.5 * interval);
        let per_cycle = match chance.below(3) {
            0 => CountsPerCycle::X1,
            1 => CountsPerCycle::X2,
            _ => CountsPerCycle::X4,
        };
        Self {
            interval,
            reporting: reporting(chance),
            on,
            off,
            queue: 2 + chance.below(62),
            cycles: pick(chance, &[12, 18, 24, 30, 100]),
            per_cycle,
            given: chance.happens(0.5),
            pulses_known: false,
        }
    }

    fn off_is_on_unless_known(&mut self, chance: &mut Chance) {
        self.pulses_known = chance.happens(0.5);
        if !self.pulses_known {
            self.off = self.on;
        }
    }

    pub(super) fn facts(&self) -> WheelFacts {
        let known = |seconds: f64| self.pulses_known.then(|| Duration::from_secs_f64(seconds));
        WheelFacts {
            counts_per_turn: CountsPerTurn::new(self.cycles * self.per_cycle.get()),
            pulse_on: known(self.on),
            pulse_off: known(self.off),
            counts_per_detent: None,
        }
    }

    pub(super) fn given_interval(&self) -> Option<f64> {
        self.given.then_some(self.interval)
    }

    pub(super) fn board<'a>(&self, wheel: &'a Wheel, chance: &mut Chance) -> PulseBoard<'a> {
        let [forward, backward] = buttons();
        let sampling = Sampling::every(self.interval, self.reporting);
        let mut board = PulseBoard::new(sampling, wheel, forward, backward, Chance::new(chance.seed()));
        (board.pulse_on, board.pulse_off, board.queue, board.per_cycle) =
            (self.on, self.off, self.queue, self.per_cycle);
        board
    }
}
