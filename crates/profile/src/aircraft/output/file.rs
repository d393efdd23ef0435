//! What an `[[output]]` may say. The doc comments here are the one description of its keys.

use super::steps::{ExtraPresses, PadButton, PressMs, Presses, SettleMs};
use super::{AxisCode, Template};
use crate::Rig;
use crate::names::Name;
use crate::read::{Key, List, Map, Setting};
use serde::Deserialize;
use std::net::SocketAddr;

/// Where positions are published.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct OutputFile {
    /// `"axis"`: a virtual joystick of this machine. `"datagram"`: UDP datagrams to any program. `"steps"`:
    /// presses of virtual buttons, for a simulator that offers only "trim left" and "trim right".
    pub(crate) kind: Key<OutputKind>,
    /// With `"axis"`: the joystick's name. Default: `Tallywheel` and the rig's name. With `"steps"`: the name of
    /// the joystick whose buttons are pressed. Default: the same and `steps`.
    pub(crate) device: Key<DeviceName>,
    /// With `"axis"`: which trim is on which axis, such as `{ rudder = "x" }`. The axes are x, y, z, rx, ry,
    /// rz, throttle and rudder. Default: all trims, in the order of the file, on the axes in that order.
    pub(crate) axes: Map<AxisCode>,
    /// With `"datagram"`: the IP address and the port to send to, such as `"127.0.0.1:47811"`.
    pub(crate) to: Key<SocketAddr>,
    /// With `"datagram"`: `"json"`, the default, is one JSON object per datagram, `"line"` a line of text.
    pub(crate) template: Key<Template>,
    /// With `"datagram"`: the names of the trims to send, in their order. Default: all.
    pub(crate) trims: List<Name>,
    /// With `"steps"`: how many presses move the simulator's trim from its low end to its high end, 1 to 10000.
    /// A simulator that moves its trim by a hundredth of the way from -1 to 1 takes 200.
    pub(crate) presses: Key<Presses>,
    /// With `"steps"`: which button is pressed towards the low stop, such as `{ rudder = 1 }`, 1 to 56. Default:
    /// for all trims, in the order of the file, 1 for the first, 3 for the second and so on.
    pub(crate) low_buttons: Map<PadButton>,
    /// With `"steps"`: which button is pressed towards the high stop. Default: 2, 4 and so on.
    pub(crate) high_buttons: Map<PadButton>,
    /// With `"steps"`: milliseconds for which a button is pressed, 1 to 1000. Default 30. Longer where the
    /// simulator misses presses, shorter where it repeats them.
    pub(crate) press_ms: Key<PressMs>,
    /// With `"steps"`: milliseconds from one press to the next, 1 to 1000. Default 30.
    pub(crate) pause_ms: Key<PressMs>,
    /// With `"steps"`: presses more at each arrival at a stop, 0 to 250, which bring a simulator to its stop that
    /// has missed some before. Default 3.
    pub(crate) extra_presses: Key<ExtraPresses>,
    /// With `"steps"`: milliseconds from the last press until the simulator's own report is sure to tell of it,
    /// 0 to 60000. Default 500. Counts only where the simulator reports its trim.
    pub(crate) settle_ms: Key<SettleMs>,
}

/// The kinds of outputs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum OutputKind {
    Axis,
    Datagram,
    Steps,
}

impl Setting for OutputKind {
    const EXPECTED: &'static str = "\"axis\", \"datagram\" or \"steps\"";

    fn from_text(text: &str) -> Option<Self> {
        match text {
            "axis" => Some(Self::Axis),
            "datagram" => Some(Self::Datagram),
            "steps" => Some(Self::Steps),
            _ => None,
        }
    }
}

impl Setting for Template {
    const EXPECTED: &'static str = "\"json\" or \"line\"";

    fn from_text(text: &str) -> Option<Self> {
        match text {
            "json" => Some(Self::Json),
            "line" => Some(Self::Line),
            _ => None,
        }
    }
}

impl Setting for AxisCode {
    const EXPECTED: &'static str = "\"x\", \"y\", \"z\", \"rx\", \"ry\", \"rz\", \"throttle\" or \"rudder\"";

    fn from_text(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|axis| axis.name() == text)
    }
}

/// The name of a virtual joystick, at most [`Rig::LONGEST_DEVICE_NAME`] bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct DeviceName(pub(crate) String);

impl Setting for DeviceName {
    const EXPECTED: &'static str =
        "a name of 1 to 78 bytes, without line breaks and without blanks at its ends";

    fn from_text(text: &str) -> Option<Self> {
        let fits = (1..=Rig::LONGEST_DEVICE_NAME).contains(&text.len());
        let plain = !text.contains(char::is_control) && text.trim() == text;
        (fits && plain).then(|| Self(text.to_owned()))
    }
}
