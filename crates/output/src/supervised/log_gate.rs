use crate::ErrorKind;
use std::time::Duration;
use tallywheel_units::Timestamp;

/// Between two log lines about the same kind of error at least this much time passes. A simulator that is
/// not started is no fault, and a user who practises without one need not read of it every few seconds.
pub(super) const fn log_every(kind: ErrorKind) -> Duration {
    match kind {
        ErrorKind::ChangeConfig | ErrorKind::AskUser | ErrorKind::Reopen | ErrorKind::Resend => {
            Duration::from_secs(10)
        }
        ErrorKind::CarryOn => Duration::from_secs(300),
    }
}

/// Lets the first event through at once, then at most one per interval, and counts the rest.
#[derive(Debug, Default)]
pub(super) struct LogGate {
    passed: Option<Timestamp>,
    held_back: u64,
}

impl LogGate {
    /// How many events were held back since the last one that passed, if this one passes.
    pub(super) fn pass(&mut self, at: Timestamp, every: Duration) -> Option<u64> {
        if self.passed.is_some_and(|passed| at.since(passed) < every) {
            self.hold_back();
            return None;
        }
        Some(self.pass_always(at))
    }

    /// The same for an event that must be logged whatever the rate.
    pub(super) const fn pass_always(&mut self, at: Timestamp) -> u64 {
        self.passed = Some(at);
        std::mem::replace(&mut self.held_back, 0)
    }

    /// Events held back since the last one that passed.
    #[cfg(test)]
    pub(super) const fn held_back(&self) -> u64 {
        self.held_back
    }

    /// Counts an event that cannot be logged now.
    pub(super) const fn hold_back(&mut self) {
        self.held_back = self.held_back.saturating_add(1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_passes_at_once_and_the_next_after_the_interval_with_a_count() {
        let mut gate = LogGate::default();
        let every = log_every(ErrorKind::Reopen);
        let second = |s: u64| Timestamp::from_micros(s * 1_000_000);
        assert_eq!(gate.pass(second(5), every), Some(0));
        for s in 6..15 {
            assert_eq!(gate.pass(second(s), every), None);
        }
        assert_eq!(gate.pass(second(15), every), Some(9));
        assert_eq!(gate.pass(second(15), every), None);
        assert_eq!(gate.pass_always(second(16)), 1);
        assert_eq!(gate.pass(second(25), every), None);
        assert_eq!(gate.pass(second(26), every), Some(1));
    }
}
