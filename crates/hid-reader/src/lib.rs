//! From the reports of USB HID joystick boards to signed counts.
//!
//! (being written)

mod decode;
mod layout;
mod recording;
mod source;

pub use decode::{BoardDecoder, ConfigError, Event, WheelConfig, WheelInputs};
pub use layout::{ButtonRun, Layout, LayoutError, ReportError};
pub use recording::{BadLine, RecordedDevice, RecordedReport, Recording, RecordingError, RecordingWriter};
pub use source::{
    Access, BoardMatch, FoundBoard, Hid, OpenBoard, OpenRetry, RecordedSource, Refusal, ReportSource,
    ScriptStep, ScriptedSource, SourceError,
};
