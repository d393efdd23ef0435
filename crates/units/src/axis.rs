use crate::Normalized;
use std::fmt;

/// A value of the 16-bit virtual axis, -32767..=32767.
///
/// The range is symmetric so that neutral is exactly 0 for every reader: it is the identity in the kernel's
/// joydev (`drivers/input/joydev.c`, `joydev_correct`), and 0 stays 0 in SDL.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct AxisValue(i16);

impl AxisValue {
    /// The low stop.
    pub const MIN: Self = Self(-32767);
    /// Neutral.
    pub const NEUTRAL: Self = Self(0);
    /// The high stop.
    pub const MAX: Self = Self(32767);

    /// The value nearest to `value` within the range.
    #[must_use]
    pub fn clamped(value: i64) -> Self {
        i16::try_from(value.clamp(-32767, 32767)).map_or(Self::NEUTRAL, Self)
    }

    /// 32767 times `normalized` to the nearest integer, half away from zero.
    #[must_use]
    #[expect(clippy::as_conversions, reason = "float to integer has no From; at most 32767 either way")]
    pub fn nearest(normalized: Normalized) -> Self {
        Self::clamped((normalized.get() * 32_767.0).round() as i64)
    }

    /// The value as the kernel takes it.
    #[must_use]
    pub fn get(self) -> i32 {
        i32::from(self.0)
    }
}

impl fmt::Display for AxisValue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_outside_the_range_become_its_ends() {
        assert_eq!(AxisValue::clamped(40_000), AxisValue::MAX);
        assert_eq!(AxisValue::clamped(i64::MIN), AxisValue::MIN);
        assert_eq!(AxisValue::clamped(-32768), AxisValue::MIN);
        assert_eq!(AxisValue::clamped(-5).get(), -5);
    }

    #[test]
    fn the_ends_and_neutral_are_exact_and_halves_go_outward() {
        let at = |normalized| AxisValue::nearest(Normalized::clamped(normalized)).get();
        assert_eq!([at(-1.0), at(0.0), at(1.0)], [-32767, 0, 32767]);
        assert_eq!([at(0.5 / 32767.0), at(-0.5 / 32767.0), at(0.49 / 32767.0)], [1, -1, 0]);
    }
}
