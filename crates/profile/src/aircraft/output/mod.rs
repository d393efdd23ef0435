//! The `[[output]]` tables of the aircraft file.

pub(super) mod check;
pub(super) mod file;
mod steps;

use std::net::SocketAddr;
pub use steps::Steps;
pub use tallywheel_units::AxisCode;
use tallywheel_units::TrimIndex;

/// Where positions are published.
#[derive(Debug, Clone, PartialEq)]
pub enum Output {
    /// A virtual joystick.
    Axis {
        /// Its name, at most 78 bytes; none to name it after the rig.
        device: Option<String>,
        /// Which trim is on which axis, in the order of the trims, at least one. No trim and no axis twice.
        axes: Vec<(TrimIndex, AxisCode)>,
    },
    /// UDP datagrams.
    Datagram {
        /// Where to; the port is not 0.
        to: SocketAddr,
        /// What they look like.
        template: Template,
        /// The trims sent, in this order, at least one, none twice.
        trims: Vec<TrimIndex>,
    },
    /// Presses of virtual buttons.
    Steps(Steps),
}

/// What a datagram looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Template {
    /// One JSON object.
    Json,
    /// A line of text.
    Line,
}
