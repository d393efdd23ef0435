//! The places of a report where buttons are, and how to read each kind.

use super::bits;
use tallywheel_units::ButtonNumber;

/// Buttons in a row, one bit each, numbers rising with the bits. Almost every board has nothing else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) first_bit: usize,
    /// The first button's bit in `Buttons`.
    pub(super) shift: u8,
    /// 1..=128.
    pub(super) bits: u8,
}

impl Run {
    pub(super) fn mask(self) -> u128 {
        bits::mask(self.bits) << self.shift
    }

    pub(super) fn read(self, report: &[u8]) -> u128 {
        bits::run(report, self.first_bit, self.bits) << self.shift
    }

    pub(super) fn end(self) -> usize {
        self.first_bit + usize::from(self.bits)
    }
}

/// A run that is read as one 32-bit number, with the report's ID before it on boards that have IDs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Short {
    id: Option<u8>,
    first_byte: usize,
    /// Bits of the number before the first button.
    skip: u8,
    /// The buttons' bits of the number, after that.
    mask: u32,
    /// The first button's bit in the lower half of `Buttons`.
    shift: u8,
}

impl Short {
    /// `None` where the run reaches beyond the number or beyond the lower half of `Buttons`.
    pub(super) fn new(id: Option<u8>, run: Run) -> Option<Self> {
        let skip = u8::try_from(run.first_bit % 8).ok()?;
        if skip + run.bits.min(64) > 32 || run.shift.saturating_add(run.bits) > 64 {
            return None;
        }
        let mask = u32::try_from(bits::mask(run.bits)).ok()?;
        Some(Self { id, first_byte: run.first_bit / 8, skip, mask, shift: run.shift })
    }

    /// The pressed buttons; `None` for a report that has another ID or ends too early to be read so.
    #[inline]
    pub(super) fn read(self, report: &[u8]) -> Option<u64> {
        if self.id.is_some() && self.id != report.first().copied() {
            return None;
        }
        let four = report.get(self.first_byte..)?.first_chunk()?;
        Some(u64::from(u32::from_le_bytes(*four) >> self.skip & self.mask) << self.shift)
    }
}

/// One button in a field of its own that is wider than a bit, or has a logical range of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Value {
    pub(super) first_bit: usize,
    /// 1..=32; the kernel reads no more of a wider one.
    pub(super) bits: u8,
    pub(super) range: Range,
    /// The button's bit in `Buttons`.
    pub(super) mask: u128,
}

impl Value {
    /// Whether the button is pressed; `None` for a null value, which says nothing (HID 1.11, section 5.10).
    pub(super) fn read(self, report: &[u8]) -> Option<bool> {
        self.range.pressed(bits::value(report, self.first_bit, self.bits), self.bits)
    }

    pub(super) fn end(self) -> usize {
        self.first_bit + usize::from(self.bits)
    }
}

/// The logical range of a field, kept as the kernel keeps it: a maximum of FF FF FF FF is -1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Range {
    pub(super) minimum: i32,
    pub(super) maximum: i32,
    /// Values outside are null values.
    pub(super) null_state: bool,
}

impl Range {
    /// The value of a field of `bits` bits: two's complement only where the minimum is below zero
    /// (HID 1.11, section 5.8).
    pub(super) fn value(self, raw: u32, bits: u8) -> i32 {
        if self.minimum < 0 { bits::signed(raw, bits) } else { raw.cast_signed() }
    }

    /// What the kernel's `hidinput_hid_event` makes of a button's value. With a null state an out-of-range
    /// value is ignored; without one it is clamped; with no range at all (minimum not below maximum, the
    /// mark of firmware that names none) neither. Then anything but 0 is pressed.
    pub(super) fn pressed(self, raw: u32, bits: u8) -> Option<bool> {
        let value = self.value(raw, bits);
        if self.minimum >= self.maximum {
            return Some(value != 0);
        }
        if self.null_state && !(self.minimum..=self.maximum).contains(&value) {
            return None;
        }
        Some(value.clamp(self.minimum, self.maximum) != 0)
    }

