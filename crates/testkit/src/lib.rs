//! A hand, an encoder and a board in virtual time, all from one seed: what a wheel truly did, and the
//! reports a board would have sent about it. For tests and figures only; the product never depends on it.
//!
//! - [`Hand`] draws [`Motion`]: strokes of minimum-jerk form with rests, regrips and reversals.
//! - [`Wheel`] turns motion into the levels of two lines: detents, phase error, contact bounce, sliding noise.
//! - [`RawBoard`] samples the lines; [`PulseBoard`] decodes them itself and presses one button per count.
//! - [`faults`] injects faults one by one and prints what the reader's detectors make of each.
//! - [`grid`] turns wheels faster than their boards report and prints what is lost of it.
//! - [`Recorder`] writes what they report in the hid-recorder text format; [`demo`] is the demo's recording,
//!   [`lesson`] those of a wheel turned as `tallywheel learn` asks.
//!
//! There is no clock in here and no thread: the same seed gives the same reports on every machine.

mod board;
mod chance;
pub mod demo;
mod encoder;
pub mod faults;
pub mod grid;
mod hand;
mod host;
pub mod lesson;
mod motion;
mod pulse_board;
mod raw_board;
mod recorder;
mod whole;

pub use board::{Report, Reporting, Sampling};
pub use chance::Chance;
pub use encoder::{Detents, Encoder, Wheel, WheelCursor};
pub use hand::Hand;
pub use host::{Host, HostedBoard};
pub use motion::{Cursor, Motion, Shape};
pub use pulse_board::{DeadLine, PulseBoard, PulseFaults, PulseLines, PulseTally, WhileBusy};
pub use raw_board::RawBoard;
pub use recorder::{BOARD_PRODUCT, BOARD_VENDOR, ButtonField, Recorder};
