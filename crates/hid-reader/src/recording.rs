//! Recordings of what boards sent, in the text format of hid-recorder.
//!
//! One line is a letter, a colon, a blank and a payload. As hid-tools documents it in hid-recorder(1), and as
//! its readers take it:
//!
//! | line | payload |
//! |---|---|
//! | `# ...` | a comment |
//! | `# unplugged 000001.003000` | our own, a comment to others: the board was unplugged then |
//! | `# gap 000001.003000 17` | our own: so many reports were read but not recorded |
//! | `D: 1` | the device, by its place counted from 0, that the following lines are about; left out with one |
//! | `R: 46 05 01 ...` | its report descriptor: the length, decimal, then the bytes in hex |
//! | `N: name` | its name |
//! | `P: phys` | where it was plugged in; may be left out |
//! | `I: 3 1209 7a11` | bus, vendor, product in hex; bus 3 is USB |
//! | `E: 000001.003000 3 01 00 80` | a report: seconds, six digits of microseconds, length, bytes |
//!
//! Hazards, from the source of PyPI hid-tools 0.12: its `parse_hid` stops at any `D:` line, its `replay` at
//! any among the reports, and its recorder's clock starts again at 0 after 24 hours. So one device is written
//! without `D:`, and a clock that went round is taken to have gone on.

mod parse;
mod write;

pub use write::RecordingWriter;

use tallywheel_units::Timestamp;
use thiserror::Error;

/// A board as a recording describes it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct RecordedDevice {
    /// Its name; empty when the recording gives none.
    pub name: String,
    /// Where it was plugged in.
    pub phys: Option<String>,
    /// The bus; 3 is USB.
    pub bus: u16,
    /// USB vendor.
    pub vendor: u16,
    /// USB product.
    pub product: u16,
    /// Its report descriptor; empty when the recording gives none.
    pub descriptor: Vec<u8>,
}

/// One report of a recording.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecordedReport {
    /// The device's place in [`Recording::devices`].
    pub device: usize,
    /// When it was read, by the recording's own clock, in whole microseconds.
    pub at: Timestamp,
    /// Its bytes, the report ID first if the board has IDs.
    pub bytes: Vec<u8>,
}

/// A line that could not be taken as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BadLine {
    /// Its number, counted from 1.
    pub line: usize,
    /// What is wrong with it, one clause.
    pub reason: &'static str,
}

/// What a recording tells besides reports, in comments that other readers of the format pass over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkKind {
    /// The board was unplugged.
    Unplugged,
    /// Reports that were read but not recorded.
    Gap {
        /// How many.
        reports: u64,
    },
}

/// One such remark and its place among the reports.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mark {
    /// The device's place in [`Recording::devices`].
    pub device: usize,
    /// When it happened, by the recording's own clock.
    pub at: Timestamp,
    /// How many of [`Recording::reports`] come before it.
    pub before: usize,
    /// What happened.
    pub kind: MarkKind,
}

/// What boards sent, in the order in which it was read.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Recording {
    /// The boards, at least one.
    pub devices: Vec<RecordedDevice>,
    /// Their reports. Time never runs backwards from one to the next.
    pub reports: Vec<RecordedReport>,
    /// What happened between the reports, in the order of the file.
    pub marks: Vec<Mark>,
    /// The lines that could not be taken as they stand; the rest is as good as it was.
    pub bad_lines: Vec<BadLine>,
}

/// Why a text is no recording; another file has to be given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum RecordingError {
    /// No line of it describes a device or holds a report.
    #[error("no line describes a device or holds a report; a recording has lines like `R: 46 05 01 ...`")]
    NotARecording,
}

impl Recording {
    /// Reads a recording. Lines with unknown letters are passed over; every line that is wrong is kept in
    /// [`Self::bad_lines`] with its number and left out, all others are taken.
    ///
    /// # Errors
    /// [`RecordingError::NotARecording`] when there is nothing in it.
    pub fn parse(text: &str) -> Result<Self, RecordingError> {
        parse::recording(text)
    }
}

#[cfg(test)]
mod tests;
