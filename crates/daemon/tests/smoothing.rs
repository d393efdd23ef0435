//! A smoothed trim through the shared state, as the device manager drives it: what a simulator gets between two counts.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test stops at the first surprise")]

use std::net::UdpSocket;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;
use tallywheel_engine::{events, runtime_config, shared::SharedState};
use tallywheel_output::Epoch;
use tallywheel_profile::{DatagramConfig, OutputConfig, Template};
use tallywheel_units::{Timestamp, TrimIndex};

const RIG: &str = "name = \"bench\"\n[[board]]\nname = \"main\"\nusb = \"1209:7a11\"\n[[wheel]]\nname = \"rudder\"\n\
                   wiring = \"pulses\"\nforward = 3\nbackward = 4\ncounts_per_turn = 90\n";
const AIRCRAFT: &str = "name = \"x\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 600\nstart = \"neutral\"\nsmoothing_ms = 20\n";
/// Joystick with 32 one-bit buttons.
const DESCRIPTOR: [u8; 23] = [
    0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x20, 0x15, 0x00, 0x25, 0x01, 0x75,
    0x01, 0x95, 0x20, 0x81, 0x02, 0xC0,
];

#[test]
fn a_count_arrives_in_steps_by_its_deadlines() {
    let receiver = UdpSocket::bind("127.0.0.1:0").unwrap();
    receiver.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    let rig = tallywheel_profile::rig("rig.toml", RIG).unwrap();
    let aircraft = tallywheel_profile::aircraft("a.toml", AIRCRAFT).unwrap();
    let plan = runtime_config::build(&rig, &aircraft).unwrap();
    let mut path = plan.boards[0].pipeline(&DESCRIPTOR).unwrap();
    let trims = vec![(TrimIndex::new(0), "rudder".into())];
    let datagram = DatagramConfig::new(receiver.local_addr().unwrap(), Template::Json, trims);
    let (notes, _listener) = events::channel();
    let told = Arc::new(AtomicUsize::new(0));
    let bell = Arc::clone(&told);
    let shared = SharedState::new(
        plan.tally,
        vec![OutputConfig::Datagram(datagram)],
        notes,
        Epoch::ZERO,
        Box::new(move || {
            bell.fetch_add(1, Ordering::Relaxed);
        }),
    );
    let degrees = || -> f64 {
        let mut bytes = [0; 2000];
        let length = receiver.recv(&mut bytes).unwrap();
        let frame: serde_json::Value = serde_json::from_slice(&bytes[..length]).unwrap();
        frame["trims"]["rudder"]["degrees"].as_f64().unwrap()
    };
    let mut at = Timestamp::START;
    shared.publish_now(at);
    assert_eq!((degrees(), shared.deadline()), (300.0, None));
    at = at.after(Duration::from_millis(100));
    path.take(at, &[0, 0, 0, 0], &shared);
    path.take(at, &[0b0100, 0, 0, 0], &shared);
    assert_eq!(told.load(Ordering::Relaxed), 1, "the device manager is told that there is a deadline");
    assert_eq!(degrees(), 300.0, "the count is told at once, its place is not");
    let mut steps = Vec::new();
    while let Some(deadline) = shared.deadline() {
        shared.publish_now(deadline);
        steps.push((deadline.since(at).as_millis(), degrees()));
    }
    assert_eq!(steps.iter().map(|(ms, _)| *ms).collect::<Vec<_>>(), [4, 8, 12, 16, 20]);
    for ((_, degrees), expected) in steps.iter().zip([300.8, 301.6, 302.4, 303.2, 304.0]) {
        assert!((degrees - expected).abs() < 1e-3, "{degrees} {expected}");
    }
    assert_eq!(steps.last().unwrap().1, 304.0, "exactly at its end");
}
