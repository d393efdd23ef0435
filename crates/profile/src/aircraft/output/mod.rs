//! The `[[output]]` tables of the aircraft file.

pub(super) mod check;
pub(super) mod file;
mod layout;
mod scale;
mod steps;

use std::time::Duration;
pub use steps::{Pressed, Steps};
use tallywheel_units::TrimIndex;
pub use tallywheel_units::{AxisCode, Destination, Scale, Template};

/// Where positions are published.
#[derive(Debug, Clone, PartialEq)]
pub enum Output {
    /// A virtual joystick.
    Axis {
        /// Its name, at most 78 bytes; none to name it after the rig.
        device: Option<String>,
        /// Which trim is on which axis, in the order of the trims, at least one. No trim and no axis twice.
        axes: Vec<(TrimIndex, AxisCode)>,
        /// Which part of the axis a position takes, within -1..=1.
        scale: Scale,
    },
    /// UDP datagrams.
    Datagram {
        /// Where to; the port is not 0.
        to: Destination,
        /// What they look like.
        template: Template,
        /// The trims sent, in this order, at least one, none twice.
        trims: Vec<TrimIndex>,
        /// What a position becomes; in a [`Template::Layout`] each trim has its own.
        scale: Scale,
        /// The least time between two; zero for no limit.
        min_interval: Duration,
        /// After so long without a change the position is sent again; at least `min_interval`.
        keep_alive: Option<Duration>,
    },
    /// Presses of virtual buttons or of keys.
    Steps(Steps),
}
