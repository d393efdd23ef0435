use std::time::Duration;
use tallywheel_units::Timestamp;

/// The wait after the first failed attempt; each further one waits twice as long.
pub(super) const SHORTEST: Duration = Duration::from_secs(1);
/// No wait is longer. An output that held longer than this starts from the shortest again.
pub(super) const LONGEST: Duration = Duration::from_secs(60);

/// When to try opening again: at once if the output had held, then after 1, 2, 4, ... 60 seconds of frame
/// time.
#[derive(Debug, Default)]
pub(super) struct BackOff {
    /// The wait before the latest attempt; `None` while nothing has failed lately.
    wait: Option<Duration>,
    until: Option<Timestamp>,
}

impl BackOff {
    /// The output held for `held` before it failed.
    pub(super) fn held(&mut self, held: Duration) {
        if held > LONGEST {
            self.wait = None;
        }
    }

    /// Whether an output that was just lost may be opened again without a wait: once, until it has held.
    pub(super) const fn try_at_once(&mut self) -> bool {
        let first = self.wait.is_none();
        if first {
            self.wait = Some(Duration::ZERO);
            self.until = None;
        }
        first
    }

    /// Notes a failure at `at` and returns the wait until the next attempt is due.
    pub(super) fn failed(&mut self, at: Timestamp) -> Duration {
        let wait = self.wait.map_or(SHORTEST, |wait| wait.saturating_mul(2).clamp(SHORTEST, LONGEST));
        self.wait = Some(wait);
        self.until = Some(at.after(wait));
        wait
    }

    /// Makes the next attempt due at once, without forgetting how long to wait after it.
    pub(super) const fn hurry(&mut self) {
        self.until = None;
    }

    /// Whether an attempt is due at `at`.
    pub(super) fn is_due(&self, at: Timestamp) -> bool {
        at >= self.due()
    }

    /// When the next attempt is due; the clock's start if it is at once.
    pub(super) fn due(&self) -> Timestamp {
        self.until.unwrap_or(Timestamp::START)
    }
}
