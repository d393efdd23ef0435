//! TOML text to a checked rig and a checked aircraft. No paths, no files, no watching: text goes in, and either
//! a value comes out that holds together or every mistake in the text, each with its place.
//!
//! - [`rig()`] reads the hardware as built: boards, wheels, counts a turn.
//! - [`aircraft()`] reads how one aircraft's trims behave: titles, travel, neutral, stops, start, outputs.
//! - [`reduce()`] leaves out of an aircraft the trims that a rig has no wheel for.
//! - [`fit()`] puts an aircraft on a rig: which trim is on which wheel.
//! - [`choose_by_title`] finds the aircraft for a simulator's title, and [`together()`] what keeps aircraft
//!   files from being in one folder.
//!
//! Every key is described once, in the doc comments of the structs that serde fills (the modules called
//! `file`). `toml` parses and keeps the place of every value; `read` walks what it parsed and, unlike
//! the deserializer that comes with `toml`, goes on after a mistake and keeps what was expected apart from what
//! was found.

mod aircraft;
mod error;
mod fit;
mod names;
mod output;
mod read;
mod reduce;
mod rig;
#[cfg(test)]
mod schema;
mod together;
mod words;

pub use aircraft::{
    Aircraft, OnReport, Position, Specificity, Start, TitleChoice, TitlePattern, Trim, choose_by_title,
};
pub use error::{FileError, FileErrors};
pub use fit::{Fitted, fit};
pub use output::{
    AxisCode, ByteOrder, DatagramConfig, Destination, DeviceName, KeyPlace, KeysTrim, LayoutField,
    NumberForm, NumberKind, NumberSource, OutputConfig, Pace, Scale, ScanCode, StepsTrim, Template, TextForm,
    TrimValue,
};
pub use reduce::{LeftOut, reduce};
pub use rig::{Board, Button, ButtonRun, Press, Rig, Simulator, Spot, UsbId, Wheel, WheelInputs};
pub use together::together;

/// The largest file that is read, in bytes of text: 1 MiB. Larger is a mistake, not a rig.
pub const LARGEST_FILE_BYTES: usize = 1 << 20;

/// Reads a rig file. `file` is what the errors call it.
///
/// # Errors
/// Every mistake that can be told without guessing, in the order of the file.
pub fn rig(file: &str, text: &str) -> Result<Rig, FileErrors> {
    read::document(file, text, rig::check)
}

/// Reads an aircraft file. `file` is what the errors call it.
///
/// # Errors
/// Every mistake that can be told without guessing, in the order of the file.
pub fn aircraft(file: &str, text: &str) -> Result<Aircraft, FileErrors> {
    read::document(file, text, aircraft::check)
}
