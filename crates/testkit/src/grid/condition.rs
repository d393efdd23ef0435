//! Computers, boards and hands as builders have them: the conditions under which the README promises what it does.

use crate::{Chance, Detents, Encoder, Host, Motion, Reporting, Shape, Wheel};

/// Edges per turn of the encoders that nearly everybody has.
const USUAL: [u32; 4] = [48, 96, 200, 400];
/// Those of fine optical ones.
const FINE: [u32; 2] = [1600, 2400];
/// Report intervals in seconds.
const INTERVALS: [f64; 5] = [0.001, 0.002, 0.004, 0.008, 0.016];
/// The hardest accelerations, in edges per interval^2.
const HARDEST: [f64; 5] = [0.05, 0.1, 0.2, 0.3, 0.4];
/// The fastest that the hand turns, in turns/s.
const PEAK: f64 = 3.0;
/// No hand accelerates a wheel harder, in turns/s^2.
const HARDEST_HAND: f64 = 150.0;
/// Up to here an encoder is mechanical: it bounces, and its wheel has detents.
const MECHANICAL: u32 = 200;

/// What stands between the lines and the reader.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Condition {
    /// Read at once.
    Prompt,
    /// Read late by 100 us on average.
    Late,
    /// Read late by 300 us on average.
    LateBy300,
    /// Late, and the true interval is 2 % longer than the rig file says.
    BeatOff,
    /// The rig file says a quarter more than the interval is: a data sheet's 10 ms where the bus makes 8.
    RigQuarterOff,
    /// The rig file says twice the interval.
    RigTwice,
    /// The rig file says half the interval.
    RigHalf,
    /// The interval is not in the rig file.
    Missing,
    /// The firmware looks at the lines on a timer of its own, each 1 ms.
    Scan,
    /// The host stalls for 1 to 15 ms twice a second.
    Stalls,
    /// The same, and the interval is not in the rig file.
    StallsMissing,
    /// The interval drifts by 300 ppm, and the host's clock goes in steps of 1 ms / 4.
    Drift,
    /// Intervals uneven by 5 %.
    Uneven,
    /// One report in 500 is lost.
    Lost,
    /// Nothing is delivered for 50 ms to 1 s in the middle of a stroke.
    Hole,
}

impl Condition {
    /// All of them.
    pub const ALL: [Self; 15] = [
        Self::Prompt,
        Self::Late,
        Self::LateBy300,
        Self::BeatOff,
        Self::RigQuarterOff,
        Self::RigTwice,
        Self::RigHalf,
        Self::Missing,
        Self::Scan,
        Self::Stalls,
        Self::StallsMissing,
        Self::Drift,
        Self::Uneven,
        Self::Lost,
        Self::Hole,
    ];

    /// Whether reports are missing in it.
    #[must_use]
    pub const fn loses_reports(self) -> bool {
        matches!(self, Self::Lost | Self::Hole)
    }

    /// In a few words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Prompt => "read at once",
            Self::Late => "late by 100 us",
            Self::LateBy300 => "late by 300 us",
            Self::BeatOff => "late, beat 2 % off",
            Self::RigQuarterOff => "rig file says 1.25 T",
            Self::RigTwice => "rig file says 2 T",
            Self::RigHalf => "rig file says T / 2",
            Self::Missing => "T not in rig file",
            Self::Scan => "own scan of 1 ms",
            Self::Stalls => "stalls to 15 ms",
            Self::StallsMissing => "the same, no T",
            Self::Drift => "drift, coarse clock",
            Self::Uneven => "uneven by 5 %",
            Self::Lost => "one in 500 lost",
            Self::Hole => "hole of 50 ms to 1 s",
        }
    }

    /// What the rig file says, as a multiple of the interval.
    pub(super) const fn rig(self) -> Option<f64> {
        match self {
            Self::BeatOff => Some(1.0 / 1.02),
            Self::RigQuarterOff => Some(1.25),
            Self::RigTwice => Some(2.0),
            Self::RigHalf => Some(0.5),
            Self::Missing | Self::StallsMissing => None,
            _ => Some(1.0),
        }
    }

    /// The host, and the board on it, for a wheel that turns so.
    pub(super) fn host(self, setup: &Setup, motion: &Motion, chance: &mut Chance) -> Host {
        let mut host = Host::prompt(setup.interval, setup.reporting);
        match self {
            Self::Prompt => {}
            Self::LateBy300 => host.late = 300e-6,
            Self::Scan => {
                host.late = 100e-6;
                host.scan = Some(0.001 * (1.0 + chance.between(-0.005, 0.005)));
            }
            Self::Stalls | Self::StallsMissing => (host.late, host.stalls) = (50e-6, 2.0),
            Self::Drift => (host.late, host.drift, host.coarse) = (50e-6, 300e-6, 250e-6),
            Self::Uneven => host.uneven = 0.05,
            Self::Lost => (host.late, host.lost) = (50e-6, 0.002),
            Self::Hole => {
                host.late = 50e-6;
                let strokes: Vec<_> = motion.strokes().collect();
                let last = u32::try_from(strokes.len()).unwrap_or(1);
                let at = usize::try_from(chance.below(last)).unwrap_or_default();
                let (from, to) = strokes.get(at).copied().unwrap_or((1.0, 1.1));
                let lasts = 0.05 * 20_f64.powf(chance.between(0.0, 1.0));
                host.hole = Some((from + (to - from) * chance.between(0.2, 0.8), lasts));
            }
            _ => host.late = 100e-6,
        }
        host
    }
}

