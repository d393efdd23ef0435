//! What every input from outside must hold to, whatever its bytes. Two programs call these functions: libFuzzer's
//! (fuzz.rs), which looks for inputs for minutes, and `tests/suite/fuzz.rs`, which in every `cargo test` tries the same
//! seeds with the same words. Each function panics where the promise is broken, and answers whether the input was taken.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::time::Duration;
use tallywheel_engine::inbound::{EchoSuppression, LONGEST_BYTES, Message, SimulatorSession, Verdict};
use tallywheel_engine::runtime_config;
use tallywheel_engine::saved::Positions;
use tallywheel_hid_reader::{Layout, Recording, RecordingWriter};
use tallywheel_profile::OnReport;
use tallywheel_units::{Buttons, Counts, FixedCounts, Timestamp};

const RIG: &str = include_str!("../../config/rig.toml");
const AIRCRAFT: &str = include_str!("../../config/aircraft/kettrin-2-floatplane.toml");
/// Joystick with 32 one-bit buttons.
pub(crate) const DESCRIPTOR: [u8; 23] = [
    0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x20, 0x15, 0x00, 0x25, 0x01, 0x75,
    0x01, 0x95, 0x20, 0x81, 0x02, 0xC0,
];

/// A text that is refused is refused with places.
fn refused(file: &str, said: &str) {
    let placed = |line: &str| line.starts_with(&format!("{file}:")) || line.starts_with("and ");
    assert!(!said.is_empty() && said.lines().all(placed), "{said}");
}

/// Any text gives a checked rig or errors with places.
pub(crate) fn rig(data: &[u8]) -> bool {
    let rig = tallywheel_profile::rig("rig.toml", &String::from_utf8_lossy(data));
    rig.map_err(|errors| refused("rig.toml", &errors.to_string())).is_ok()
}

/// Any text gives a checked aircraft or errors with places.
pub(crate) fn aircraft(data: &[u8]) -> bool {
    let aircraft = tallywheel_profile::aircraft("aircraft.toml", &String::from_utf8_lossy(data));
    aircraft.map_err(|errors| refused("aircraft.toml", &errors.to_string())).is_ok()
}

/// A report descriptor of any bytes gives a layout or an error, and the layout takes any report.
pub(crate) fn descriptor(descriptor: &[u8], report: &[u8]) -> bool {
    let Ok(layout) = Layout::from_descriptor(descriptor) else { return false };
    let mut state = Buttons::NONE;
    let before = state;
    let taken = layout.apply(report, &mut state).is_ok();
    if taken {
        // Only buttons that the layout has may ever be pressed.
        assert_eq!(state.bits() & !layout.buttons().bits(), 0);
    } else {
        assert_eq!(state, before, "a report that is refused must change nothing");
    }
    taken
}

/// Any sequence of reports at any times: nothing panics, and counts are conserved through the stops.
pub(crate) fn reports(steps: &[(u16, Vec<u8>)]) -> bool {
    let rig = tallywheel_profile::rig("rig.toml", RIG).unwrap();
    let aircraft = tallywheel_profile::aircraft("aircraft.toml", AIRCRAFT).unwrap();
    let plan = runtime_config::build(&rig, &aircraft).unwrap();
    let mut path = plan.boards[0].pipeline(&DESCRIPTOR).unwrap();
    let mut tally = plan.tally;
    let mut at = Timestamp::START;
    for (wait, report) in steps {
        at = at.after(Duration::from_micros(u64::from(*wait) * 16));
        if report == b"unplug" {
            path.unplugged(at, &mut tally);
        } else {
            path.report(at, report, &mut tally);
        }
    }
    let mut moved = false;
    for trim in tally.trims() {
        let counts = tally.wheel(trim.wheel).unwrap().counts;
        assert_eq!(trim.applied + trim.refused, FixedCounts::from_counts(counts), "counts are conserved");
        moved |= counts != Counts::ZERO;
        let position = trim.accumulator.reading().normalized.get();
        assert!((-1.0..=1.0).contains(&position));
    }
    moved
}

