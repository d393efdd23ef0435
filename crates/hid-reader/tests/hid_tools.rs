//! PyPI hid-tools (GPL-2.0, run as a program, never linked) as reader and as writer of recordings.
//!
//! Ignored by default because it needs Python with hid-tools 0.12. To run it:
//!
//! ```text
//! python3 -m venv hid-tools && hid-tools/bin/pip install hid-tools==0.12
//! TALLYWHEEL_PYTHON=hid-tools/bin/python cargo test -p tallywheel-hid-reader --test hid_tools -- --ignored
//! ```

#![expect(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

use std::path::PathBuf;
use std::process::Command;
use tallywheel_hid_reader::{Layout, RecordedDevice, RecordedReport, Recording};
use tallywheel_units::{Buttons, Timestamp};

/// A joystick with 20 buttons, 4 bits of padding and a 16-bit axis.
const DESCRIPTOR: &str = "05 01 09 04 A1 01 05 09 19 01 29 14 15 00 25 01 75 01 95 14 81 02 75 04 95 01 81 03 05 01 09 30 \
                          15 00 27 FF FF 00 00 75 10 95 01 81 02 C0";
/// The same buttons in two reports with IDs.
const NUMBERED: &str =
    "05 01 09 04 A1 01 05 09 15 00 25 01 75 01 95 10 85 01 19 01 29 10 81 02 85 02 19 11 29 20 81 02 C0";

fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace().map(|byte| u8::from_str_radix(byte, 16).unwrap()).collect()
}

fn device(name: &str, descriptor: &str) -> RecordedDevice {
    RecordedDevice {
        name: name.to_owned(),
        phys: Some("usb-0000:00:14.0-2/input0".to_owned()),
        bus: 3,
        vendor: 0x1209,
        product: 0x7a11,
        descriptor: hex(descriptor),
    }
}

/// Reports 1 ms apart from these devices in turn.
fn recording(devices: Vec<RecordedDevice>, reports: &[(usize, &str)]) -> Recording {
    let report = |(place, (device, bytes)): (u64, &(usize, &str))| RecordedReport {
        device: *device,
        at: Timestamp::from_micros(1_000_000 + place * 1000),
        bytes: hex(bytes),
    };
    Recording { devices, reports: (0..).zip(reports).map(report).collect(), ..Recording::default() }
}

/// A file that is removed again.
struct File(PathBuf);

impl File {
    fn new(name: &str, recording: &Recording) -> Self {
        let path = std::env::temp_dir().join(format!("tallywheel-{}-{name}.hid", std::process::id()));
        recording.write(std::fs::File::create(&path).unwrap()).unwrap();
        Self(path)
    }

    fn path(&self) -> &str {
        self.0.to_str().unwrap()
    }
}

impl Drop for File {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.0);
    }
}

