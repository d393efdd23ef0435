use std::fmt;
use std::time::Duration;

/// A moment on a monotonic clock, in nanoseconds since that clock's start (a recording's first event, the
/// start of the daemon). Code below the daemon is given time; it never reads a clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Timestamp(u64);

impl Timestamp {
    /// The clock's start.
    pub const START: Self = Self(0);

    /// From nanoseconds since the clock's start.
    #[must_use]
    pub const fn from_nanos(nanos: u64) -> Self {
        Self(nanos)
    }

    /// From microseconds since the clock's start; the latest moment there is where that does not fit.
    #[must_use]
    pub const fn from_micros(micros: u64) -> Self {
        Self(micros.saturating_mul(1_000))
    }

    /// Nanoseconds since the clock's start.
    #[must_use]
    pub const fn nanos(self) -> u64 {
        self.0
    }

    /// Whole microseconds since the clock's start.
    #[must_use]
    pub const fn micros(self) -> u64 {
        self.0 / 1_000
    }

    /// Seconds since the clock's start, for people and plots.
    #[must_use]
    pub fn seconds(self) -> f64 {
        Duration::from_nanos(self.0).as_secs_f64()
    }

    /// The time since `earlier`; none where `earlier` is later.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Duration {
        Duration::from_nanos(self.0.saturating_sub(earlier.0))
    }

    /// The moment `later` after this one; the latest there is where that does not fit.
    #[must_use]
    pub fn after(self, later: Duration) -> Self {
        Self(self.0.saturating_add(u64::try_from(later.as_nanos()).unwrap_or(u64::MAX)))
    }
}

impl fmt::Display for Timestamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.6} s", self.seconds())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_never_runs_backwards_or_over() {
        let (early, late) = (Timestamp::from_micros(5), Timestamp::from_micros(9));
        assert_eq!(late.since(early), Duration::from_micros(4));
        assert_eq!(early.since(late), Duration::ZERO);
        assert_eq!(Timestamp::from_micros(u64::MAX).nanos(), u64::MAX);
        assert_eq!(late.after(Duration::MAX).nanos(), u64::MAX);
    }
}