/// Any text gives a recording or an error; what a recording holds can be written and read again.
pub(crate) fn recording(data: &[u8]) -> bool {
    let Ok(recording) = Recording::parse(&String::from_utf8_lossy(data)) else { return false };
    assert!(!recording.devices.is_empty());
    assert!(recording.reports.windows(2).all(|pair| pair[0].at <= pair[1].at), "time runs backwards");
    assert!(recording.reports.iter().all(|report| report.device < recording.devices.len()));
    let [device] = recording.devices.as_slice() else { return true };
    let mut text = Vec::new();
    let mut writer = RecordingWriter::new(&mut text, device).unwrap();
    for report in &recording.reports {
        writer.report(report.at, &report.bytes).unwrap();
    }
    let again = Recording::parse(std::str::from_utf8(&text).unwrap()).unwrap();
    assert_eq!(again.reports, recording.reports);
    true
}

/// Any bytes are a saved position or damage; what is read can be written and read again.
pub(crate) fn positions(data: &[u8]) -> bool {
    let mut taken = false;
    // The checksum keeps noise out, so half of the inputs get a right one.
    let summed = format!("\ncrc32 {:08x}\n", crc32fast::hash(data));
    for text in [data.to_vec(), [data, summed.as_bytes()].concat()] {
        if let Ok(positions) = Positions::from_text(&text) {
            taken = true;
            let again = Positions::from_text(positions.to_text().as_bytes());
            let again = again.expect("what was written is read");
            assert_eq!(again.sequence, positions.sequence);
            // Numbers are written to the last digit and read to all but that.
            for (one, other) in again.trims.iter().zip(&positions.trims) {
                assert_eq!((one.0, one.1.margin), (other.0, other.1.margin));
                let (one, other) = (one.1.degrees.get(), other.1.degrees.get());
                assert!((one - other).abs() <= other.abs() * 1e-15, "{one} {other}");
            }
            assert_eq!(again.trims.len(), positions.trims.len());
        }
    }
    taken
}

/// Any datagrams of any senders at any time: what is taken for news is within its limits, and a number is news once.
pub(crate) fn simulator(data: &[u8]) -> bool {
    let mut taken = false;
    let mut link = SimulatorSession::new(Duration::from_secs(5));
    let mut follower = EchoSuppression::new(OnReport::Adopt, false);
    let mut at = Timestamp::START;
    let mut heard: BTreeMap<String, u64> = BTreeMap::new();
    // Two bytes of time and sender before each datagram, which ends at the next newline.
    for datagram in data.split(|byte| *byte == b'\n') {
        let [ms, port, bytes @ ..] = datagram else { continue };
        at = at.after(Duration::from_millis(u64::from(*ms) * 20));
        if link.gone(at) {
            heard.clear();
        }
        let Ok(message) = Message::parse(bytes) else { continue };
        assert!(bytes.len() <= LONGEST_BYTES && message.trims.len() <= 64);
        assert!(message.title.as_ref().is_none_or(|title| title.chars().count() <= 256));
        let from = SocketAddr::from(([127, 0, 0, 1], u16::from(*port)));
        let who = message.session.clone().unwrap_or_else(|| format!("\n{from}"));
        if let Verdict::Fresh { .. } = link.take(at, from, &message) {
            // Only the last eight before it are remembered.
            let news = heard.len() > 8 || heard.get(&who).is_none_or(|before| *before < message.sequence);
            assert!(news, "{who} {}", message.sequence);
            heard.insert(who, message.sequence);
            taken = true;
            for (_, value) in &message.trims {
                assert!((-1.0..=1.0).contains(&value.get()));
                follower.see(at, *value, Counts::ZERO);
                let _ = follower.report(at, *value);
            }
        }
        assert!(link.deadline().is_none_or(|deadline| deadline > at));
    }
    taken
}
