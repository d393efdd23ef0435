//! Good files to spoil, shared by the test files.
#![allow(dead_code, unreachable_pub, reason = "each test file uses its own part")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests may stop at the first surprise")]

use expect_test::Expect;
use tallywheel_profile::{Aircraft, Rig, aircraft, rig};

/// A rig with everything in it.
pub const RIG: &str = r#"name = "bench"

[[board]]
name = "main"
usb = "1209:7a11"
report_interval_ms = 4

[[board]]
name = "second"
serial = "A-2"
path = "/dev/hidraw3"
[[board.buttons]]
report_id = 1
first_bit = 8
first_button = 1
count = 32

[[wheel]]
name = "rudder"
board = "main"
wiring = "pulses"
forward = 3
backward = 4
counts_per_turn = 96

[[wheel]]
name = "elevator"
board = "second"
wiring = "quadrature"
a = 1
b = 2
counts_per_cycle = 4
counts_per_turn = 384
pressed_at_rest = true
reversed = true
"#;

/// An aircraft with everything in it.
pub const AIRCRAFT: &str = r#"name = "Kettrin 2 floatplane"

[[trim]]
name = "rudder"
travel_degrees = 580
neutral_degrees = 320
stops = "slip"
start = "neutral"

[[trim]]
name = "pitch"
wheel = "elevator"
travel_degrees = 1080.5
stops = "remember"
reversed = true
start = 400

[[output]]
kind = "axis"
device = "Kettrin trim"
axes = { rudder = "x", pitch = "ry" }

[[output]]
kind = "datagram"
to = "127.0.0.1:47811"
template = "line"
trims = ["pitch", "rudder"]
"#;

/// A rig with the keys of a wheel that most leave out.
pub const RARE_RIG: &str = r#"name = "bench"
[[board]]
name = "main"
usb = "1209:7a11"
[[wheel]]
name = "rudder"
wiring = "pulses"
forward = 3
backward = 4
counts_per_turn = 96
counts_per_detent = 4
pulse_on_ms = 10
pulse_off_ms = 2.5
index = 9
"#;

/// An aircraft with the keys that most leave out.
pub const RARE_AIRCRAFT: &str = r#"name = "Kettrin 2"
titles = ["Kettrin 2*", "*floatplane?"]
default = true
[[trim]]
name = "rudder"
travel_degrees = 600
neutral_degrees = 300
positions = { take-off = 350, "short field" = 0, landing = 600.0 }
start = "take-off"
report = "await"
smoothing_ms = 12.5
ratios = [0.5, 1]
curve = [[100, -0.5], [300, 0], [400, 0.25]]
"#;

/// `text` with `from`, which must be there once, replaced by `to`.
pub fn spoiled(text: &str, from: &str, to: &str) -> String {
    assert_eq!(text.matches(from).count(), 1, "{from:?} must be in the file once");
    text.replacen(from, to, 1)
}

/// The messages for a whole rig file.
pub fn check_rig(text: &str, expected: &Expect) {
    expected.assert_eq(&rig_messages(text));
}

pub fn rig_messages(text: &str) -> String {
    match rig("rig.toml", text) {
        Ok(rig) => panic!("no mistake was found, but {rig:?}"),
        Err(errors) => errors.to_string(),
    }
}

pub fn aircraft_messages(text: &str) -> String {
    match aircraft("a.toml", text) {
        Ok(aircraft) => panic!("no mistake was found, but {aircraft:?}"),
        Err(errors) => errors.to_string(),
    }
}

pub fn good_rig(text: &str) -> Rig {
    rig("rig.toml", text).unwrap_or_else(|errors| panic!("{errors}"))
}

pub fn good_aircraft(text: &str) -> Aircraft {
    aircraft("a.toml", text).unwrap_or_else(|errors| panic!("{errors}"))
}
