//! The one place where the program reads the clock.

use std::time::{Duration, SystemTime};
use tallywheel_output::Epoch;
use tallywheel_units::Timestamp;

/// The daemon's monotonic clock, started once.
#[derive(Debug, Clone, Copy)]
pub struct Clock {
    start_nanos: u64,
    epoch: Epoch,
}

impl Clock {
    /// Starts at [`Timestamp::START`].
    #[must_use]
    pub fn start() -> Self {
        // A calendar before 1970 is not set, and there is nothing better to begin with.
        let since_1970 = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or(Duration::ZERO);
        Self { start_nanos: monotonic_nanos(), epoch: Epoch::new(since_1970) }
    }

    /// What the calendar said at the start: what outputs count their times from, so that they go on over restarts.
    #[must_use]
    pub const fn epoch(&self) -> Epoch {
        self.epoch
    }

    /// The time since the start; the latest there is after 584 years.
    #[must_use]
    pub fn now(&self) -> Timestamp {
        Timestamp::from_nanos(monotonic_nanos().saturating_sub(self.start_nanos))
    }
}

/// The smallest step that the clock makes, where the system tells.
#[cfg(target_os = "linux")]
#[must_use]
pub fn step() -> Option<Duration> {
    let step = nix::time::clock_getres(nix::time::ClockId::CLOCK_MONOTONIC).ok()?;
    Some(Duration::from(step))
}

/// The smallest step that the clock makes, where the system tells.
#[cfg(not(target_os = "linux"))]
#[must_use]
pub const fn step() -> Option<Duration> {
    None
}

/// The system's monotonic clock itself: `std`'s `Instant` takes it apart and puts it together again, which is
/// half the cost of a clock read.
#[cfg(target_os = "linux")]
fn monotonic_nanos() -> u64 {
    let Ok(time) = nix::time::clock_gettime(nix::time::ClockId::CLOCK_MONOTONIC) else { return 0 };
    let (seconds, nanos) = (time.tv_sec().cast_unsigned(), time.tv_nsec().cast_unsigned());
    seconds.saturating_mul(1_000_000_000).saturating_add(nanos)
}

#[cfg(not(target_os = "linux"))]
fn monotonic_nanos() -> u64 {
    static START: std::sync::LazyLock<std::time::Instant> = std::sync::LazyLock::new(std::time::Instant::now);
    u64::try_from(START.elapsed().as_nanos()).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::{Duration, Instant};

    #[test]
    fn it_goes_as_the_standard_library_s() {
        let (clock, instant) = (Clock::start(), Instant::now());
        std::thread::sleep(Duration::from_millis(20));
        let first = clock.now().since(Timestamp::START);
        let elapsed = instant.elapsed();
        let last = clock.now().since(Timestamp::START);
        assert!(first >= Duration::from_millis(20) && first <= last, "{first:?} {last:?}");
        assert!(elapsed <= last, "{elapsed:?} was over before {last:?}");
    }
}
