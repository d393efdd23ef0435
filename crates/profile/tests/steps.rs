//! An `[[output]]` with `kind = "steps"`: what it comes to, and what is said of its mistakes.

#![allow(clippy::panic, clippy::unwrap_used, reason = "a test may stop anywhere")]

mod common;

use common::{check_aircraft, good_aircraft};
use expect_test::{Expect, expect};
use std::time::Duration;
use tallywheel_profile::{OutputConfig, Pace};

const TRIMS: &str = "name = \"Tindlow\"\n[[trim]]\nname = \"pitch\"\ntravel_degrees = 720\n\
                     [[trim]]\nname = \"yaw\"\ntravel_degrees = 360\n";

/// The lines are the 8th and those after it.
fn steps(keys: &str) -> String {
    format!("{TRIMS}[[output]]\nkind = \"steps\"\n{keys}\n")
}

fn good(keys: &str) -> OutputConfig {
    good_aircraft(&steps(keys)).outputs.remove(0)
}

fn bad(keys: &str, expected: &Expect) {
    check_aircraft(&steps(keys), expected);
}

/// The name of the joystick, its trims with their buttons, and how they are pressed.
fn buttons(keys: &str) -> (Option<String>, Vec<(usize, u8, u8)>, Pace) {
    let OutputConfig::Steps { device, trims, pace } = good(keys) else { panic!("{keys}") };
    let trims = trims.iter().map(|trim| (trim.trim.get(), trim.low.get(), trim.high.get()));
    (device.map(|device| device.to_string()), trims.collect(), pace)
}

#[test]
fn the_shortest_and_the_longest() {
    assert_eq!(buttons("presses = 200"), (None, vec![(0, 1, 2), (1, 3, 4)], Pace::new(200)));
    let longest = "presses = 10000\ndevice = \"Pad\"\nlow_buttons = { yaw = 56, pitch = 3 }\n\
                   high_buttons = { pitch = 7, yaw = 1 }\npress_ms = 12.5\npause_ms = 1000\nextra_presses = 0\n\
                   settle_ms = 0";
    let pace = Pace {
        presses: 10_000,
        press: Duration::from_micros(12_500),
        pause: Duration::from_secs(1),
        extra: 0,
        settle: Duration::ZERO,
    };
    assert_eq!(buttons(longest), (Some("Pad".to_owned()), vec![(0, 3, 7), (1, 56, 1)], pace));
    let one = buttons("presses = 1\nlow_buttons.yaw = 1\nhigh_buttons.yaw = 2");
    assert_eq!(one, (None, vec![(1, 1, 2)], Pace::new(1)));
}

