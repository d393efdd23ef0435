use crate::{Counts, CountsPerTurn, Degrees};
use std::fmt;
use std::ops::{Add, Neg, Sub};

/// A fixed-point number of counts with 20 fractional bits, about a millionth of a count.
///
/// Travel in degrees seldom is a whole number of counts (580 degrees on 96 counts a turn is 154.67), yet a
/// wheel turned there and back must end on the same number. Integers give that; floats do not.
/// Arithmetic saturates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct FixedCounts(i64);

impl FixedCounts {
    /// Fractional bits.
    pub const FRACTION_BITS: u32 = 20;
    /// Nothing.
    pub const ZERO: Self = Self(0);
    /// One whole count.
    pub const ONE: Self = Self(1 << Self::FRACTION_BITS);

    /// From the raw number of 2^-20 counts.
    #[must_use]
    pub const fn from_raw(raw: i64) -> Self {
        Self(raw)
    }

    /// The raw number of 2^-20 counts.
    #[must_use]
    pub const fn raw(self) -> i64 {
        self.0
    }

    /// A whole number of counts, saturating.
    #[must_use]
    pub const fn from_counts(counts: Counts) -> Self {
        Self(counts.get().saturating_mul(Self::ONE.0))
    }

    /// The counts that `degrees` of rotation make on a wheel with `per_turn` counts a turn, to the nearest
    /// 2^-20 count; the nearest that fits where there is none.
    #[must_use]
    #[expect(
        clippy::as_conversions,
        reason = "float to integer has no From; `as` saturates, which is documented"
    )]
    pub fn from_degrees(degrees: Degrees, per_turn: CountsPerTurn) -> Self {
        let one = 1_048_576.0; // 2^20, exact in f64
        Self((degrees.get() * f64::from(per_turn.get()) * one / 360.0).round() as i64)
    }

    /// Degrees of rotation on a wheel with `per_turn` counts a turn.
    #[must_use]
    pub fn to_degrees(self, per_turn: CountsPerTurn) -> Degrees {
        Degrees::new(self.to_f64() * 360.0 / f64::from(per_turn.get())).unwrap_or(Degrees::ZERO)
    }

    /// The number of counts as a float, exact up to 2^53 raw units.
    #[must_use]
    #[expect(clippy::as_conversions, reason = "i64 to f64 has no From; the loss above 2^53 is documented")]
    pub fn to_f64(self) -> f64 {
        self.0 as f64 / Self::ONE.0 as f64
    }
}

impl Add for FixedCounts {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl Sub for FixedCounts {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl Neg for FixedCounts {
    type Output = Self;
    fn neg(self) -> Self {
        Self(self.0.saturating_neg())
    }
}

impl fmt::Display for FixedCounts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.3}", self.to_f64())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_travel_of_580_degrees_on_96_counts_is_169_and_a_third() {
        let per_turn = CountsPerTurn::new(96).unwrap();
        let travel = FixedCounts::from_degrees(Degrees::new(580.0).unwrap(), per_turn);
        assert_eq!(travel.to_string(), "154.667");
        assert!((travel.to_degrees(per_turn).get() - 580.0).abs() < 1e-5);
    }

    #[test]
    fn whole_turns_are_exact() {
        for counts in [1, 24, 96, 1000, CountsPerTurn::MAX] {
            let per_turn = CountsPerTurn::new(counts).unwrap();
            let whole = FixedCounts::from_counts(Counts::new(i64::from(counts) * 7));
            assert_eq!(FixedCounts::from_degrees(Degrees::new(2520.0).unwrap(), per_turn), whole);
        }
    }
}
