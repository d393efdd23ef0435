use crate::ButtonNumber;

/// Buttons that stand in a row in one report, one bit each, numbers rising with the bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ButtonRun {
    /// The report's ID; `None` on a board without IDs.
    pub report_id: Option<u8>,
    /// The first button's bit, counted from 0 at the lowest bit of the report's first byte **as it is
    /// read**. On a board with IDs that first byte is the ID, so that 8 is the lowest bit after it.
    pub first_bit: u32,
    /// The first button's number.
    pub first_button: ButtonNumber,
    /// How many there are, at least 1, the last at most number 128.
    pub buttons: u8,
}
