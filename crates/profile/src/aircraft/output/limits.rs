//! The numbers of an `[[output]]`, each with its limits.

use crate::output::Scale;
use crate::read::{bounded, milliseconds, real, whole, whole_milliseconds};
use std::time::Duration;
use tallywheel_units::ButtonNumber;

bounded! {
    /// A number on either side of 0: an end of a range, or a number that never changes.
    pub(crate) RangeEnd(f64): f64 = -Scale::FARTHEST..=Scale::FARTHEST, "a number", real;
    /// The least time between two datagrams.
    pub(crate) MinInterval(Duration): i64 = 1..=10_000, "milliseconds, a whole number", whole_milliseconds;
    /// The longest time without a datagram.
    pub(crate) KeepAlive(Duration): i64 = 10..=3_600_000, "milliseconds, a whole number", whole_milliseconds;
    /// Digits after the point.
    pub(crate) Digits(u8): i64 = 0..=15, "a whole number", whole;
    /// The least number of characters.
    pub(crate) Width(u8): i64 = 1..=64, "a whole number", whole;
    /// Bytes of a datagram, at most [`crate::DatagramConfig::LARGEST_BYTES`].
    pub(crate) PadTo(usize): i64 = 1..=1_400, "a whole number", whole;
    /// One byte.
    pub(crate) Byte(u8): i64 = 0..=255, "a whole number", whole;
    /// A button of the virtual joystick: the kernel has names for 16 joystick buttons and 40 more.
    pub(crate) PadButton(ButtonNumber): i64 = 1..=56, "a button number", button;
    /// Presses from stop to stop.
    pub(crate) Presses(u16): i64 = 1..=10_000, "a whole number", whole;
    /// Presses more at each arrival at a stop.
    pub(crate) ExtraPresses(u8): i64 = 0..=250, "a whole number", whole;
    /// How long a press or a pause takes.
    pub(crate) PressMs(Duration): f64 = 1.0..=1_000.0, "milliseconds", milliseconds;
    /// How long the simulator's report may take.
    pub(crate) SettleMs(Duration): f64 = 0.0..=60_000.0, "milliseconds", milliseconds;
}

fn button(number: i64) -> Option<ButtonNumber> {
    ButtonNumber::new(u8::try_from(number).ok()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn padding_ends_where_the_largest_datagram_does() {
        assert_eq!(PadTo::new(PadTo::MOST).map(PadTo::get), Some(crate::DatagramConfig::LARGEST_BYTES));
    }
}