/// What Python prints; fails, and says how to get it, if hid-tools is not there.
fn python(arguments: &[&str]) -> String {
    let program = std::env::var("TALLYWHEEL_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let output = Command::new(&program).args(arguments).output();
    let output = output.unwrap_or_else(|error| panic!("{program}: {error}; set TALLYWHEEL_PYTHON"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success(),
        "{program} {arguments:?} failed; if hid-tools is missing: `python3 -m venv hid-tools && \
         hid-tools/bin/pip install hid-tools==0.12`, then TALLYWHEEL_PYTHON=hid-tools/bin/python\n{said}"
    );
    String::from_utf8(output.stdout).unwrap()
}

/// `hidtools.cli.parse_hid` prints, after the descriptor, one line per report: its time, then
/// `Button: 1 0 0 ... | # | X: 0`.
#[test]
#[ignore = "needs Python with hid-tools 0.12, see the top of the file"]
fn hid_tools_reads_the_same_buttons() {
    let reports = ["00 00 00 00 80", "01 00 08 FE FF", "FF FF 0F 00 00", "00 80 00 00 80", "02 01 04 34 12"];
    let indexed: Vec<_> = reports.iter().map(|report| (0, *report)).collect();
    let recording = recording(vec![device("Tallywheel bench", DESCRIPTOR)], &indexed);
    let file = File::new("one", &recording);
    let printed = python(&["-m", "hidtools.cli.parse_hid", file.path()]);
    let events: Vec<&str> = printed.lines().filter(|line| line.contains("Button:")).collect();
    assert_eq!(events.len(), reports.len(), "{printed}");

    let layout = Layout::from_descriptor(&hex(DESCRIPTOR)).unwrap();
    for (event, report) in events.iter().zip(&recording.reports) {
        let (time, rest) = event.trim().split_once(' ').unwrap();
        assert_eq!(
            time,
            format!("{:06}.{:06}", report.at.micros() / 1_000_000, report.at.micros() % 1_000_000)
        );
        let bits = rest.split("Button:").nth(1).unwrap().split('#').next().unwrap();
        let bits: Vec<u8> =
            bits.chars().filter_map(|digit| digit.to_digit(2)).map(|bit| bit == 1).map(u8::from).collect();
        assert_eq!(bits.len(), 20, "{event}");
        let theirs = bits.iter().rev().fold(0_u128, |sum, bit| sum << 1 | u128::from(*bit));
        let mut ours = Buttons::NONE;
        layout.apply(&report.bytes, &mut ours).unwrap();
        assert_eq!(ours.bits(), theirs, "{event}");
    }
}

/// `hidtools.cli.replay` with a board of Python instead of uhid: what it would create and inject. The modules
/// that talk to the kernel stay out; they would need libevdev.so.
const REPLAY: &str = r#"
import sys, types

for name, held in [("device", None), ("device.base_device", "BaseDevice"), ("device.sony_gamepad", "PS3Controller"),
                   ("uhid", "UHIDDevice")]:
    module = types.ModuleType("hidtools." + name)
    if held:
        setattr(module, held, type(held, (), {}))
    sys.modules[module.__name__] = module

from hidtools.cli.replay import HIDReplay

class Board:
    def __init__(self, name, application, input_info, rdesc):
        self.name, self.info = name, input_info
        self.rdesc = [int(byte, 16) for byte in rdesc.split()]
        self.device_nodes = ["one"]
    def create_kernel_device(self):
        print(f"board {self.name}|{self.phys}|{self.info[0]:x} {self.info[1]:04x} {self.info[2]:04x}|{bytes(self.rdesc).hex()}")
    def call_input_event(self, data):
        print(f"report {self.name}|{bytes(data).hex()}")
    def destroy(self):
        pass

HIDReplay.determine_device_type_by_info = lambda self, info: Board
with HIDReplay(sys.argv[1]) as replay:
    if len(sys.argv) == 2:
        replay.inject_events()
"#;

#[test]
#[ignore = "needs Python with hid-tools 0.12, see the top of the file"]
fn hid_tools_would_replay_the_same_reports() {
    let boards = vec![device("left", DESCRIPTOR), device("right", NUMBERED)];
    let reports = [(0, "01 00 08 FE FF"), (1, "01 FF 00"), (1, "02 00 01"), (0, "00 00 00 00 80")];
    // 0.12 reads what several devices are, but stops at the first `D:` line when it injects: it compares the
    // line with its newline.
    for several in [false, true] {
        let boards = if several { boards.clone() } else { boards[..1].to_vec() };
        let reports: Vec<_> = reports.iter().copied().filter(|report| several || report.0 == 0).collect();
        let recording = recording(boards, &reports);
        let file = File::new("replay", &recording);
        let arguments = ["-c", REPLAY, file.path(), "boards"];
        let printed = python(if several { &arguments } else { &arguments[..3] });
        let line = |bytes: &[u8]| bytes.iter().map(|byte| format!("{byte:02x}")).collect::<String>();
        let boards = recording.devices.iter().map(|board| {
            let RecordedDevice { name, phys, bus, vendor, product, descriptor } = board;
            let phys = phys.as_deref().unwrap();
            format!("board {name}|{phys}|{bus:x} {vendor:04x} {product:04x}|{}\n", line(descriptor))
        });
        let reports = recording.reports.iter().filter(|_| !several);
        let reports = reports.map(|report| format!("report left|{}\n", line(&report.bytes)));
        assert_eq!(printed, boards.chain(reports).collect::<String>());
    }
}

/// What hid-tools' own recorder writes for a board that it could not have opened here.
const RECORD: &str = r#"
import sys
from hidtools.hid import ReportDescriptor
from hidtools.hidraw import HidrawDevice, HidrawEvent

board = object.__new__(HidrawDevice)
board.name, board.bustype, board.vendor_id, board.product_id = "Tallywheel bench", 3, 0x1209, 0x7a11
board.report_descriptor = ReportDescriptor.from_bytes(list(bytes.fromhex(sys.argv[1])))
board._dump_offset = -1
board.events = [HidrawEvent(1, 250, (1, 0, 8, 0xFE, 0xFF)), HidrawEvent(61, 999999, (0, 0, 0, 0, 128))]
board.dump(sys.stdout)
"#;

#[test]
#[ignore = "needs Python with hid-tools 0.12, see the top of the file"]
fn what_hid_tools_writes_is_read() {
    let printed = python(&["-c", RECORD, DESCRIPTOR]);
    let recording = Recording::parse(&printed).unwrap();
    assert_eq!(recording.bad_lines, []);
    assert_eq!(recording.devices, [RecordedDevice { phys: None, ..device("Tallywheel bench", DESCRIPTOR) }]);
    let report =
        |micros, bytes| RecordedReport { device: 0, at: Timestamp::from_micros(micros), bytes: hex(bytes) };
    let expected = [report(1_000_250, "01 00 08 FE FF"), report(61_999_999, "00 00 00 00 80")];
    assert_eq!(recording.reports, expected);
}
