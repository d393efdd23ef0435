//! What a rig file may say. The doc comments here are the one description of its keys.

use super::UsbId;
use super::button::ButtonFile;
use super::simulator::SimulatorFile;
use crate::names::Name;
use crate::read::{Choice, Field, Key, Setting, Tables, bounded, milliseconds, whole};
use serde::Deserialize;
use std::time::Duration;
use tallywheel_units::{ButtonNumber, CountsPerCycle, CountsPerTurn};

/// The hardware as built: the boards and the wheels on them. It never names an aircraft.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct RigFile {
    /// A name for the rig. It shows in logs and names the virtual joystick.
    #[cfg_attr(test, schemars(required))]
    pub(crate) name: Key<Name>,
    /// Whether the running daemon takes commands, such as `tallywheel status`, from programs of the same user.
    /// Default true.
    pub(crate) control: Key<bool>,
    /// The USB joystick boards, one table each, at least one.
    #[cfg_attr(test, schemars(required))]
    pub(crate) board: Tables<BoardFile>,
    /// The wheels on them, one table each, at least one.
    #[cfg_attr(test, schemars(required))]
    pub(crate) wheel: Tables<WheelFile>,
    /// Where the simulator reports its aircraft and its trim.
    pub(crate) simulator: Option<Field<SimulatorFile>>,
    /// Other buttons of the boards that do something when pressed, one table each.
    pub(crate) button: Tables<ButtonFile>,
}

/// One USB HID joystick board, found by `usb`, `serial`, `path` or several of them. What is given must all
/// match; give as little as tells it from other boards.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct BoardFile {
    /// A name for the board, that no other board has.
    #[cfg_attr(test, schemars(required))]
    pub(crate) name: Key<Name>,
    /// Vendor and product number in hexadecimal, such as `"1209:7a11"`.
    pub(crate) usb: Key<UsbId>,
    /// The serial number that the board reports. It stays the same in another socket.
    pub(crate) serial: Key<Label>,
    /// Where the operating system finds the board, such as `"/dev/hidraw3"`. Only for boards that nothing else
    /// tells apart: it changes with the socket and the order of plugging in.
    pub(crate) path: Key<Label>,
    /// Milliseconds between two reports of the board while something changes, from its data sheet or settings.
    /// Helps to tell what may have been lost, and lets a quadrature wheel be followed past one edge per report.
    pub(crate) report_interval_ms: Key<IntervalMs>,
    /// Whether the board's wheels are hidden from simulators, so that these see the trim only and not the raw
    /// pulses beside it. Its other controls stay, on a joystick called like the board and `without its wheels`.
    /// Default false. Linux only.
    pub(crate) hide: Key<bool>,
    /// Which bits of a report are which buttons, when the board's own description is wrong or unreadable. With
    /// any of these tables the board's own description is not used.
    pub(crate) buttons: Tables<ButtonRunFile>,
}

/// Buttons that lie side by side in a report, one bit each.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct ButtonRunFile {
    /// The number that the report begins with. Leave it out for a board whose reports have none.
    pub(crate) report_id: Key<ReportId>,
    /// The bit of the first button, counted from 0 at the lowest bit of the report's first byte. The byte with
    /// the report's number counts, so after that byte the first bit is 8.
    #[cfg_attr(test, schemars(required))]
    pub(crate) first_bit: Key<BitIndex>,
    /// The number of the first button; the others follow. Default 1.
    pub(crate) first_button: Key<ButtonNumber>,
    /// How many buttons.
    #[cfg_attr(test, schemars(required))]
    pub(crate) count: Key<ButtonCount>,
}

