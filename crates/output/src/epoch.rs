use std::time::Duration;
use tallywheel_units::Timestamp;

/// What the calendar said when the frames' clock started.
///
/// Receivers that drop what is older than what they have would ignore a program that was restarted and counted
/// its time from 0 again. Times in datagrams are therefore the calendar's at the start of the clock plus what
/// that clock has counted since: they never jump while the program runs, whoever sets the calendar, and they go
/// on from there after a restart. Only a calendar that was set back between the two by more than the program was
/// away breaks that.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Epoch {
    unix_micros: u64,
}

impl Epoch {
    /// Times begin at 0 when the clock starts: for tests, and where nothing is restarted.
    pub const ZERO: Self = Self { unix_micros: 0 };

    /// `since_1970` is the calendar's time at [`Timestamp::START`], since 1970-01-01 UTC.
    #[must_use]
    pub fn new(since_1970: Duration) -> Self {
        Self { unix_micros: u64::try_from(since_1970.as_micros()).unwrap_or(u64::MAX) }
    }

    /// Microseconds since 1970-01-01 UTC at `at`.
    pub(crate) const fn unix_micros(self, at: Timestamp) -> u64 {
        self.unix_micros.saturating_add(at.micros())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_restarted_program_goes_on_from_the_calendar() {
        let before = Epoch::new(Duration::from_secs(1_000)).unix_micros(Timestamp::from_micros(5));
        let after = Epoch::new(Duration::from_secs(1_001)).unix_micros(Timestamp::START);
        assert_eq!((before, after), (1_000_000_005, 1_001_000_000));
        assert_eq!(Epoch::new(Duration::MAX).unix_micros(Timestamp::from_micros(9)), u64::MAX);
        assert_eq!(Epoch::ZERO.unix_micros(Timestamp::from_micros(9)), 9);
    }
}
