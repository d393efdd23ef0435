//! Holds the house in order: which crate may depend on which (DEVELOPERS.md, "House").

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use tallywheel_tests::metadata;

/// Normal dependencies of each workspace member; dev-dependencies are free.
fn direct() -> BTreeMap<String, BTreeSet<String>> {
    let members: BTreeSet<&str> =
        metadata()["workspace_members"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    let mut edges = BTreeMap::new();
    for package in metadata()["packages"].as_array().unwrap() {
        if members.contains(package["id"].as_str().unwrap()) {
            let dependencies = package["dependencies"].as_array().unwrap().iter();
            let normal = dependencies.filter(|d| d["kind"].is_null());
            edges.insert(
                package["name"].as_str().unwrap().to_owned(),
                normal.map(|d| d["name"].as_str().unwrap().to_owned()).collect(),
            );
        }
    }
    edges
}

#[test]
fn our_crates_depend_one_way_only() {
    let edges = direct();
    let four = ["tallywheel-hid-reader", "tallywheel-accumulator", "tallywheel-output", "tallywheel-profile"];
    let below = |more: &[&str]| -> BTreeSet<String> {
        four.iter().chain(&["tallywheel-units"]).chain(more).map(|name| (*name).to_owned()).collect()
    };
    let mut seen = 0;
    for (name, dependencies) in &edges {
        let ours: BTreeSet<_> =
            dependencies.iter().filter(|d| d.starts_with("tallywheel")).cloned().collect();
        let allowed: BTreeSet<String> = match name.as_str() {
            "tallywheel-units" => BTreeSet::new(),
            "tallywheel-engine" => below(&[]),
            "tallywheel-tools" => below(&["tallywheel-engine"]),
            "tallywheel" => below(&["tallywheel-engine", "tallywheel-tools"]),
            // Test benches stand outside the product and may see all of it.
            "tallywheel-testkit" | "tallywheel-tests" | "tallywheel-kernel-guest" => continue,
            // What an output is, the aircraft file says, and profile describes it.
            "tallywheel-output" => ["tallywheel-profile", "tallywheel-units"].map(str::to_owned).into(),
            name if four.contains(&name) => BTreeSet::from(["tallywheel-units".to_owned()]),
            name => panic!("{name} has no place in the house yet; give it one here and in DEVELOPERS.md"),
        };
        assert!(ours.is_subset(&allowed), "{name} depends on {ours:?}, allowed is {allowed:?}");
        seen += 1;
    }
    assert_eq!(seen, 8, "eight product crates are checked: {:?}", edges.keys());
}

#[test]
fn each_door_to_the_outside_is_in_one_crate() {
    let doors = [
        ("hidapi", "tallywheel-hid-reader"),
        ("evdev", "tallywheel-output"),
        ("notify", "tallywheel-engine"),
        ("ksni", "tallywheel"),
    ];
    for (door, home) in doors {
        for (name, dependencies) in direct() {
            assert!(!dependencies.contains(door) || name == home, "{door} belongs in {home}, not in {name}");
        }
    }
    assert!(direct()["tallywheel-hid-reader"].contains("hidapi"));
    assert!(direct()["tallywheel-output"].contains("evdev"));
}

#[test]
fn the_test_bench_never_gets_into_the_product() {
    for (name, dependencies) in direct() {
        if name != "tallywheel-tests" {
            assert!(!dependencies.contains("tallywheel-testkit"), "{name} ships the test bench");
        }
    }
}