/// A wheel on a board, and how hard it is turned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setup {
    /// Edges of both lines per turn of the wheel.
    pub edges_per_turn: u32,
    /// The board's report interval in seconds.
    pub interval: f64,
    /// The hardest a x T^2, in edges.
    pub hardest: f64,
    /// When the board reports.
    pub reporting: Reporting,
}

impl Setup {
    /// All of them, of usual encoders or of fine ones.
    #[must_use]
    pub fn all(fine: bool) -> Vec<Self> {
        let mut all = Vec::new();
        let encoders: &[u32] = if fine { &FINE } else { &USUAL };
        for edges_per_turn in encoders.iter().copied() {
            for interval in INTERVALS {
                for hardest in HARDEST {
                    for reporting in [Reporting::Fixed, Reporting::OnChange] {
                        all.push(Self { edges_per_turn, interval, hardest, reporting });
                    }
                }
            }
        }
        all
    }

    /// A wheel and a hand: strokes of all shapes with regrips and rests between, some that reverse at once, dithering on
    /// an edge, and a hand that rests on the wheel.
    pub(super) fn wheel(&self, seconds: f64, chance: &mut Chance) -> Wheel {
        let edges = f64::from(self.edges_per_turn);
        let mechanical = self.edges_per_turn <= MECHANICAL;
        let hardest = (self.hardest / (edges * self.interval * self.interval)).min(HARDEST_HAND);
        let mut motion = Motion::resting_at(chance.between(0.0, 1.0));
        motion.rest(0.3);
        while motion.ends() < seconds {
            self.stroke(hardest, &mut motion, chance);
            match chance.below(100) {
                0..15 => {}
                15..25 => motion.rest(chance.between(0.6, 1.2)),
                25..35 => self.tremble(hardest, &mut motion, chance),
                _ => motion.rest(chance.between(0.02, 0.35)),
            }
        }
        motion.rest(0.4);
        let encoder = Encoder::ideal(self.edges_per_turn);
        let mut encoder = if chance.happens(0.5) {
            encoder.with_phase_error(chance)
        } else {
            encoder.with_uneven_phases(chance)
        };
        if mechanical {
            encoder = encoder.with_bounce(chance);
        }
        let detents = (mechanical && chance.happens(0.5)).then_some(Detents {
            per_turn: self.edges_per_turn / 4,
            depth: 0.5,
            half_at: 0.1,
        });
        Wheel { motion, encoder, detents, offset: chance.between(0.0, 1.0) }
    }

    fn stroke(&self, hardest: f64, motion: &mut Motion, chance: &mut Chance) {
        let drawn = usize::try_from(chance.below(4)).unwrap_or_default();
        let shape = Shape::ALL.get(drawn).copied().unwrap_or_default();
        let way = if chance.happens(0.3) { -1.0 } else { 1.0 };
        let acceleration = hardest * chance.between(0.4, 1.0);
        // length = (its share) x speed^2 / acceleration
        let share = shape.peak_acceleration() / (shape.peak_speed() * shape.peak_speed());
        let mut speed = PEAK * chance.between(0.15, 1.0);
        let longest = chance.between(0.3, 1.5);
        speed = speed.min((longest * acceleration / share).sqrt());
        motion.stroke_of(shape, way * share * speed * speed / acceleration, speed);
    }

    /// A hand that rests on the wheel: 5 to 12 times a second a fraction of an edge to and fro.
    fn tremble(&self, hardest: f64, motion: &mut Motion, chance: &mut Chance) {
        let lasts = 0.5 / chance.between(5.0, 12.0);
        let most = hardest * lasts * lasts / Shape::RaisedCosine.peak_acceleration();
        let size = (chance.between(0.05, 1.2) / f64::from(self.edges_per_turn)).min(most);
        let mut way = 1.0;
        for _ in 0..2 * chance.below(8) {
            motion.stroke_of(Shape::RaisedCosine, way * size, 2.0 * size / lasts);
            way = -way;
        }
    }
}