/// One wheel: an incremental encoder on two buttons of a board.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct WheelFile {
    /// A name for the wheel, that no other wheel has. Aircraft files call it by this name.
    #[cfg_attr(test, schemars(required))]
    pub(crate) name: Key<Name>,
    /// The name of its board. May be left out when there is only one.
    pub(crate) board: Key<Name>,
    /// `"pulses"`: the board decodes the encoder and presses one button per count and direction.
    /// `"quadrature"`: the encoder's lines A and B arrive as two buttons and are decoded here.
    #[cfg_attr(test, schemars(required))]
    pub(crate) wiring: Key<WiringKind>,
    /// With `"pulses"`: the button pressed for each count forward.
    pub(crate) forward: Key<ButtonNumber>,
    /// With `"pulses"`: the button pressed for each count backward.
    pub(crate) backward: Key<ButtonNumber>,
    /// With `"quadrature"`: the button of line A. A leading B counts forward.
    pub(crate) a: Key<ButtonNumber>,
    /// With `"quadrature"`: the button of line B.
    pub(crate) b: Key<ButtonNumber>,
    /// With `"quadrature"`: how many counts one cycle of A and B yields, 1, 2 or 4. An encoder that rests once
    /// a cycle wants 1 or 4, one that rests twice a cycle 2.
    pub(crate) counts_per_cycle: Key<CountsPerCycle>,
    /// Counts in one whole turn of the wheel in the hand, gears included: a 24-pulse encoder that turns four
    /// times as fast as the wheel makes 96, or 384 as `"quadrature"` with 4 counts a cycle.
    #[cfg_attr(test, schemars(required))]
    pub(crate) counts_per_turn: Key<CountsPerTurn>,
    /// Counts from one detent of the wheel to the next, when it clicks. Helps to notice a board or a rig file
    /// that counts several where there is one.
    pub(crate) counts_per_detent: Key<DetentCounts>,
    /// With `"pulses"`: milliseconds that the board presses a button for a count. Helps to tell what may have
    /// been lost; without it, it is learnt from the pulses.
    pub(crate) pulse_on_ms: Key<IntervalMs>,
    /// With `"pulses"`: milliseconds that the board releases a button at least before the next count. Helps to
    /// tell what may have been lost; without it, it is learnt from the fastest pulses.
    pub(crate) pulse_off_ms: Key<IntervalMs>,
    /// The button of an index mark: pressed once in each whole turn of the wheel in the hand, always at the same
    /// place. Where it comes after too few or too many counts, what was lost is measured and put right.
    pub(crate) index: Key<ButtonNumber>,
    /// Whether the buttons are pressed while the wheel rests, the index mark's apart. Default false.
    pub(crate) pressed_at_rest: Key<bool>,
    /// Whether forward and backward are the wrong way round. Default false.
    pub(crate) reversed: Key<bool>,
}

/// How the encoder's turning reaches the board's report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum WiringKind {
    Pulses,
    Quadrature,
}

impl Choice for WiringKind {
    const CHOICES: &'static [(&'static str, Self)] =
        &[("pulses", Self::Pulses), ("quadrature", Self::Quadrature)];
}

/// Text that the operating system knows a board by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Label(pub(crate) String);

impl Setting for Label {
    fn expected() -> String {
        "text of 1 to 255 characters".to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "string", "minLength": 1, "maxLength": 255 })
    }

    fn from_text(text: &str) -> Option<Self> {
        (1..=255).contains(&text.chars().count()).then(|| Self(text.to_owned()))
    }
}

bounded! {
    /// The number that a HID report begins with; 0 is reserved (HID 1.11, section 6.2.2.7).
    pub(crate) ReportId(u8): i64 = 1..=255, "a report number", whole;
    /// A bit in a report. The kernel takes reports of up to 16384 bytes (`HID_MAX_BUFFER_SIZE`).
    pub(crate) BitIndex(u32): i64 = 0..=16_384 * 8 - 1, "a whole number", whole;
    /// A number of counts from detent to detent.
    pub(crate) DetentCounts(u32): i64 = 1..=1_000, "a whole number", whole;
    /// A number of buttons.
    pub(crate) ButtonCount(u8): i64 = 1..=128, "a whole number", whole;
    /// A time as short as the shortest interval that USB knows (a microframe of 125 us).
    pub(crate) IntervalMs(Duration): f64 = 0.125..=1_000.0, "milliseconds", milliseconds;
}
