use tallywheel_units::ButtonNumber;
use thiserror::Error;

/// Why no layout could be made: the board's report descriptor or the rig file has to change.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum LayoutError {
    /// The descriptor has no byte, or there is no run.
    #[error("there is nothing to make a layout from")]
    Empty,
    /// A descriptor above the size that the kernel takes.
    #[error("the report descriptor has {bytes} bytes; the kernel takes at most 4096")]
    TooLong {
        /// The descriptor's length.
        bytes: usize,
    },
    /// The descriptor breaks a rule of HID 1.11 that the kernel enforces too.
    #[error("report descriptor, byte {offset}: {reason}")]
    Descriptor {
        /// Where in the descriptor the item starts that breaks it.
        offset: usize,
        /// Which rule.
        reason: String,
    },
    /// A run has no button, or buttons past 128.
    #[error("a run of {buttons} buttons from button {first_button} is not within 1 to 128")]
    RunOutOfRange {
        /// The run's first button.
        first_button: ButtonNumber,
        /// How many there are.
        buttons: u8,
    },
    /// Two runs describe the same button.
    #[error("button {button} is described twice")]
    ButtonTwice {
        /// The button.
        button: ButtonNumber,
    },
    /// A run lies on the report ID's byte, past the longest report, or on another run's bits.
    #[error("bits {first_bit} and following of the report are no place for button {first_button}: {reason}")]
    BitsOutOfPlace {
        /// The run's first bit.
        first_bit: u32,
        /// The run's first button.
        first_button: ButtonNumber,
        /// Why.
        reason: &'static str,
    },
    /// Some runs name a report ID and some don't, but a board has IDs in all its reports or in none.
    #[error("either every run has a report ID or none has")]
    MixedReportIds,
}

/// Why a report was not taken. The state is as it was before.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum ReportError {
    /// A report of no byte at all.
    #[error("the report is empty")]
    Empty,
    /// The board's descriptor has no input report with this ID.
    #[error("the report's ID is {id}, which the report descriptor does not have")]
    UnknownId {
        /// The report's first byte.
        id: u8,
    },
    /// The report ends before its last button.
    ///
    /// The kernel fills such a report with zeros for its own event devices. Here it is refused: a zero that
    /// the board did not send would release a pressed button or make up an edge of an encoder, and that is
    /// a wrong count.
    #[error("the report has {bytes} bytes, but its buttons need {needed}")]
    TooShort {
        /// How many there are.
        bytes: usize,
        /// How many there must be.
        needed: usize,
    },
}
