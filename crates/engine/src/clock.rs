//! The one place where the program reads the clock.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, SystemTime};
use tallywheel_output::Epoch;
use tallywheel_units::Timestamp;

/// The bridge's monotonic clock, started once: the system's, or a test's.
#[derive(Debug, Clone, Copy)]
pub struct Clock {
    source: Source,
    epoch: Epoch,
}

#[derive(Debug, Clone, Copy)]
enum Source {
    /// The system's monotonic clock, which was at so many nanoseconds at the start.
    System { start: u64 },
    /// Nanoseconds since the start, as somebody sets them.
    Manual(&'static AtomicU64),
}

/// Sets the time of one [`Clock`]: virtual time.
#[derive(Debug)]
pub struct ManualClock(&'static AtomicU64);

impl ManualClock {
    /// It is `at` from now on; times never go back.
    pub fn set(&self, at: Timestamp) {
        self.0.fetch_max(at.nanos(), Ordering::Relaxed);
    }
}

impl Clock {
    /// Starts the system's clock at [`Timestamp::START`].
    #[must_use]
    pub fn start() -> Self {
        // A calendar before 1970 is not set, and there is nothing better to begin with.
        let epoch = Epoch::new(since_1970().unwrap_or(Duration::ZERO));
        Self { source: Source::System { start: monotonic_nanos() }, epoch }
    }

    /// A clock that stands at [`Timestamp::START`] until it is set. Its eight bytes are never given back.
    #[must_use]
    pub fn manual() -> (Self, ManualClock) {
        let nanos: &'static AtomicU64 = Box::leak(Box::default());
        (Self { source: Source::Manual(nanos), epoch: Epoch::ZERO }, ManualClock(nanos))
    }

    /// What the calendar said at the start: what outputs count their times from, so that they go on over restarts.
    #[must_use]
    pub const fn epoch(&self) -> Epoch {
        self.epoch
    }

    /// The time since the start; the latest there is after 584 years.
    #[must_use]
    #[inline]
    pub fn now(&self) -> Timestamp {
        Timestamp::from_nanos(match self.source {
            Source::System { start } => monotonic_nanos().saturating_sub(start),
            Source::Manual(nanos) => nanos.load(Ordering::Relaxed),
        })
    }
}

/// What the calendar says now, since 1970-01-01 UTC; `None` where it stands before that.
#[must_use]
#[expect(clippy::disallowed_methods, reason = "this is the clock")]
pub fn since_1970() -> Option<Duration> {
    SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).ok()
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
#[allow(clippy::disallowed_methods, reason = "this is the clock")]
fn monotonic_nanos() -> u64 {
    static START: std::sync::LazyLock<std::time::Instant> = std::sync::LazyLock::new(std::time::Instant::now);
    u64::try_from(START.elapsed().as_nanos()).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::{Duration, Instant};

    #[test]
    fn a_manual_clock_stands_still_and_never_goes_back() {
        let (clock, manual) = Clock::manual();
        let at = Timestamp::from_micros;
        assert_eq!(clock.now(), Timestamp::START);
        manual.set(at(50));
        manual.set(at(20));
        assert_eq!(clock.now(), at(50));
    }

    #[test]
    #[expect(clippy::disallowed_methods, reason = "the standard library's clock is the judge")]
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
