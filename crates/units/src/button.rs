use std::fmt;

/// The number of a button as the board's report descriptor gives it, 1..=128
/// (HID Usage Tables 1.3, section 12: id 0 means "no button").
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ButtonNumber(u8);

impl ButtonNumber {
    /// The highest button number that is read.
    pub const LAST: Self = Self(128);

    /// `None` outside 1..=128.
    #[must_use]
    pub fn new(number: u8) -> Option<Self> {
        (1..=Self::LAST.0).contains(&number).then_some(Self(number))
    }

    /// The number, 1..=128.
    #[must_use]
    pub const fn get(self) -> u8 {
        self.0
    }

    /// The button's bit in [`Buttons`].
    #[must_use]
    pub const fn mask(self) -> u128 {
        1 << (self.0 - 1)
    }
}

impl fmt::Display for ButtonNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

/// The pressed state of up to 128 buttons; bit n-1 is button n.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Buttons(u128);

impl Buttons {
    /// No button pressed.
    pub const NONE: Self = Self(0);

    /// From bits, bit n-1 being button n.
    #[must_use]
    pub const fn from_bits(bits: u128) -> Self {
        Self(bits)
    }

    /// The bits, bit n-1 being button n.
    #[must_use]
    pub const fn bits(self) -> u128 {
        self.0
    }

    /// Whether `button` is pressed.
    #[must_use]
    pub const fn pressed(self, button: ButtonNumber) -> bool {
        self.0 & button.mask() != 0
    }

    /// The same state with `button` pressed or not.
    #[must_use]
    pub const fn with(self, button: ButtonNumber, pressed: bool) -> Self {
        if pressed { Self(self.0 | button.mask()) } else { Self(self.0 & !button.mask()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_run_from_one_to_128() {
        assert_eq!(ButtonNumber::new(0), None);
        assert_eq!(ButtonNumber::new(129), None);
        assert_eq!(ButtonNumber::new(128), Some(ButtonNumber::LAST));
        assert_eq!(ButtonNumber::LAST.mask(), 1 << 127);
    }

    #[test]
    fn each_button_has_its_own_bit() {
        let seven = ButtonNumber::new(7).unwrap();
        let pressed = Buttons::NONE.with(seven, true).with(ButtonNumber::LAST, true);
        assert!(pressed.pressed(seven) && pressed.pressed(ButtonNumber::LAST));
        assert!(!pressed.pressed(ButtonNumber::new(8).unwrap()));
        assert_eq!(pressed.with(seven, false).bits(), 1 << 127);
    }
}
