use std::fmt;

/// An angle of wheel rotation in degrees. Always finite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Degrees(f64);

impl Degrees {
    /// No rotation.
    pub const ZERO: Self = Self(0.0);
    /// One whole turn.
    pub const FULL_TURN: Self = Self(360.0);
    /// The most that a trim may travel from stop to stop, a hundred turns of the wheel. With the finest wheel
    /// ([`CountsPerTurn::MAX`](crate::CountsPerTurn::MAX)) that keeps the arithmetic of an axis in 64 bits.
    pub const LONGEST_TRAVEL: Self = Self(36_000.0);

    /// `None` unless `degrees` is finite.
    #[must_use]
    pub fn new(degrees: f64) -> Option<Self> {
        degrees.is_finite().then_some(Self(degrees))
    }

    /// The number of degrees.
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl fmt::Display for Degrees {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.1}\u{b0}", self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_finite_angles_exist() {
        assert_eq!(Degrees::new(580.0).map(Degrees::get), Some(580.0));
        assert_eq!(Degrees::new(f64::NAN), None);
        assert_eq!(Degrees::new(f64::INFINITY), None);
        assert_eq!(Degrees::FULL_TURN.to_string(), "360.0\u{b0}");
    }
}
