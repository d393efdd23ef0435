//! Where a trim's position goes: a virtual axis, datagrams or presses of buttons.
//!
//! What an output is, the aircraft file says: an [`OutputConfig`] of the profile crate, which checks all that the file
//! alone decides. The engine gives it to a [`Supervised`] and hands it a [`Frame`] whenever a trim has moved. Nothing here reads a clock, waits or
//! logs: time comes with the frame, and what is worth a log line comes back as a [`Notice`]. The only threads are
//! those that look up the name of a receiver.
//!
//! ```
//! use std::net::SocketAddr;
//! use tallywheel_output::{Epoch, Frame, State, Supervised, TrimReading};
//! use tallywheel_profile::{DatagramConfig, OutputConfig, Template};
//! use tallywheel_units::{Timestamp, TrimIndex};
//!
//! let to = SocketAddr::from(([127, 0, 0, 1], 47_811));
//! let config = DatagramConfig::new(to, Template::Line, vec![(TrimIndex::new(0), "rudder".to_owned())]);
//! let mut outputs = vec![Supervised::new(OutputConfig::Datagram(config), Epoch::ZERO)];
//! let frame = Frame { at: Timestamp::START, sequence: 0, trims: &[TrimReading::NEUTRAL] };
//! for output in &mut outputs {
//!     if let Some(notice) = output.publish(&frame) {
//!         println!("{}: {notice}", output.name());
//!     }
//!     assert_eq!(output.state(), State::Open);
//! }
//! ```
//!
//! # Invariants
//! - One output failing never stops another: each has its own [`Supervised`], and none waits.
//! - Nothing is sent that the receiver already has, so a frame may be given as often as convenient.
//! - Nothing wakes up when nothing moves: [`Supervised::deadline`] is `None` while all is well.
//! - After the first frame no memory is allocated as long as no error happens, but for each press of a key on Windows.
//! - A change is one `write` or one `send`.
//! - Absent: retries inside [`Output`] (they are in [`Supervised`]), queues, anything that is sent later
//!   than the frame it belongs to but the newest position.
//!
//! # To add an output
//! 1. A module of its own beside `axis` and `datagram`, with a struct that implements [`Output`] and an
//!    `open` function that checks all that its configuration alone decides. `publish` compares with what it
//!    sent last, sends the difference at once or says which [`OutputError`] it is by what the caller must
//!    do, and counts nothing as sent after an error.
//! 2. An output that has something left to do after a frame (a limited rate, a repeat while nothing moves,
//!    presses still owed) returns the moment from [`Output::deadline`]; the daemon then gives the newest
//!    frame again with that time. `None` when nothing is left, or the machine wakes for nothing.
//! 3. A variant of [`OutputConfig`] in the profile crate with all its limits, and its line in `open_from` and [`check`]. The crate
//!    that it needs from the operating system appears in that module only.
//! 4. Tests: what arrives at the other end, from outside this crate where that is possible; no allocation
//!    per frame; that nothing is sent without a change; every error with its cure.
//!
//! For another form of datagram only the bytes differ: implement `datagram::encoder::Encoder` in a file
//! beside `json` and `line`, add the [`Template`](tallywheel_profile::Template) that documents it, and name it where `datagram::encoder()`
//! chooses. `Encoder::largest` must hold for every reading: `open` refuses what might not fit. A receiver that
//! has a layout of its own needs none of this: that is what [`Template::Layout`](tallywheel_profile::Template::Layout) is for.

mod axis;
mod datagram;
mod epoch;
mod error;
mod float;
mod frame;
mod hide;
mod steps;
mod supervised;

pub use epoch::Epoch;
pub use error::{ConfigProblem, ErrorKind, OutputError};
pub use frame::{Frame, TrimReading};
pub use hide::HiddenBoard;
pub use supervised::{ErrorCounts, Notice, State, Supervised};

