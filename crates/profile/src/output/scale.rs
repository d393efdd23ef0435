use tallywheel_units::Normalized;

/// What an output makes of a position: a straight line from one number at the low stop to another at the high
/// stop. Neutral is exactly half way between the two.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    at_low: f64,
    at_high: f64,
}

impl Scale {
    /// -1 at the low stop, 0 at neutral, 1 at the high stop: the position as it is.
    pub const UNIT: Self = Self { at_low: -1.0, at_high: 1.0 };
    /// No end of a range is farther from 0.
    pub const FARTHEST: f64 = 1e9;

    /// `None` unless both numbers are within [`Self::FARTHEST`] of 0 and differ.
    #[must_use]
    pub fn new(at_low: f64, at_high: f64) -> Option<Self> {
        let fits = |end: f64| end.abs() <= Self::FARTHEST;
        (fits(at_low) && fits(at_high) && at_low != at_high).then_some(Self { at_low, at_high })
    }

    /// The same range the other way round.
    #[must_use]
    pub const fn reversed(self) -> Self {
        Self { at_low: self.at_high, at_high: self.at_low }
    }

    /// The number at the low stop.
    #[must_use]
    pub const fn at_low(self) -> f64 {
        self.at_low
    }

    /// The number at the high stop.
    #[must_use]
    pub const fn at_high(self) -> f64 {
        self.at_high
    }

    /// The number for a position: exactly the ends at the stops, exactly the middle at neutral, never beyond
    /// the ends and never back when the position goes on.
    #[must_use]
    pub fn apply(self, position: Normalized) -> f64 {
        let (position, Self { at_low, at_high }) = (position.get(), self);
        if position <= -1.0 {
            at_low
        } else if position >= 1.0 {
            at_high
        } else {
            // Halved before they are added, so that -1 and 1 leave the position as it is to the last bit.
            let value = (at_low / 2.0 + at_high / 2.0) + position * (at_high / 2.0 - at_low / 2.0);
            value.clamp(at_low.min(at_high), at_low.max(at_high))
        }
    }
}

impl Default for Scale {
    fn default() -> Self {
        Self::UNIT
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(scale: Scale, position: f64) -> f64 {
        scale.apply(Normalized::clamped(position))
    }

    #[test]
    fn ends_and_middle_are_exact() {
        for (low, high, middle) in [(-1.0, 1.0, 0.0), (0.0, 1.0, 0.5), (1.0, -1.0, 0.0), (-0.3, 0.1, -0.1)] {
            let scale = Scale::new(low, high).unwrap();
            assert_eq!((at(scale, -1.0), at(scale, 1.0)), (low, high));
            assert!((at(scale, 0.0) - middle).abs() < 1e-15, "{low} {high}");
            assert_eq!(scale.reversed().reversed(), scale);
            assert_eq!(at(scale.reversed(), -1.0), high);
        }
    }

    #[test]
    fn a_range_has_two_ends() {
        for (low, high) in [(1.0, 1.0), (f64::NAN, 1.0), (0.0, f64::INFINITY), (0.0, 1.1e9), (-0.0, 0.0)] {
            assert_eq!(Scale::new(low, high), None, "{low} {high}");
        }
    }

    proptest! {
        #[test]
        fn the_unit_range_is_the_position_itself(position in -1.0..=1.0) {
            prop_assert_eq!(at(Scale::UNIT, position).to_bits(), (position + 0.0).to_bits());
            prop_assert_eq!(at(Scale::UNIT.reversed(), position), -position);
        }

        #[test]
        fn it_never_leaves_the_range_and_never_turns_back(
            low in -1e9..1e9, high in -1e9..1e9, one in -1.0..=1.0, other in -1.0..=1.0,
        ) {
            let Some(scale) = Scale::new(low, high) else { return Ok(()) };
            let (one, other): (f64, f64) = (one, other);
            let (first, second) = (at(scale, one.min(other)), at(scale, one.max(other)));
            prop_assert!(first >= low.min(high) && first <= low.max(high));
            let in_order = if low < high { first <= second } else { first >= second };
            prop_assert!(in_order);
        }
    }
}
