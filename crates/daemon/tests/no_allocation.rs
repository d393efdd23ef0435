//! The whole way of a report, decoder, tally, outputs and notes, allocates nothing once it is warm. In a binary
//! of its own: the counter counts for the whole thread.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test stops at the first surprise")]

use std::net::UdpSocket;
use std::time::Duration;
use tallywheel_engine::runtime_config;
use tallywheel_engine::{events, shared::SharedState};
use tallywheel_output::Epoch;
use tallywheel_profile::{DatagramConfig, OutputConfig, Template};
use tallywheel_units::{Timestamp, TrimIndex};

const RIG: &str = include_str!("../../../config/rig.toml");
const AIRCRAFT: &str = include_str!("../../../config/aircraft/kettrin-2-floatplane.toml");
/// Joystick with 32 one-bit buttons.
const DESCRIPTOR: [u8; 23] = [
    0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x20, 0x15, 0x00, 0x25, 0x01, 0x75,
    0x01, 0x95, 0x20, 0x81, 0x02, 0xC0,
];
/// Lines A and B of the rudder as it goes there and back, the elevator's pulse pressed in every other one.
const REPORTS: [u8; 8] = [0b0001, 0b0111, 0b0010, 0b0100, 0b0010, 0b0111, 0b0001, 0b1000];

#[test]
fn a_report_allocates_nothing_from_bytes_to_datagram() {
    let receiver = UdpSocket::bind("127.0.0.1:0").unwrap();
    let rig = tallywheel_profile::rig("rig.toml", RIG).unwrap();
    let aircraft = tallywheel_profile::aircraft("kettrin.toml", AIRCRAFT).unwrap();
    let plan = runtime_config::build(&rig, &aircraft).unwrap();
    let mut path = plan.boards[0].pipeline(&DESCRIPTOR).unwrap();
    let to = receiver.local_addr().unwrap();
    let trims = vec![(TrimIndex::new(0), "rudder".into()), (TrimIndex::new(1), "elevator".into())];
    let datagram = OutputConfig::Datagram(DatagramConfig::new(to, Template::Json, trims));
    let (notes, listener) = events::channel();
    let outputs = vec![datagram];
    let shared = SharedState::new(plan.tally, outputs, notes, Epoch::ZERO, Box::new(|| ()));
    let mut at = Timestamp::START;
    shared.publish_now(at);
    let mut send = |rounds: usize| {
        for lines in REPORTS.iter().cycle().take(rounds * REPORTS.len()) {
            at = at.after(Duration::from_millis(4));
            path.take(at, &[*lines, 0, 0, 0], &shared);
        }
    };
    send(4);
    let mut noted = 0;
    while listener.try_next().is_some() {
        noted += 1;
    }
    assert!(noted > 30, "the reports did something: {noted} notes");
    let warm = allocation_counter::measure(|| send(100));
    assert_eq!(warm.count_total, 0, "{warm:?}");
    // So many that the channel is full: what does not fit is counted, and still nothing is allocated.
    let full = allocation_counter::measure(|| send(1000));
    assert_eq!(full.count_total, 0, "{full:?}");
    assert!(listener.take_held_back() > 0);
}
