//! Where a trim's position goes: a virtual axis or datagrams.

mod axis;
mod axis_code;
mod config;
mod datagram;
mod error;
mod frame;
mod null;
mod supervised;

pub use axis_code::AxisCode;
pub use config::{OutputConfig, Template};
pub use error::{ConfigProblem, ErrorKind, OutputError};
pub use frame::{Frame, TrimReading};
pub use null::Null;
pub use supervised::{ErrorCounts, Notice, State, Supervised};

use tallywheel_units::Timestamp;

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
}

/// Opens an output whose trims start at neutral.
///
/// # Errors
/// See [`OutputError`].
pub fn open(config: &OutputConfig) -> Result<Box<dyn Output>, OutputError> {
    open_from(config, None)
}

/// Opens an output whose trims start where `start` has them: a joystick then appears in position, and the
/// first readers need not wait for the wheel to move.
///
/// # Errors
/// See [`OutputError`].
pub fn open_at(config: &OutputConfig, start: &Frame<'_>) -> Result<Box<dyn Output>, OutputError> {
    open_from(config, Some(start))
}

fn open_from(config: &OutputConfig, start: Option<&Frame<'_>>) -> Result<Box<dyn Output>, OutputError> {
    let name = config.name();
    match config {
        OutputConfig::Axis { device_name, axes } => axis::open(name, device_name, axes, start),
        OutputConfig::Datagram { to, template, trims } => datagram::open(name, *to, *template, trims, start),
        OutputConfig::Null => Ok(Box::new(Null::default())),
    }
}
