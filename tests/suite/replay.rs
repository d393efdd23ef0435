//! Recordings with golden results: same input, same output, to the byte, and the truth inside the margin.
//!
//! `UPDATE_GOLDEN=1` writes the golden files anew; read them before you commit them.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

use serde_json::Value;
use std::collections::BTreeMap;
use tallywheel_tests::{Folder, Ran, run, top};

const RIG: &str = "config/rig.toml";
const AIRCRAFT: &str = "config/aircraft/kettrin-2-floatplane.toml";

fn replay(recording: &str, options: &[&str]) -> Ran {
    let mut arguments = vec!["replay", recording, "--rig", RIG, "--aircraft", AIRCRAFT];
    arguments.extend(options);
    run(&arguments)
}

fn summary(ran: &Ran) -> Value {
    serde_json::from_str(ran.out.lines().last().unwrap()).unwrap()
}

fn recordings() -> Vec<String> {
    let folder = std::fs::read_dir(top().join("tests/recordings")).unwrap();
    let mut names: Vec<_> = folder.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.retain(|name| name.ends_with(".hid"));
    names.sort();
    names
}

#[test]
fn every_recording_comes_to_its_golden_result() {
    assert!(!recordings().is_empty());
    for name in recordings() {
        let ran = replay(&format!("tests/recordings/{name}"), &["--json"]);
        assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{name}");
        let golden = top().join("tests/golden").join(name.replace(".hid", ".jsonl"));
        if std::env::var_os("UPDATE_GOLDEN").is_some() {
            std::fs::create_dir_all(golden.parent().unwrap()).unwrap();
            std::fs::write(&golden, &ran.out).unwrap();
        }
        let expected = std::fs::read_to_string(&golden).unwrap();
        let different = ran.out.lines().zip(expected.lines()).position(|(seen, golden)| seen != golden);
        assert!(ran.out == expected, "{name}: first difference in line {different:?}");
    }
}

/// A recording that the testkit wrote says in a comment what truly happened.
#[test]
fn the_truth_lies_within_the_margin() {
    let mut checked = 0;
    for name in recordings() {
        let path = format!("tests/recordings/{name}");
        let text = std::fs::read_to_string(top().join(&path)).unwrap();
        let Some(line) = text.lines().find_map(|line| line.strip_prefix("# truth ")) else { continue };
        let truth: BTreeMap<&str, i64> = line
            .split(' ')
            .map(|pair| pair.split_once('=').unwrap())
            .map(|(k, v)| (k, v.parse().unwrap()))
            .collect();
        let summary = summary(&replay(&path, &["--json"]));
        for (wheel, key) in [("rudder", "rudder_edges"), ("elevator", "elevator_counts")] {
            let counts = summary["counts"][wheel].as_i64().unwrap();
            let [low, high] = [0, 1].map(|n| summary["margin"][wheel][n].as_i64().unwrap());
            let error = truth[key] - counts;
            assert!(
                -low <= error && error <= high,
                "{name}, {wheel}: off by {error}, margin -{low}..+{high}"
            );
            checked += 1;
        }
    }
    assert!(checked >= 2, "no recording tells its truth");
}

#[test]
fn bad_lines_are_left_out_and_counted() {
    let folder = Folder::new("badlines");
    let good = std::fs::read_to_string(top().join("tests/recordings/demo.hid")).unwrap();
    let bad = good.replacen("E: 000000.494220 4 01", "E: 000000.494220 9 01", 1) + "E: 0";
    folder.write("bad.hid", &bad);
    let path = format!("{}/bad.hid", folder.arg());
    assert_eq!(summary(&replay(&path, &["--json"]))["bad_lines"], 2);
    let text = replay(&path, &[]);
    assert_eq!(text.code, Some(0));
    assert!(text.out.contains("line 7: ") && text.out.contains("; left out"), "{}", text.out);
}

#[test]
fn what_is_no_recording_is_said_to_be_none() {
    let folder = Folder::new("norecording");
    folder.write("noise.hid", "\u{fffd}\u{0}noise\n");
    let ran = replay(&format!("{}/noise.hid", folder.arg()), &[]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.err.contains("noise.hid: no line describes a device"), "{}", ran.err);
    let ran = replay("tests/recordings/no-such-file.hid", &[]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.err.contains("no-such-file.hid"), "{}", ran.err);
}

#[test]
fn a_recording_of_other_boards_is_refused() {
    let folder = Folder::new("otherboard");
    folder.write(
        "rig.toml",
        "name = \"two\"\n[[board]]\nname = \"left\"\nusb = \"1209:0001\"\n[[board]]\nname = \"right\"\nusb = \"1209:0002\"\n\
         [[wheel]]\nname = \"rudder\"\nboard = \"left\"\nwiring = \"pulses\"\nforward = 1\nbackward = 2\ncounts_per_turn = 24\n\
         [[wheel]]\nname = \"elevator\"\nboard = \"right\"\nwiring = \"pulses\"\nforward = 1\nbackward = 2\ncounts_per_turn = 24\n",
    );
    let rig = format!("{}/rig.toml", folder.arg());
    let ran = run(&["replay", "tests/recordings/demo.hid", "--rig", &rig, "--aircraft", AIRCRAFT]);
    assert_eq!(ran.code, Some(1), "{}", ran.out);
    assert!(ran.err.contains("has 1209:7a11, the rig file left, right"), "{}", ran.err);
}
