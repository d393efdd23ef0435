use std::fmt;

/// Degrees that a trim moves for one degree that the wheel in the hand turns, 0.01..=100. Always finite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Ratio(f64);

impl Ratio {
    /// The trim moves as far as the wheel turns.
    pub const DIRECT: Self = Self(1.0);
    /// The smallest ratio: the wheel turns a hundred times as far as the trim moves.
    pub const MIN: Self = Self(0.01);
    /// The largest ratio: the trim moves a hundred times as far as the wheel turns.
    pub const MAX: Self = Self(100.0);

    /// `None` outside [`Self::MIN`]..=[`Self::MAX`].
    #[must_use]
    pub fn new(degrees_per_degree: f64) -> Option<Self> {
        (Self::MIN.0..=Self::MAX.0).contains(&degrees_per_degree).then_some(Self(degrees_per_degree))
    }

    /// Degrees of the trim for a degree of the wheel.
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl Default for Ratio {
    fn default() -> Self {
        Self::DIRECT
    }
}

impl fmt::Display for Ratio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ratio_is_neither_nothing_nor_beyond_its_ends() {
        for none in [0.0, -1.0, 0.0099, 100.1, f64::NAN, f64::INFINITY] {
            assert_eq!(Ratio::new(none), None, "{none}");
        }
        for some in [0.01, 0.7, 1.0, 100.0] {
            assert_eq!(Ratio::new(some).map(Ratio::get), Some(some));
        }
        assert_eq!(Ratio::default(), Ratio::DIRECT);
    }
}
