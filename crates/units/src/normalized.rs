use std::fmt;

/// Where a trim is between its stops: -1 at the low stop, 0 at neutral, +1 at the high stop.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Normalized(f64);

impl Normalized {
    /// The low stop.
    pub const MIN: Self = Self(-1.0);
    /// Neutral.
    pub const NEUTRAL: Self = Self(0.0);
    /// The high stop.
    pub const MAX: Self = Self(1.0);

    /// The value nearest to `value` in -1..=1; neutral for a value that is not a number.
    #[must_use]
    pub fn clamped(value: f64) -> Self {
        if value.is_nan() { Self::NEUTRAL } else { Self(value.clamp(-1.0, 1.0)) }
    }

    /// The number, -1..=1.
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl fmt::Display for Normalized {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:+.4}", self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_lies_outside_the_stops() {
        assert_eq!(Normalized::clamped(-7.0), Normalized::MIN);
        assert_eq!(Normalized::clamped(f64::INFINITY), Normalized::MAX);
        assert_eq!(Normalized::clamped(f64::NAN), Normalized::NEUTRAL);
    }
}
