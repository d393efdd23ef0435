//! Every file that is shipped in `config/` is valid, and every aircraft fits the shipped rig.

#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests may stop at the first surprise")]

use std::fs;
use std::path::{Path, PathBuf};
use tallywheel_profile::{Aircraft, aircraft, fit, rig};

fn config() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../config")
}

fn shipped_aircraft() -> Vec<(String, Aircraft)> {
    let mut files: Vec<_> =
        fs::read_dir(config().join("aircraft")).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    let read = |path: PathBuf| {
        let file = path.file_name().unwrap().to_str().unwrap().to_owned();
        let text = fs::read_to_string(&path).unwrap();
        let aircraft = aircraft(&file, &text).unwrap_or_else(|errors| panic!("{errors}"));
        (file, aircraft)
    };
    files.into_iter().map(read).collect()
}

#[test]
fn every_aircraft_fits_the_rig() {
    let text = fs::read_to_string(config().join("rig.toml")).unwrap();
    let rig = rig("rig.toml", &text).unwrap_or_else(|errors| panic!("{errors}"));
    let shipped = shipped_aircraft();
    assert!(shipped.len() >= 5, "{} aircraft", shipped.len());
    for (file, aircraft) in &shipped {
        let fitted = fit(&rig, aircraft).unwrap_or_else(|errors| panic!("{errors}"));
        assert_eq!(fitted.len(), aircraft.trims.len(), "{file}");
    }
}

/// README has its reader start from this file.
#[test]
fn the_shortest_file_is_shipped() {
    let shipped = shipped_aircraft();
    let (_, aircraft) = shipped.iter().find(|(name, _)| name == "one-trim.toml").unwrap();
    let [trim] = aircraft.trims.as_slice() else { panic!("{aircraft:?}") };
    assert_eq!((trim.name.as_str(), trim.neutral.get()), ("rudder", trim.travel.get() / 2.0));
    assert!(aircraft.default, "it is for every title that no other file knows");
}

/// What is commented out in the shipped rig is good too, once the number signs are gone.
#[test]
fn what_is_commented_out_in_the_rig_is_good() {
    let text = include_str!("../../../config/rig.toml");
    let (before, commented) = text.split_once("# [[button]]").unwrap();
    let keys = |line: &str| line.starts_with("# [") || line.split(' ').nth(2) == Some("=");
    let lines = commented.lines().map(|line| line.strip_prefix("# ").filter(|_| keys(line)).unwrap_or(line));
    let text: String =
        [before, "[[button]]"].into_iter().chain(lines.flat_map(|line| [line, "\n"])).collect();
    let read = rig("rig.toml", &text).unwrap();
    assert!(read.simulator.is_some_and(|simulator| simulator.senders.len() == 1));
    assert_eq!(read.buttons.len(), 1);
}
