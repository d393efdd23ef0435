use std::fmt;

/// Degrees that a trim moves for one degree that the wheel in the hand turns, 0.01..=100. Always finite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Gear(f64);

impl Gear {
    /// The trim moves as far as the wheel turns.
    pub const DIRECT: Self = Self(1.0);
    /// The slowest gear.
    pub const SLOWEST: Self = Self(0.01);
    /// The fastest gear.
    pub const FASTEST: Self = Self(100.0);

    /// `None` outside [`Self::SLOWEST`]..=[`Self::FASTEST`].
    #[must_use]
    pub fn new(degrees_per_degree: f64) -> Option<Self> {
        (Self::SLOWEST.0..=Self::FASTEST.0).contains(&degrees_per_degree).then_some(Self(degrees_per_degree))
    }

    /// Degrees of the trim for a degree of the wheel.
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl Default for Gear {
    fn default() -> Self {
        Self::DIRECT
    }
}

impl fmt::Display for Gear {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gear_is_neither_nothing_nor_beyond_its_ends() {
        for none in [0.0, -1.0, 0.0099, 100.1, f64::NAN, f64::INFINITY] {
            assert_eq!(Gear::new(none), None, "{none}");
        }
        for some in [0.01, 0.7, 1.0, 100.0] {
            assert_eq!(Gear::new(some).map(Gear::get), Some(some));
        }
        assert_eq!(Gear::default(), Gear::DIRECT);
    }
}
