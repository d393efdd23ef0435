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
        let elapsed = self.start.elapsed();
        // In 64 bits: `as_nanos` would multiply in 128.
        let seconds = elapsed.as_secs().saturating_mul(1_000_000_000);
        Timestamp::from_nanos(seconds.saturating_add(u64::from(elapsed.subsec_nanos())))
    }
}
