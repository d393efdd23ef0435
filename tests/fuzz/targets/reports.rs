//! Any sequence of reports at any times: nothing panics, and counts are conserved through the stops.
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::time::Duration;
use tallywheel_engine::runtime_config;
use tallywheel_units::{FixedCounts, Timestamp};

const RIG: &str = include_str!("../../../config/rig.toml");
const AIRCRAFT: &str = include_str!("../../../config/aircraft/heron-2-floatplane.toml");
/// Joystick with 32 one-bit buttons.
const DESCRIPTOR: [u8; 23] = [
    0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x20, 0x15, 0x00, 0x25, 0x01, 0x75, 0x01,
    0x95, 0x20, 0x81, 0x02, 0xC0,
];

fuzz_target!(|steps: Vec<(u16, Vec<u8>)>| {
    let rig = tallywheel_profile::rig("rig.toml", RIG).unwrap();
    let aircraft = tallywheel_profile::aircraft("aircraft.toml", AIRCRAFT).unwrap();
    let plan = runtime_config::build(&rig, &aircraft).unwrap();
    let mut path = plan.boards[0].pipeline(&DESCRIPTOR).unwrap();
    let mut tally = plan.tally;
    let mut at = Timestamp::START;
    for (wait, report) in steps {
        at = at.after(Duration::from_micros(u64::from(wait) * 16));
        if report == b"unplug" {
            path.unplugged(at, &mut tally);
        } else {
            path.report(at, &report, &mut tally);
        }
    }
    for trim in tally.trims() {
        let counts = tally.wheel(trim.wheel).unwrap().counts;
        assert_eq!(trim.applied + trim.refused, FixedCounts::from_counts(counts), "counts are conserved");
        let position = trim.accumulator.reading().normalized.get();
        assert!((-1.0..=1.0).contains(&position));
    }
});
