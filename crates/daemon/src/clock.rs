//! The one place where the program reads the clock.

use std::time::Instant;
use tallywheel_units::Timestamp;

/// The daemon's monotonic clock, started once.
#[derive(Debug, Clone, Copy)]
pub struct Clock {
    start: Instant,
}

impl Clock {
    /// Starts at [`Timestamp::START`].
    #[must_use]
    pub fn start() -> Self {
        Self { start: Instant::now() }
    }

    /// The time since the start; the latest there is after 584 years.
    #[must_use]
    pub fn now(&self) -> Timestamp {
        Timestamp::from_nanos(u64::try_from(self.start.elapsed().as_nanos()).unwrap_or(u64::MAX))
    }
}
