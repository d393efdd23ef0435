use std::time::Duration;
use tallywheel_units::{FixedCounts, Timestamp};

/// Takes the outputs to each new position in small steps instead of at once.
///
/// A wheel at rest is one count away from the next position, so every count would be a small jump. What is shown
/// glides from the position before the count to the one after it, for as long as the last interval between two
/// counts lasted: in a steady turn it arrives just when the next count comes. It
/// - never passes the position: it always lies between the last two positions, both included;
/// - is never behind by more than one count's interval: a count that comes while the last is still on its way takes
///   what is shown to where the last one ended;
/// - ends exactly on the position.
///
/// Time is an argument, and [`deadline`](Self::deadline) says when to look again. At rest there is none.
///
/// | at | what is shown | deadline |
/// |---|---|---|
/// | `new`, `jump` | the position | none |
/// | `follow`, the same position | goes on as it was | as it was |
/// | `follow`, a new position, at rest | glides from the old one for the longest time or since the last, if less | yes |
/// | `follow`, a new position, on its way | glides from where it is, or from the old position if that is nearer | yes |
/// | the end of the glide | the position | none |
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Smoother {
    longest: Duration,
    from: FixedCounts,
    to: FixedCounts,
    since: Timestamp,
    takes: Duration,
    /// When the position last changed by counting.
    counted: Option<Timestamp>,
}

impl Smoother {
    /// How often what is shown changes while it glides: 250 times a second, more often than simulators look.
    pub const STEP: Duration = Duration::from_millis(4);

    /// At rest at `position`. A count takes at most `longest` to arrive.
    #[must_use]
    pub const fn new(longest: Duration, position: FixedCounts) -> Self {
        let takes = Duration::ZERO;
        Self { longest, from: position, to: position, since: Timestamp::START, takes, counted: None }
    }

    /// The longest that a count takes to arrive.
    #[must_use]
    pub const fn longest(&self) -> Duration {
        self.longest
    }

    /// The trim was counted to `position` at `at`.
    pub fn follow(&mut self, at: Timestamp, position: FixedCounts) {
        if position == self.to {
            return;
        }
        let interval = self.counted.map_or(Duration::MAX, |counted| at.since(counted));
        let (low, high) = if self.to < position { (self.to, position) } else { (position, self.to) };
        self.from = self.at(at).clamp(low, high);
        self.to = position;
        self.since = at;
        self.takes = interval.min(self.longest);
        self.counted = Some(at);
    }

    /// The trim was put to `position` by something else than counting; there is nothing to smooth.
    pub fn jump(&mut self, position: FixedCounts) {
        *self = Self::new(self.longest, position);
    }

    /// What is shown at `at`, which must not be earlier than the last [`follow`](Self::follow).
    #[must_use]
    pub fn at(&self, at: Timestamp) -> FixedCounts {
        let elapsed = at.since(self.since);
        if elapsed >= self.takes {
            return self.to;
        }
        // Towards `from` where it is not whole, so never past `to`. Less than 2^64 times less than 2^64.
        let way = i128::from(self.to.raw()) - i128::from(self.from.raw());
        let nanos = |time: Duration| i128::try_from(time.as_nanos()).unwrap_or(i128::MAX);
        let part = way.saturating_mul(nanos(elapsed)).checked_div(nanos(self.takes)).unwrap_or(way);
        i64::try_from(part).map_or(self.to, |part| self.from + FixedCounts::from_raw(part))
    }

    /// When what is shown changes next after `after`; none when it has arrived by then.
    #[must_use]
    pub fn deadline(&self, after: Timestamp) -> Option<Timestamp> {
        let elapsed = after.since(self.since);
        if elapsed >= self.takes || self.from == self.to {
            return None;
        }
        let step = u64::try_from(Self::STEP.as_nanos()).unwrap_or(u64::MAX);
        let elapsed = u64::try_from(elapsed.as_nanos()).unwrap_or(u64::MAX);
        let next = elapsed.checked_div(step).unwrap_or(0).saturating_add(1).saturating_mul(step);
        Some(self.since.after(Duration::from_nanos(next).min(self.takes)))
    }
}
