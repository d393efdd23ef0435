use std::fmt;
use std::num::NonZeroU32;
use std::ops::{Add, AddAssign, Neg, Sub};

/// A signed number of counts: steps that the decoding of one wheel yields, or a tally of them.
///
/// Arithmetic saturates: 2^63 counts are beyond any wheel, and a tally must not panic.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Counts(i64);

impl Counts {
    /// No count.
    pub const ZERO: Self = Self(0);
    /// One count forward.
    pub const ONE: Self = Self(1);

    /// From a signed number of counts.
    #[must_use]
    pub const fn new(counts: i64) -> Self {
        Self(counts)
    }

    /// The signed number of counts.
    #[must_use]
    pub const fn get(self) -> i64 {
        self.0
    }

    /// The number of counts without direction.
    #[must_use]
    pub const fn abs(self) -> Self {
        Self(self.0.saturating_abs())
    }

    /// Whether there is nothing to count.
    #[must_use]
    pub const fn is_zero(self) -> bool {
        self.0 == 0
    }
}

impl Add for Counts {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl AddAssign for Counts {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Sub for Counts {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl Neg for Counts {
    type Output = Self;
    fn neg(self) -> Self {
        Self(self.0.saturating_neg())
    }
}

impl fmt::Display for Counts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// How many counts one turn of a wheel yields as wired and set, 1..=1,000,000.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CountsPerTurn(NonZeroU32);

impl CountsPerTurn {
    /// The most counts a turn may have; the finest encoders on the market stay below it.
    pub const MAX: u32 = 1_000_000;

    /// `None` outside 1..=[`Self::MAX`].
    #[must_use]
    pub fn new(counts_per_turn: u32) -> Option<Self> {
        NonZeroU32::new(counts_per_turn).filter(|n| n.get() <= Self::MAX).map(Self)
    }

    /// Counts per turn.
    #[must_use]
    pub const fn get(self) -> u32 {
        self.0.get()
    }
}

impl fmt::Display for CountsPerTurn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tally_saturates_instead_of_wrapping() {
        assert_eq!(Counts::new(i64::MAX) + Counts::ONE, Counts::new(i64::MAX));
        assert_eq!(-Counts::new(i64::MIN), Counts::new(i64::MAX));
        assert_eq!(Counts::new(2) - Counts::new(5), Counts::new(-3));
    }

    #[test]
    fn a_turn_has_at_least_one_count() {
        assert_eq!(CountsPerTurn::new(0), None);
        assert_eq!(CountsPerTurn::new(1_000_001), None);
        assert_eq!(CountsPerTurn::new(96).map(CountsPerTurn::get), Some(96));
    }
}
