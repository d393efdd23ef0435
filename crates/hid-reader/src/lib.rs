//! From the reports of USB HID joystick boards to signed counts.
//!
//! A report's path: a [`ReportSource`] reads it (a board through hidapi, a recording, a script), a [`Layout`]
//! finds the buttons in it, a [`BoardDecoder`] makes signed counts of their changes, one wheel at a time, and
//! says where counts may be missing. What the counts mean is not known here.
//!
//! ```
//! use tallywheel_hid_reader::{BoardDecoder, Event, Layout, WheelConfig, WheelInputs};
//! use tallywheel_units::{ButtonNumber, Counts, CountsPerCycle, Timestamp};
//!
//! // A joystick with eight buttons in one byte (HID 1.11); the encoder's lines are buttons 1 and 2.
//! let descriptor = [
//!     0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x08, 0x15, 0x00, 0x25, 0x01, 0x75, 0x01,
//!     0x95, 0x08, 0x81, 0x02, 0xC0,
//! ];
//! let button = |number| ButtonNumber::new(number).ok_or("1 to 128");
//! let inputs = WheelInputs::Quadrature { a: button(1)?, b: button(2)?, per_cycle: CountsPerCycle::X4 };
//! let wheels = [WheelConfig { inputs, pressed_at_rest: false, index: None }];
//! let mut decoder = BoardDecoder::new(Layout::from_descriptor(&descriptor)?, &wheels, None)?;
//!
//! let mut tally = Counts::ZERO;
//! for (milliseconds, report) in (0..).zip([[0b00], [0b01], [0b11], [0b10], [0b00]]) {
//!     let at = Timestamp::from_micros(milliseconds * 1000);
//!     decoder.report(at, &report, &mut |_wheel, event| match event {
//!         Event::Counts(counts) => tally += counts,
//!         Event::Loss(loss) => println!("{loss}"),
//!         Event::Doubt(doubt) | Event::Undecided(doubt) => println!("{doubt} in doubt"),
//!         Event::Index(mark) => tally += mark.correction,
//!     });
//! }
//! assert_eq!(tally, Counts::new(4));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! What always holds:
//! - A report, a descriptor or a recording may hold anything; nothing panics on it, and no size that it names
//!   is believed before it is checked. [`Layout::from_descriptor`] with [`Layout::apply`],
//!   [`BoardDecoder::report`] and [`Recording::parse`] are what a fuzzer gets.
//! - After [`BoardDecoder::new`] nothing is allocated, and no clock is read anywhere: time is an argument.
//! - A button changes only when a report says so. A report that is too short is refused rather than filled with
//!   zeros, and the first report after a start or an unplugging changes nothing: it only tells where the
//!   lines stand.
//! - What was not seen is a [`Loss`](tallywheel_units::Loss) with a bound, never a guess among the counts, or as
//!   long as it may still be found out an [`Event::Doubt`]. Only an index mark measures it: [`Event::Index`].
//! - Buttons are numbered as the kernel numbers them, so that the numbers are those that other programs show.
//! - A blocked read costs nothing: hidapi's is one `poll` and one `read` a report, on Linux.
//!
//! What is not here: axes, hats and everything else that is no button; output and feature reports; relative
//! button fields (the kernel makes a press and a release of each; here they are read as any other); pulses
//! shorter than the time between two reports; the watch for boards that are plugged in, which the daemon keeps.
//!
//! To add a decoder, give it the four functions of `decode/pulses.rs` (`new`; `step`: time and lines in,
//! counts and perhaps a loss out; `forget`; `hidden_in`: what lost reports may cost), say with `EVERY_SAMPLE`
//! whether it also wants the reports in which its lines did not change, give it a place in `decode.rs`, and
//! print the table of all its input sequences above it.

mod decode;
mod diagnostics;
mod layout;
mod parameters;
mod recording;
mod source;
mod timing;
pub mod tracking;

/// The longest report that the kernel hands on (`HID_MAX_BUFFER_SIZE` in `include/linux/hid.h`, Linux 6.1); a
/// buffer of so many bytes cuts none off.
pub const REPORT_BYTES_MAX: usize = 16_384;

pub use decode::{BoardDecoder, ConfigError, Event, IndexMark, WheelConfig, WheelInputs};
pub use diagnostics::{WheelFacts, free_of_loss};
pub use layout::{ButtonRun, Layout, LayoutError, ReportError};
pub use recording::{
    BadLine, Mark, MarkKind, RecordedDevice, RecordedReport, Recording, RecordingError, RecordingWriter,
};
pub use source::{
    Access, BoardMatch, FoundBoard, Hid, OpenBoard, OpenRetry, RecordedSource, ReportSource, RetryDecision,
    ScriptStep, ScriptedSource, SourceError,
};