    /// Whether a one-bit field means pressed when set and released when not, so that it fits in a [`Run`].
    pub(super) fn is_plain_bit(self) -> bool {
        self.pressed(0, 1) == Some(false) && self.pressed(1, 1) == Some(true)
    }
}

/// Slots that each hold the index of one pressed button (HID 1.11, section 6.2.2.5, "array").
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Array {
    pub(super) first_bit: usize,
    pub(super) slots: usize,
    /// Bits of a slot, 1..=32 read of `slot_bits` taken.
    pub(super) bits: u8,
    pub(super) slot_bits: usize,
    pub(super) range: Range,
    /// Button numbers by index from the logical minimum on; `None` where the usage is no button of ours.
    pub(super) buttons: Box<[Option<ButtonNumber>]>,
    /// All of them together.
    pub(super) mask: u128,
}

impl Array {
    /// The pressed buttons. A slot whose value is out of range holds none.
    pub(super) fn read(&self, report: &[u8]) -> u128 {
        (0..self.slots).fold(0, |pressed, slot| {
            let raw = bits::value(report, self.first_bit + slot * self.slot_bits, self.bits);
            pressed | self.button(self.range.value(raw, self.bits)).map_or(0, ButtonNumber::mask)
        })
    }

    fn button(&self, value: i32) -> Option<ButtonNumber> {
        if !(self.range.minimum..=self.range.maximum).contains(&value) {
            return None;
        }
        let index = value.wrapping_sub(self.range.minimum).cast_unsigned();
        self.buttons.get(usize::try_from(index).ok()?).copied().flatten()
    }

    pub(super) fn end(&self) -> usize {
        self.first_bit + self.slots * self.slot_bits
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn range(minimum: i32, maximum: i32, null_state: bool) -> Range {
        Range { minimum, maximum, null_state }
    }

    #[test]
    fn a_null_value_says_nothing_and_others_are_clamped() {
        // HID 1.11, section 5.10: an 8-bit field that is valid from 0 to 7F ignores 80 to FF.
        assert_eq!(range(0, 0x7F, true).pressed(0x80, 8), None);
        assert_eq!(range(0, 0x7F, true).pressed(0xFF, 8), None);
        assert_eq!(range(0, 0x7F, true).pressed(0x7F, 8), Some(true));
        assert_eq!(range(0, 0x7F, true).pressed(0, 8), Some(false));
        // Linux 6.1, hid-input.c, hidinput_hid_event: clamped without a null state.
        assert_eq!(range(0, 1, false).pressed(0xFF, 8), Some(true));
        assert_eq!(range(1, 4, false).pressed(0, 8), Some(true));
        // ... and left alone without a range.
        assert_eq!(range(0, 0, true).pressed(0xFF, 8), Some(true));
    }

    #[test]
    fn a_short_run_reads_as_any_run_does_or_not_at_all() {
        let bytes = [7, 0x53, 0xCA, 0x96, 0x0F, 0xE1];
        for (first_bit, bits, shift) in (8..48)
            .flat_map(|first| (1..=40_u8).flat_map(move |bits| [0, 9, 63].map(|shift| (first, bits, shift))))
        {
            let run = Run { first_bit, shift, bits };
            let short = Short::new(Some(7), run);
            let fits = first_bit % 8 + usize::from(bits) <= 32 && shift + bits <= 64;
            assert_eq!(short.is_some(), fits, "{run:?}");
            let Some(short) = short else { continue };
            assert_eq!(Short { id: Some(8), ..short }.read(&bytes), None);
            let read = short.read(&bytes).map(u128::from);
            assert_eq!(read, (first_bit / 8 + 4 <= bytes.len()).then(|| run.read(&bytes)), "{run:?}");
            assert_eq!(Short { id: None, ..short }.read(&bytes).map(u128::from), read);
        }
    }

    #[test]
    fn one_bit_is_plain_unless_its_range_says_otherwise() {
        assert!(range(0, 1, false).is_plain_bit());
        assert!(range(0, 1, true).is_plain_bit());
        assert!(range(0, 0, false).is_plain_bit());
        assert!(range(-1, 0, false).is_plain_bit());
        assert!(!range(1, 2, false).is_plain_bit());
        assert!(!range(1, 1 << 20, true).is_plain_bit());
    }
}
