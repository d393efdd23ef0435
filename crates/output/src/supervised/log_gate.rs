use std::time::Duration;
use tallywheel_units::Timestamp;

/// Between two log lines about the same kind of error at least this much time passes.
pub(super) const LOG_EVERY: Duration = Duration::from_secs(10);

/// Lets the first event through at once, then at most one every [`LOG_EVERY`], and counts the rest.
#[derive(Debug, Default)]
pub(super) struct LogGate {
    passed: Option<Timestamp>,
    held_back: u64,
}

impl LogGate {
    /// How many events were held back since the last one that passed, if this one passes.
    pub(super) fn pass(&mut self, at: Timestamp) -> Option<u64> {
        if self.passed.is_some_and(|passed| at.since(passed) < LOG_EVERY) {
            self.hold_back();
            return None;
        }
        Some(self.pass_always(at))
    }

    /// The same for an event that must be logged whatever the rate.
    pub(super) fn pass_always(&mut self, at: Timestamp) -> u64 {
        self.passed = Some(at);
        std::mem::take(&mut self.held_back)
    }

    /// Counts an event that cannot be logged now.
    pub(super) fn hold_back(&mut self) {
        self.held_back = self.held_back.saturating_add(1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_passes_at_once_and_the_next_after_ten_seconds_with_a_count() {
        let mut gate = LogGate::default();
        let second = |s: u64| Timestamp::from_micros(s * 1_000_000);
        assert_eq!(gate.pass(second(5)), Some(0));
        for s in 6..15 {
            assert_eq!(gate.pass(second(s)), None);
        }
        assert_eq!(gate.pass(second(15)), Some(9));
        assert_eq!(gate.pass(second(15)), None);
        assert_eq!(gate.pass_always(second(16)), 1);
        assert_eq!(gate.pass(second(25)), None);
        assert_eq!(gate.pass(second(26)), Some(1));
    }
}
