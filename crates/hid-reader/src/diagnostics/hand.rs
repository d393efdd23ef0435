use super::{Nanos, SECOND};
use tallywheel_units::{Counts, CountsPerTurn};

/// The fastest that a hand turns a wheel, in turns/s. Common practice, no source.
const TURNS_PER_SECOND: u64 = 5;
/// Counts per turn where nobody said: finer wheels are not pulsed out. Common practice, no source.
const COUNTS_PER_TURN: u32 = 600;
/// Counts that may hang over at either end of a stretch of time.
const ENDS: u64 = 4;

/// What a hand can do at most.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hand {
    counts_per_second: u64,
}

impl Default for Hand {
    fn default() -> Self {
        Self::new(None)
    }
}

impl Hand {
    pub(super) fn new(per_turn: Option<CountsPerTurn>) -> Self {
        let per_turn = per_turn.map_or(COUNTS_PER_TURN, CountsPerTurn::get);
        Self { counts_per_second: u64::from(per_turn) * TURNS_PER_SECOND }
    }

    /// The most counts in so much time.
    pub(super) fn most(self, time: Nanos) -> Counts {
        let counts = u128::from(time) * u128::from(self.counts_per_second) / u128::from(SECOND);
        Counts::new(i64::try_from(counts.saturating_add(u128::from(ENDS))).unwrap_or(i64::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hand_has_a_limit() {
        let hand = Hand::new(CountsPerTurn::new(24));
        assert_eq!(hand.most(SECOND), Counts::new(124));
        assert_eq!(hand.most(SECOND / 2), Counts::new(64));
        assert!(Hand::new(CountsPerTurn::new(1_000_000)).most(u64::MAX) > Counts::new(1 << 50));
    }
}
