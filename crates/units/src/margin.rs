use crate::{Counts, CountsPerTurn};
use std::fmt;
use std::ops::{Add, AddAssign, Neg};

/// How far a number of counts may be off: the truth lies in `tally - low ..= tally + high`.
///
/// As a margin it is what the tally of one wheel stands at; as a bound it is what one loss may have cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Margin {
    low: Counts,
    high: Counts,
}

impl Margin {
    /// The tally is certain.
    pub const CERTAIN: Self = Self { low: Counts::ZERO, high: Counts::ZERO };

    /// Nothing is known any more until the next reference.
    pub const UNKNOWN: Self = Self { low: Counts::new(i64::MAX), high: Counts::new(i64::MAX) };

    /// The truth may lie up to `low` counts below and `high` counts above. Signs are dropped.
    #[must_use]
    pub const fn new(low: Counts, high: Counts) -> Self {
        Self { low: low.abs(), high: high.abs() }
    }

    /// The same distance both ways.
    #[must_use]
    pub const fn both(counts: Counts) -> Self {
        Self::new(counts, counts)
    }

    /// Counts that the truth may lie below the tally, never negative.
    #[must_use]
    pub const fn low(self) -> Counts {
        self.low
    }

    /// Counts that the truth may lie above the tally, never negative.
    #[must_use]
    pub const fn high(self) -> Counts {
        self.high
    }

    /// What is left of this margin when the tally, after `corrected` was added to it, is known to be right but for
    /// whole turns of `per_turn` counts: the turns that it held, so nothing where it was no wider than that.
    #[must_use]
    pub fn whole_turns(self, corrected: Counts, per_turn: CountsPerTurn) -> Self {
        let (moved, turn) = (corrected.get(), i64::from(per_turn.get()));
        let turns = |side: Counts, moved: i64| {
            if side.get() == i64::MAX {
                return side;
            }
            let side = side.get().saturating_add(moved);
            if side < turn { Counts::ZERO } else { Counts::new(side / turn * turn) }
        };
        Self { low: turns(self.low, moved), high: turns(self.high, moved.saturating_neg()) }
    }

    /// Whether nothing is in doubt.
    #[must_use]
    pub const fn is_certain(self) -> bool {
        self.low.is_zero() && self.high.is_zero()
    }

    /// Whether there is no limit to the doubt, at least on one side.
    #[must_use]
    pub const fn is_unknown(self) -> bool {
        self.low.get() == i64::MAX || self.high.get() == i64::MAX
    }

    /// Whether a tally that is off by `error` (truth minus tally) is within the margin.
    #[must_use]
    pub fn covers(self, error: Counts) -> bool {
        -self.low <= error && error <= self.high
    }
}

impl Add for Margin {
    type Output = Self;
    /// Independent doubts add up.
    fn add(self, other: Self) -> Self {
        Self { low: self.low + other.low, high: self.high + other.high }
    }
}

impl AddAssign for Margin {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Neg for Margin {
    type Output = Self;
    /// For a wheel that turns the other way.
    fn neg(self) -> Self {
        Self { low: self.high, high: self.low }
    }
}

impl fmt::Display for Margin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_unknown() {
            return f.write_str("unknown");
        }
        match (self.low.is_zero(), self.high.is_zero()) {
            (true, true) => f.write_str("0"),
            (true, false) => write!(f, "0..+{}", self.high),
            (false, true) => write!(f, "-{}..0", self.low),
            (false, false) => write!(f, "-{}..+{}", self.low, self.high),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn doubts_add_up_and_turn_round() {
        let sum = Margin::new(Counts::new(2), Counts::ZERO) + Margin::both(Counts::ONE);
        assert_eq!(sum, Margin::new(Counts::new(3), Counts::ONE));
        assert_eq!(-sum, Margin::new(Counts::ONE, Counts::new(3)));
        assert_eq!(sum.to_string(), "-3..+1");
        // No zero has a sign.
        for (low, high, text) in [(0, 0, "0"), (0, 2, "0..+2"), (2, 0, "-2..0")] {
            assert_eq!(Margin::new(Counts::new(low), Counts::new(high)).to_string(), text);
        }
    }

    #[test]
    fn whole_turns_are_left_where_they_were_possible() {
        let turn = CountsPerTurn::new(24).unwrap();
        let left = |low, high, corrected| {
            let margin = Margin::new(Counts::new(low), Counts::new(high));
            let left = margin.whole_turns(Counts::new(corrected), turn);
            for truth in -low..=high {
                // Each truth that was possible and agrees with the mark still is.
                let error = truth - corrected;
                assert!(error % 24 != 0 || left.covers(Counts::new(error)), "{truth} {left}");
            }
            (left.low().get(), left.high().get())
        };
        assert_eq!(left(0, 0, 0), (0, 0));
        assert_eq!(left(0, 0, 5), (0, 0), "what nobody had told of");
        assert_eq!(left(12, 12, -12), (0, 24), "12 the other way is as likely");
        assert_eq!(left(23, 23, 0), (0, 0));
        assert_eq!(left(24, 80, 0), (24, 72));
        assert_eq!(left(24, 80, 10), (24, 48));
        assert!(Margin::UNKNOWN.whole_turns(Counts::ONE, turn).is_unknown());
    }

    #[test]
    fn an_error_is_covered_on_its_own_side_only() {
        let margin = Margin::new(Counts::new(2), Counts::ZERO);
        assert!(margin.covers(Counts::new(-2)) && margin.covers(Counts::ZERO));
        assert!(Margin::UNKNOWN.covers(Counts::new(-1_000_000)));
        assert!((Margin::UNKNOWN + Margin::both(Counts::ONE)).is_unknown());
        assert!(!margin.covers(Counts::ONE) && !margin.covers(Counts::new(-3)));
    }
}
