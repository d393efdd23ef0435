use std::fmt;

/// An absolute axis of a joystick, under the name that the kernel's event codes give it
/// (`include/uapi/linux/input-event-codes.h`, `ABS_X` and so on).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum AxisCode {
    /// `ABS_X`
    X,
    /// `ABS_Y`
    Y,
    /// `ABS_Z`
    Z,
    /// `ABS_RX`
    Rx,
    /// `ABS_RY`
    Ry,
    /// `ABS_RZ`
    Rz,
    /// `ABS_THROTTLE`
    Throttle,
    /// `ABS_RUDDER`
    Rudder,
}

impl AxisCode {
    /// Every axis, in the order in which trims take them when the aircraft file does not say.
    pub const ALL: [Self; 8] =
        [Self::X, Self::Y, Self::Z, Self::Rx, Self::Ry, Self::Rz, Self::Throttle, Self::Rudder];

    /// The word used in aircraft files: the kernel's name in small letters, without `ABS_`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::X => "x",
            Self::Y => "y",
            Self::Z => "z",
            Self::Rx => "rx",
            Self::Ry => "ry",
            Self::Rz => "rz",
            Self::Throttle => "throttle",
            Self::Rudder => "rudder",
        }
    }

    /// The axis that an aircraft file calls `name`.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|axis| axis.name() == name)
    }
}

impl fmt::Display for AxisCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_axis_is_found_by_its_own_name() {
        for axis in AxisCode::ALL {
            assert_eq!(AxisCode::from_name(axis.name()), Some(axis));
        }
        assert_eq!(AxisCode::from_name("X"), None);
        assert_eq!(AxisCode::from_name(""), None);
    }
}
