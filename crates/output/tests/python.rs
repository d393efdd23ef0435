//! Python as receiver: its own `struct` module reads the packed layout, PyPI python-osc (Unlicense, run as a program,
//! never linked) the OSC packets.
//!
//! The OSC test is ignored by default because it needs python-osc 1.10.2. To run it:
//!
//! ```text
//! python3 -m venv osc && osc/bin/pip install python-osc==1.10.2
//! TALLYWHEEL_PYTHON=osc/bin/python cargo test -p tallywheel-output --test python -- --include-ignored
//! ```
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

use std::net::UdpSocket;
use std::process::Command;
use std::time::Duration;
use tallywheel_output::{Epoch, Frame, TrimReading, open};
use tallywheel_profile::{DatagramConfig, OutputConfig, Scale, Template};
use tallywheel_units::{AxisValue, Counts, Degrees, Margin, Normalized, Timestamp, TrimIndex};

/// Python 3 with what the test needs.
fn python(script: &str, datagram: &[u8]) -> String {
    let program = std::env::var("TALLYWHEEL_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let hex: String = datagram.iter().map(|byte| format!("{byte:02x}")).collect();
    let output = Command::new(&program).args(["-c", script, &hex]).output();
    let output = output.unwrap_or_else(|error| panic!("{program}: {error}; set TALLYWHEEL_PYTHON"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program}: {said}");
    String::from_utf8(output.stdout).unwrap().trim_end().to_owned()
}

fn readings() -> [TrimReading; 2] {
    let rudder = TrimReading {
        degrees: Degrees::new(240.5).unwrap(),
        normalized: Normalized::clamped(-0.25),
        axis: AxisValue::clamped(-8192),
        counts: Counts::new(-21),
        margin: Margin::new(Counts::new(3), Counts::ZERO),
    };
    let elevator = TrimReading {
        degrees: Degrees::new(580.0).unwrap(),
        normalized: Normalized::MAX,
        axis: AxisValue::MAX,
        counts: Counts::new(170),
        margin: Margin::UNKNOWN,
    };
    [rudder, elevator]
}

/// The datagram of these readings as it arrives at a port.
fn datagram(template: Template, names: &[&str], scale: Scale) -> Vec<u8> {
    let receiver = UdpSocket::bind("127.0.0.1:0").unwrap();
    receiver.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    let trims = (0..).map(TrimIndex::new).zip(names.iter().map(|name| (*name).to_owned())).collect();
    let config =
        DatagramConfig { scale, ..DatagramConfig::new(receiver.local_addr().unwrap(), template, trims) };
    let epoch = Epoch::new(Duration::from_secs(1_795_574_403));
    let mut output = open(&OutputConfig::Datagram(config), epoch).unwrap();
    let at = Timestamp::from_micros(400_150);
    output.publish(&Frame { at, sequence: 7, trims: &readings() }).unwrap();
    let mut bytes = vec![0; 2_000];
    let length = receiver.recv(&mut bytes).unwrap();
    bytes.truncate(length);
    bytes
}

/// The formats are those of Python's own documentation of `struct`: `<` little-endian without padding, `H` u16,
/// `I` u32, `i` i32, `q` i64, `Q` u64, `d` f64, `x` a byte that says nothing.
#[test]
fn python_s_struct_reads_the_packed_layout() {
    let readme = include_str!("../../../README.md");
    assert!(readme.contains("`<4sHHQQ`") && readme.contains("`<ddqiII4x`"), "the README says the same");
    let script = "
import struct, sys
data = bytes.fromhex(sys.argv[1])
magic, version, trims, sequence, time_us = struct.unpack_from('<4sHHQQ', data)
print(magic, version, trims, sequence, time_us, len(data))
for trim in range(trims):
    print(*struct.unpack_from('<ddqiII4x', data, 24 + 40 * trim))
";
    let said = python(script, &datagram(Template::Packed, &["rudder", "elevator"], Scale::UNIT));
    assert_eq!(
        said,
        "b'TWHL' 1 2 0 1795574403400150 104\n\
         -0.25 240.5 -21 -8192 3 0\n\
         1.0 580.0 170 32767 4294967295 4294967295"
    );
}

#[test]
#[ignore = "needs Python with python-osc"]
fn python_osc_reads_messages_and_bundles() {
    let script = "
import sys
from pythonosc.osc_packet import OscPacket
for timed in OscPacket(bytes.fromhex(sys.argv[1])).messages:
    print(timed.message.address, timed.message.params)
";
    let osc = || Template::Osc { prefix: "/aircraft/trim".to_owned() };
    let one = python(script, &datagram(osc(), &["rudder"], Scale::UNIT));
    assert_eq!(one, "/aircraft/trim/rudder [-0.25]");
    let two = python(script, &datagram(osc(), &["rudder", "elevator"], Scale::new(0.0, 100.0).unwrap()));
    assert_eq!(two, "/aircraft/trim/rudder [37.5]\n/aircraft/trim/elevator [100.0]");
}