#[test]
fn numbers_out_of_range() {
    bad(
        "presses = 0\npress_ms = 0.5\npause_ms = 1001\nextra_presses = 251\nsettle_ms = -1",
        &expect![[r#"
        a.toml:10:11: output.presses: expected a whole number from 1 to 10000, found 0
        a.toml:11:12: output.press_ms: expected milliseconds from 1 to 1000, found 0.5
        a.toml:12:12: output.pause_ms: expected milliseconds from 1 to 1000, found 1001
        a.toml:13:17: output.extra_presses: expected a whole number from 0 to 250, found 251
        a.toml:14:13: output.settle_ms: expected milliseconds from 0 to 60000, found -1"#]],
    );
    bad(
        "device = \"\"",
        &expect![[r#"
        a.toml:8:1: output.presses: expected a whole number from 1 to 10000, found nothing
        a.toml:10:10: output.device: expected a name of 1 to 78 bytes, without line breaks and without blanks at its ends, found """#]],
    );
}

#[test]
fn buttons_that_do_not_go_together() {
    bad(
        "presses = 9\nlow_buttons = { pitch = 1 }",
        &expect![
            "a.toml:8:1: output.high_buttons: expected a button for each trim, as for the other direction, found nothing"
        ],
    );
    bad(
        "presses = 9\nlow_buttons = { pitch = 1 }\nhigh_buttons = { yaw = 2 }",
        &expect![[r#"
            a.toml:11:15: output.low_buttons: expected a button for "yaw" too, as for the other direction, found none
            a.toml:12:16: output.high_buttons: expected a button for "pitch" too, as for the other direction, found none"#]],
    );
    bad(
        "presses = 9\nlow_buttons = { pitch = 1, yaw = 2 }\nhigh_buttons = { yaw = 2, pitch = 57 }",
        &expect![[r#"
            a.toml:12:24: output.high_buttons.yaw: expected a button without another use, found 2
            a.toml:12:35: output.high_buttons.pitch: expected a button number from 1 to 56, found 57"#]],
    );
    bad(
        "presses = 9\nlow_buttons = { roll = 1 }\nhigh_buttons = {}",
        &expect![[r#"
        a.toml:11:17: output.low_buttons.roll: expected the name of a [[trim]]: "pitch" or "yaw", found "roll"
        a.toml:12:16: output.high_buttons: expected at least one trim and its button, found an empty table"#]],
    );
}

#[test]
fn keys_instead_of_buttons() {
    let keys = "presses = 9\nlow_keys = { yaw = \"F13\", pitch = \"KeyA\" }\nhigh_keys = { pitch = \"F15\", yaw = \"F14\" }";
    let OutputConfig::Keys { trims, .. } = good(keys) else { panic!("{keys}") };
    let named: Vec<_> =
        trims.iter().map(|trim| (trim.trim.get(), trim.low.name(), trim.high.name())).collect();
    assert_eq!(named, [(0, "KeyA", "F15"), (1, "F13", "F14")]);
    bad(
        "presses = 9\nlow_keys = { pitch = \"F13\", yaw = \"Escape\" }\nhigh_keys = { pitch = \"F13\" }",
        &expect![[r#"
            a.toml:11:35: output.low_keys.yaw: expected a key, such as "F13", "KeyA" or "Numpad7", found "Escape"
            a.toml:12:23: output.high_keys.pitch: expected a key without another use, found "F13""#]],
    );
    bad(
        "presses = 9\nlow_keys = { pitch = \"F13\" }\nlow_buttons = { pitch = 1 }\ndevice = \"Pad\"",
        &expect![[r#"
            a.toml:8:1: output.high_keys: expected a key for each trim, as for the other direction, found nothing
            a.toml:12:15: output.low_buttons: expected this key only with buttons of a joystick, found it with `low_keys` or `high_keys`
            a.toml:13:10: output.device: expected this key only with buttons of a joystick, found it with `low_keys` or `high_keys`"#]],
    );
    let one = "[[output]]\nkind = \"steps\"\npresses = 9\n";
    let keys = |trim: &str, high: &str| format!("low_keys.{trim} = \"F13\"\nhigh_keys.{trim} = \"{high}\"\n");
    check_aircraft(
        &format!("{TRIMS}{one}{}{one}{}", keys("pitch", "F14"), keys("yaw", "F15")),
        &expect![[r#"a.toml:13:1: output.low_keys: expected keys that no other output has, found "F13""#]],
    );
}

#[test]
fn keys_of_other_kinds() {
    bad(
        "presses = 9\naxes = { pitch = \"x\" }\nto = \"127.0.0.1:9\"\ntemplate = \"json\"\ntrims = [\"pitch\"]",
        &expect![[r#"
            a.toml:11:8: output.axes: expected this key only with kind = "axis", found it with kind = "steps"
            a.toml:12:6: output.to: expected this key only with kind = "datagram", found it with kind = "steps"
            a.toml:13:12: output.template: expected this key only with kind = "datagram", found it with kind = "steps"
            a.toml:14:9: output.trims: expected this key only with kind = "datagram", found it with kind = "steps""#]],
    );
    let keys = "presses = 9\nlow_buttons = { pitch = 1 }\nhigh_buttons = { pitch = 2 }\npress_ms = 30\n\
                pause_ms = 30\nextra_presses = 3\nsettle_ms = 500\n";
    check_aircraft(
        &format!("{TRIMS}[[output]]\nkind = \"axis\"\n{keys}"),
        &expect![[r#"
        a.toml:10:11: output.presses: expected this key only with kind = "steps", found it with kind = "axis"
        a.toml:11:15: output.low_buttons: expected this key only with kind = "steps", found it with kind = "axis"
        a.toml:12:16: output.high_buttons: expected this key only with kind = "steps", found it with kind = "axis"
        a.toml:13:12: output.press_ms: expected this key only with kind = "steps", found it with kind = "axis"
        a.toml:14:12: output.pause_ms: expected this key only with kind = "steps", found it with kind = "axis"
        a.toml:15:17: output.extra_presses: expected this key only with kind = "steps", found it with kind = "axis"
        a.toml:16:13: output.settle_ms: expected this key only with kind = "steps", found it with kind = "axis""#]],
    );
}

#[test]
fn names_of_joysticks() {
    let again = "[[output]]\nkind = \"steps\"\npresses = 9\n";
    check_aircraft(
        &format!("{TRIMS}{again}{again}"),
        &expect![
            "a.toml:11:1: output.device: expected a name for each virtual joystick, found another joystick without one"
        ],
    );
    // Unnamed, an axis and its steps are called differently.
    good_aircraft(&format!("{TRIMS}{again}[[output]]\nkind = \"axis\"\n"));
    check_aircraft(
        &format!("{TRIMS}{again}device = \"Pad\"\n[[output]]\nkind = \"axis\"\ndevice = \"Pad\"\n"),
        &expect![[r#"a.toml:12:1: output.device: expected a name for each virtual joystick, found "Pad""#]],
    );
}

/// What README.md shows stands in the shipped file, and so is read and explained there.
#[test]
fn the_example_of_the_manual_is_the_shipped_one() {
    let top = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let read = |name: &str| std::fs::read_to_string(top.join(name)).unwrap();
    let (manual, shipped) = (read("README.md"), read("config/aircraft/tindlow-3-glider.toml"));
    let (_, rest) = manual.split_once("### A simulator with no trim axis").unwrap();
    let (_, rest) = rest.split_once("```toml\n").unwrap();
    let (example, _) = rest.split_once("```").unwrap();
    let keys: Vec<_> = shipped.lines().filter(|line| !line.starts_with('#')).collect();
    assert!(keys.join("\n").contains(example.trim_end()), "{example}");
}
