use crate::read::Choice;
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
    pub fn name(self) -> &'static str {
        self.word()
    }
}

impl Choice for AxisCode {
    const CHOICES: &'static [(&'static str, Self)] = &[
        ("x", Self::X),
        ("y", Self::Y),
        ("z", Self::Z),
        ("rx", Self::Rx),
        ("ry", Self::Ry),
        ("rz", Self::Rz),
        ("throttle", Self::Throttle),
        ("rudder", Self::Rudder),
    ];
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
    fn every_axis_has_a_word_in_the_order_of_the_axes() {
        assert_eq!(AxisCode::CHOICES.iter().map(|(_, axis)| *axis).collect::<Vec<_>>(), AxisCode::ALL);
    }
}
