use std::time::Duration;
use tallywheel_units::Timestamp;

/// When to believe that a board may not be opened.
///
/// Right after a board is plugged in, about one open in ten is refused, because udev has not yet set the
/// rights of the device node. So a refusal counts only if it lasts for [`Self::PATIENCE`]. One of these per
/// board; make a new one when the board is plugged in again.
#[derive(Debug, Clone, Copy, Default)]
pub struct OpenRetry {
    first: Option<Timestamp>,
}

/// What to do after a board could not be opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RetryDecision {
    /// Open again after this time.
    TryAgain(Duration),
    /// It is meant: tell the user, and wait for the board to be plugged in again or its rights to change.
    Final,
}

impl OpenRetry {
    /// How long a refusal may last.
    pub const PATIENCE: Duration = Duration::from_secs(1);
    /// The time between two tries.
    pub const INTERVAL: Duration = Duration::from_millis(50);

    /// Opening was refused at `at`.
    pub fn refused(&mut self, at: Timestamp) -> RetryDecision {
        let first = *self.first.get_or_insert(at);
        if at.since(first) >= Self::PATIENCE {
            RetryDecision::Final
        } else {
            RetryDecision::TryAgain(Self::INTERVAL)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refusal_counts_after_a_second() {
        let mut retry = OpenRetry::default();
        let start = Timestamp::from_micros(77);
        let mut at = start;
        let mut tries = 0;
        while let RetryDecision::TryAgain(pause) = retry.refused(at) {
            at = at.after(pause);
            tries += 1;
        }
        assert_eq!((tries, at.since(start)), (20, Duration::from_secs(1)));
    }
}
