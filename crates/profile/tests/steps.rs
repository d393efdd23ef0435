//! An `[[output]]` with `kind = "steps"`: what it comes to.

#![allow(clippy::panic, clippy::unwrap_used, reason = "a test may stop anywhere")]

mod common;

use common::good_aircraft;
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
fn keys_instead_of_buttons() {
    let keys = "presses = 9\nlow_keys = { yaw = \"F13\", pitch = \"KeyA\" }\nhigh_keys = { pitch = \"F15\", yaw = \"F14\" }";
    let OutputConfig::Keys { trims, .. } = good(keys) else { panic!("{keys}") };
    let named: Vec<_> =
        trims.iter().map(|trim| (trim.trim.get(), trim.low.name(), trim.high.name())).collect();
    assert_eq!(named, [(0, "KeyA", "F15"), (1, "F13", "F14")]);
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
