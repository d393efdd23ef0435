//! The program that libFuzzer drives: TALLYWHEEL_FUZZ names the function of bodies.rs that gets the inputs. One program
//! for all of them, as building with instrumentation takes minutes.
#![no_main]

#[path = "bodies.rs"]
mod bodies;

use libfuzzer_sys::arbitrary::Unstructured;
use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

static TARGET: LazyLock<String> = LazyLock::new(|| std::env::var("TALLYWHEEL_FUZZ").expect("TALLYWHEEL_FUZZ names a target"));

fuzz_target!(|data: &[u8]| {
    let mut parts = Unstructured::new(data);
    let _ = match TARGET.as_str() {
        "rig" => bodies::rig(data),
        "aircraft" => bodies::aircraft(data),
        "recording" => bodies::recording(data),
        "positions" => bodies::positions(data),
        "simulator" => bodies::simulator(data),
        "descriptor" => parts.arbitrary().is_ok_and(|(descriptor, report)| bodies::descriptor(descriptor, report)),
        "reports" => parts.arbitrary().is_ok_and(|steps: Vec<(u16, Vec<u8>)>| bodies::reports(&steps)),
        other => panic!("no target {other}"),
    };
});