use tallywheel_profile::{DeviceName, OutputConfig};
use tallywheel_units::{Normalized, Timestamp, TrimIndex};

/// Something that takes trim positions.
pub trait Output: Send {
    /// What it is and where it leads, for people: `axis "Tallywheel bench"`, `datagram 127.0.0.1:47811`.
    fn name(&self) -> &str;

    /// Takes the newest frame. Sends only what changed since the last frame it took, so the same frame may
    /// be given as often as convenient; never waits; does not allocate after the first frame.
    ///
    /// # Errors
    /// See [`OutputError`]: each variant says what to do next. After an error nothing counts as sent.
    fn publish(&mut self, frame: &Frame<'_>) -> Result<(), OutputError>;

    /// When [`Self::publish`] wants the newest frame again although nothing moved; `None` while the output
    /// has nothing left to do, so that nothing wakes up then.
    fn deadline(&self) -> Option<Timestamp> {
        None
    }

    /// Whether it still waits for something before anything can go out, such as an answer of the network. It
    /// takes frames meanwhile and sends none; [`Self::deadline`] says when to give the next.
    fn is_opening(&self) -> bool {
        false
    }

    /// Does what `config` says from the next frame on, if that takes no other device or socket: then it answers true.
    /// Otherwise nothing changes. An output that is not closed and opened is not missed by whoever reads it.
    fn remap(&mut self, config: &OutputConfig) -> bool {
        let _ = config;
        false
    }

    /// Takes what the simulator itself says of a trim: at `at` its trim was at `value`. For an output that
    /// can only guess where the simulator is; all others have no use for it. Sends nothing, but may change
    /// [`Self::deadline`].
    fn told(&mut self, at: Timestamp, trim: TrimIndex, value: Normalized) {
        let _ = (at, trim, value);
    }
}

/// Opens an output whose trims start at neutral. `epoch` is when the clock of its frames started.
///
/// # Errors
/// See [`OutputError`].
pub fn open(config: &OutputConfig, epoch: Epoch) -> Result<Box<dyn Output>, OutputError> {
    open_from(config, epoch, None)
}

/// Opens an output whose trims start where `start` has them: a joystick then appears in position, and the
/// first readers need not wait for the wheel to move.
///
/// # Errors
/// See [`OutputError`].
pub fn open_at(
    config: &OutputConfig,
    epoch: Epoch,
    start: &Frame<'_>,
) -> Result<Box<dyn Output>, OutputError> {
    open_from(config, epoch, Some(start))
}

fn open_from(
    config: &OutputConfig,
    epoch: Epoch,
    start: Option<&Frame<'_>>,
) -> Result<Box<dyn Output>, OutputError> {
    let name = config.name();
    match config {
        OutputConfig::Axis { device, axes, declared, scale } => {
            axis::open(name, device_name(device.as_ref()), axes, declared, *scale, start)
        }
        OutputConfig::Datagram(config) => datagram::open(name, config, epoch, start),
        OutputConfig::Steps { device, trims, pace } => {
            steps::open(name, device_name(device.as_ref()), trims, *pace, start)
        }
        OutputConfig::Keys { trims, pace } => steps::open_keys(name, trims, *pace, start),
    }
}

/// The name of a joystick. [`OutputConfig::on`] gives one to those whose file does not.
fn device_name(device: Option<&DeviceName>) -> &str {
    device.map_or("Tallywheel", DeviceName::as_str)
}

/// Finds what keeps an output from being opened on this kind of system, whatever the machine's state, without opening
/// anything.
///
/// # Errors
/// The first problem found.
pub fn check(config: &OutputConfig) -> Result<(), ConfigProblem> {
    match config {
        OutputConfig::Axis { .. } => axis::check(),
        OutputConfig::Datagram(config) => datagram::check(config),
        OutputConfig::Steps { .. } => steps::check(),
        OutputConfig::Keys { .. } => steps::check_keys(),
    }
}
