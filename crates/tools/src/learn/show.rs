//! What was learnt, for people and for scripts.

use super::learnt::{Learnt, LearntWheel, Value};
use super::pair::Kind;
use serde::Serialize;
use tallywheel_hid_reader::RecordedDevice;

/// A session's result as one JSON object; its keys are a promise to scripts and only ever grow.
#[derive(Debug, Serialize)]
pub(super) struct LearntJson<'a> {
    pub(super) board: Option<BoardJson>,
    #[serde(flatten)]
    pub(super) learnt: &'a Learnt,
    /// The rig file, if it was written.
    pub(super) written: Option<String>,
    /// What it says although something else was learnt, or why it was not written.
    pub(super) kept: Vec<String>,
}

#[derive(Debug, Serialize)]
pub(super) struct BoardJson {
    usb: String,
    name: String,
}

impl BoardJson {
    pub(super) fn new(device: &RecordedDevice) -> Self {
        Self { usb: format!("{:04x}:{:04x}", device.vendor, device.product), name: device.name.clone() }
    }
}

pub(super) fn text(learnt: &Learnt, device: Option<&RecordedDevice>) -> String {
    let mut text = String::new();
    if let Some(wheel) = &learnt.wheel {
        if let Some(device) = device {
            let BoardJson { usb, name } = BoardJson::new(device);
            text += &format!("A wheel on board {usb} {name}\n\n");
        }
        text += &rows(wheel);
        text.push('\n');
    }
    for note in &learnt.notes {
        text += &format!("{note}\n");
    }
    text
}

fn row<T>(name: &str, value: &Value<T>, shown: &str, unit: &str) -> String {
    let mut shown = shown.to_owned();
    if let Some(within) = value.plus_minus.filter(|within| *within > 0.0) {
        shown += &format!(" \u{b1} {within}");
    }
    if !unit.is_empty() {
        shown += &format!(" {unit}");
    }
    let sure = if value.sure { "sure  " } else { "UNSURE" };
    format!("  {name:<18} {shown:<32} {sure}  {}\n", value.why)
}

fn rows(wheel: &LearntWheel) -> String {
    let inputs = wheel.inputs.value;
    let [first, second] = inputs.buttons;
    let shown = match inputs.kind {
        Kind::Pulses => format!("pulses, forward {first}, backward {second}"),
        Kind::Quadrature => format!("quadrature, A {first}, B {second}"),
    };
    let mut text = row("wiring", &wheel.inputs, &shown, "");
    text += &row(
        "pressed at rest",
        &wheel.pressed_at_rest,
        if wheel.pressed_at_rest.value { "yes" } else { "no" },
        "",
    );
    let counts = match inputs.kind {
        Kind::Pulses => "pulses",
        Kind::Quadrature => "edges (4 a cycle)",
    };
    text +=
        &row("counts in a turn", &wheel.counts_per_turn, &wheel.counts_per_turn.value.to_string(), counts);
    if let Some(click) = &wheel.counts_per_click {
        text += &row("counts in a click", click, &click.value.to_string(), counts);
    }
    for (name, value) in [
        ("report interval", &wheel.report_interval_ms),
        ("pulse on", &wheel.pulse_on_ms),
        ("pulse off", &wheel.pulse_off_ms),
    ] {
        if let Some(value) = value {
            text += &row(name, value, &value.value.to_string(), "ms");
        }
    }
    text += &row("counts missing", &wheel.losses, &losses(wheel), "");
    if let Some(limit) = wheel.losses.value.by_the_figures {
        text +=
            &format!("  {:<18} from {limit} turns/s by the board's own figures; see `tallywheel plan`\n", "");
    }
    text
}

fn losses(wheel: &LearntWheel) -> String {
    match (wheel.losses.value.none_up_to, wheel.losses.value.from) {
        (Some(none), None) => format!("none up to {none} turns/s"),
        (Some(none), Some(from)) => format!("from {none}..{from} turns/s on"),
        (None, Some(from)) => format!("at {from} turns/s already"),
        (None, None) => "not seen".to_owned(),
    }
}
