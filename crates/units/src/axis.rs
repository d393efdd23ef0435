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
}
