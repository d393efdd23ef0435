use crate::{Chance, whole};
use tallywheel_units::{Buttons, Timestamp};

/// One report of a board, and when the host read it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Report {
    /// When it was read.
    pub at: Timestamp,
    /// Which buttons it says are pressed.
    pub buttons: Buttons,
}

/// When a board sends a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reporting {
    /// At every interval, changed or not.
    Fixed,
    /// Only at the intervals where something has changed.
    OnChange,
}

/// A board's rhythm.
#[derive(Debug, Clone, Copy)]
pub struct Sampling {
    /// The nominal report interval in seconds.
    pub interval: f64,
    /// By how much of the interval each one may differ: 0.1 is 10 %.
    pub jitter: f64,
    /// By how many seconds the host may read a report late.
    pub latency: f64,
    /// Whether unchanged states are reported.
    pub reporting: Reporting,
}

impl Sampling {
    /// A board that keeps to `interval` seconds within 10 %, read without delay.
    #[must_use]
    pub const fn every(interval: f64, reporting: Reporting) -> Self {
        Self { interval, jitter: 0.1, latency: 0.0, reporting }
    }

    pub(crate) fn step(&self, chance: &mut Chance) -> f64 {
        self.interval * (1.0 + chance.between(-self.jitter, self.jitter))
    }

    pub(crate) fn read_at(&self, sampled: f64, chance: &mut Chance) -> Timestamp {
        let late = if self.latency > 0.0 { chance.between(0.0, self.latency) } else { 0.0 };
        Timestamp::from_nanos(whole::nanos(sampled + late))
    }
}
