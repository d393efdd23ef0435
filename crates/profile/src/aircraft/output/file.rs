//! What an `[[output]]` may say. The doc comments here are the one description of its keys.

use super::layout::file::FieldFile;
use super::limits::{ExtraPresses, KeepAlive, MinInterval, PadButton, PressMs, Presses, RangeEnd, SettleMs};
use crate::names::Name;
use crate::output::{AxisCode, Destination, DeviceName, KeyPlace, Template};
use crate::read::{Choice, Key, List, Map, Setting, Tables};
use serde::Deserialize;

/// Where positions are published.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct OutputFile {
    /// `"axis"`: a virtual joystick of this machine. `"datagram"`: UDP datagrams to any program. `"steps"`:
    /// presses of virtual buttons or of keys, for a simulator that offers only "trim left" and "trim right".
    #[cfg_attr(test, schemars(required))]
    pub(crate) kind: Key<OutputKind>,
    /// With `"axis"`: the joystick's name. Default: `Tallywheel` and the rig's name. With `"steps"`: the name of
    /// the joystick whose buttons are pressed. Default: the same and `steps`.
    pub(crate) device: Key<DeviceName>,
    /// With `"axis"`: which trim is on which axis, such as `{ rudder = "x" }`. The axes are x, y, z, rx, ry,
    /// rz, throttle and rudder. Default: all trims, in the order of the file, on the axes in that order.
    pub(crate) axes: Map<AxisCode>,
    /// What a position becomes at the low stop and at the high stop, such as `[0, 1]`; neutral is half way between.
    /// Default: `[-1, 1]`. An axis goes from -1 to 1 and may be given a part of that.
    pub(crate) range: List<RangeEnd>,
    /// Whether the range is the other way round, its higher end at the low stop. Default false.
    pub(crate) reversed: Key<bool>,
    /// With `"datagram"`: the IP address or the name of the receiver, and the port, such as `"127.0.0.1:47811"`.
    pub(crate) to: Key<Destination>,
    /// With `"datagram"`: how a datagram is written. `"json"`, the default: one JSON object. `"line"`: a line of
    /// text. `"osc"`: Open Sound Control 1.0. `"packed"`: binary, as the manual says. `"layout"`: the fields of
    /// `layout`.
    pub(crate) template: Key<TemplateName>,
    /// With `"datagram"`: the names of the trims to send, in their order. Default: all. A `"layout"` names its own.
    pub(crate) trims: List<Name>,
    /// With `"osc"`: what each trim's address begins with; a slash and the trim's name follow. Default:
    /// `"/tallywheel"`.
    pub(crate) prefix: Key<OscPrefix>,
    /// With `"layout"`: the fields of the datagram, one table each, in their order.
    pub(crate) layout: Tables<FieldFile>,
    /// With `"datagram"`: the least milliseconds between two datagrams, 1 to 10000. What moves in between is sent at
    /// the end of that time, the newest position only. Default: every change at once.
    pub(crate) min_interval_ms: Key<MinInterval>,
    /// With `"datagram"`: after so many milliseconds without a change the position is sent again, 10 to 3600000. For
    /// receivers that start late. Default: it is not.
    pub(crate) keep_alive_ms: Key<KeepAlive>,
    /// With `"steps"`: how many presses move the simulator's trim from its low end to its high end, 1 to 10000.
    /// A simulator that moves its trim by a hundredth of the way from -1 to 1 takes 200.
    pub(crate) presses: Key<Presses>,
    /// With `"steps"`: which button is pressed towards the low stop, such as `{ rudder = 1 }`, 1 to 56. Default:
    /// for all trims, in the order of the file, 1 for the first, 3 for the second and so on.
    pub(crate) low_buttons: Map<PadButton>,
    /// With `"steps"`: which button is pressed towards the high stop. Default: 2, 4 and so on.
    pub(crate) high_buttons: Map<PadButton>,
    /// With `"steps"`, on Windows: which key is pressed towards the low stop instead of a button, such as
    /// `{ rudder = "F13" }`: the place on the keyboard, by the names of the W3C's `code` values. Keys go to the window
    /// in front; F13 to F24 mean nothing to most.
    pub(crate) low_keys: Map<KeyPlace>,
    /// With `"steps"`, on Windows: which key is pressed towards the high stop.
    pub(crate) high_keys: Map<KeyPlace>,
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

impl Choice for OutputKind {
    const CHOICES: &'static [(&'static str, Self)] =
        &[("axis", Self::Axis), ("datagram", Self::Datagram), ("steps", Self::Steps)];
}

/// The kinds of templates.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum TemplateName {
    Json,
    Line,
    Osc,
    Packed,
    Layout,
}

impl Choice for TemplateName {
    const CHOICES: &'static [(&'static str, Self)] = &[
        ("json", Self::Json),
        ("line", Self::Line),
        ("osc", Self::Osc),
        ("packed", Self::Packed),
        ("layout", Self::Layout),
    ];
}

/// The beginning of an OSC address.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct OscPrefix(pub(crate) String);

impl Setting for OscPrefix {
    fn expected() -> String {
        "the beginning of an OSC address, such as \"/tallywheel\"".to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "string", "pattern": "^/" })
    }

    fn from_text(text: &str) -> Option<Self> {
        Template::is_osc_prefix(text).then(|| Self(text.to_owned()))
    }
}
