use super::*;
use expect_test::{Expect, expect};
use proptest::prelude::*;
use std::time::Duration;

fn bench() -> RecordedDevice {
    RecordedDevice {
        name: "Tallywheel bench".to_owned(),
        phys: Some("usb-0000:00:14.0-2/input0".to_owned()),
        bus: 3,
        vendor: 0x1209,
        product: 0x7a11,
        descriptor: vec![0x05, 0x09, 0x19, 0x01],
    }
}

fn written(write: impl FnOnce(&mut Vec<u8>)) -> String {
    let mut bytes = Vec::new();
    write(&mut bytes);
    String::from_utf8(bytes).unwrap()
}

#[test]
fn one_device_to_the_byte() {
    let text = written(|to| {
        let mut writer = RecordingWriter::new(to, &bench()).unwrap();
        writer.report(Timestamp::START, &[0, 0xAB]).unwrap();
        writer.report(Timestamp::from_nanos(61_003_000_999), &[1]).unwrap();
        writer.report(Timestamp::from_micros(1_000_000_000_000), &[]).unwrap();
    });
    expect![[r"
        R: 4 05 09 19 01
        N: Tallywheel bench
        P: usb-0000:00:14.0-2/input0
        I: 3 1209 7a11
        E: 000000.000000 2 00 ab
        E: 000061.003000 1 01
        E: 1000000.000000 0
    "]]
    .assert_eq(&text);
}

#[test]
fn several_devices_to_the_byte() {
    let other = RecordedDevice { name: "two\nlines".to_owned(), phys: None, bus: 5, ..bench() };
    let text = written(|to| {
        let mut writer = RecordingWriter::several(to, &[bench(), other]).unwrap();
        for (device, micros) in [(1, 0), (0, 1), (0, 2), (1, 3)] {
            writer.report_of(device, Timestamp::from_micros(micros), &[7]).unwrap();
        }
    });
    expect![[r"
        D: 0
        R: 4 05 09 19 01
        N: Tallywheel bench
        P: usb-0000:00:14.0-2/input0
        I: 3 1209 7a11
        D: 1
        R: 4 05 09 19 01
        N: two lines
        I: 5 1209 7a11
        E: 000000.000000 1 07
        D: 0
        E: 000000.000001 1 07
        E: 000000.000002 1 07
        D: 1
        E: 000000.000003 1 07
    "]]
    .assert_eq(&text);
}

/// What is read, and which lines are bad.
fn check(text: &str, expected: Expect) {
    use std::fmt::Write;
    let recording = Recording::parse(text).unwrap();
    let mut log = String::new();
    for RecordedDevice { name, phys, bus, vendor, product, descriptor } in &recording.devices {
        writeln!(log, "{name:?} {phys:?} {bus:x} {vendor:04x}:{product:04x} {descriptor:x?}").unwrap();
    }
    for report in &recording.reports {
        writeln!(log, "device {} at {}: {:x?}", report.device, report.at, report.bytes).unwrap();
    }
    for bad in &recording.bad_lines {
        writeln!(log, "line {}: {}", bad.line, bad.reason).unwrap();
    }
    expected.assert_eq(&log);
}

#[test]
fn every_letter_is_read() {
    check(
        "# a comment\n\nR: 2 05 09\r\nN:  a name \nP: phys\nI: 3 1209 7a11\nB: 12 unknown letters are passed over\n\
         E: 000001.000250 3 01 0a FF\nE: 2.000000 1 00\n",
        expect![[r#"
            " a name " Some("phys") 3 1209:7a11 [5, 9]
            device 0 at 1.000250 s: [1, a, ff]
            device 0 at 2.000000 s: [0]
        "#]],
    );
}

#[test]
fn devices_go_by_their_numbers() {
    check(
        "D: 7\nN: seven\nD: 2\nN: two\nD: 7\nE: 000000.000000 1 07\nD:2\nE: 000000.000001 1 02\n",
        expect![[r#"
            "seven" None 0 0000:0000 []
            "two" None 0 0000:0000 []
            device 0 at 0.000000 s: [7]
            device 1 at 0.000001 s: [2]
        "#]],
    );
}

#[test]
fn bad_lines_are_named_and_left_out() {
    check(
        "N: bench\nnonsense\nI: 3 1209\nI: 3 1209 7a11 1\nI: 3 12345 7a11\nR: 3 05 09\nR: 1 05 09\nR: x 05\nR:\n\
         R: 5000 05\nE: 000001.000000 2 01\nE: 000001.000000 1 1g\nE: 000001.000000 1 100\nE: 000001.000000 1 +1\n\
         E: 000001.5 1 01\nE: 1 1 01\nE: -1.000000 1 01\nE: 99999999999999999999.000000 1 01\nE: 000001.000000\n\
         E: 18446744073709.551616 1 01\nD: x\nD: -1\nE: 000002.000000 1 01\nü: letters may be long\n",
        expect![[r#"
            "bench" None 0 0000:0000 []
            device 0 at 2.000000 s: [1]
            line 2: neither a comment nor a letter with a colon
            line 3: not bus, vendor and product in hex
            line 4: not bus, vendor and product in hex
            line 5: not bus, vendor and product in hex
            line 6: fewer bytes than its length says
            line 7: more bytes than its length says
            line 8: a length that is no number
            line 9: a length that is no number
            line 10: longer than the kernel allows
            line 11: fewer bytes than its length says
            line 12: a byte that is not two hex digits
            line 13: a byte that is not two hex digits
            line 14: a byte that is not two hex digits
            line 15: not a time as seconds and six digits of microseconds
            line 16: not a time as seconds and six digits of microseconds
            line 17: not a time as seconds and six digits of microseconds
            line 18: not a time as seconds and six digits of microseconds
            line 19: a report without bytes
            line 20: not a time as seconds and six digits of microseconds
            line 21: not a device's number
            line 22: not a device's number
        "#]],
    );
}

/// hid-tools writes `timedelta.seconds`, which starts again at 0 after a day.
#[test]
fn a_clock_that_went_round_has_gone_on() {
    check(
        "E: 086399.999000 1 01\nE: 000000.001000 1 02\nE: 000005.000000 1 03\nE: 000004.000000 1 04\n\
         E: 086399.000000 1 05\nE: 000001.000000 1 06\n",
        expect![[r#"
            "" None 0 0000:0000 []
            device 0 at 86399.999000 s: [1]
            device 0 at 86400.001000 s: [2]
            device 0 at 86405.000000 s: [3]
            device 0 at 86405.000000 s: [4]
            device 0 at 172799.000000 s: [5]
            device 0 at 172801.000000 s: [6]
            line 4: the time runs backwards; taken as that of the report before
        "#]],
    );
}

/// The last microsecond that a time can hold, and a day more.
#[test]
fn the_end_of_all_time_is_read_back() {
    let text = "E: 18446744073.709551 1 01\nE: 000000.000000 1 02\nE: 18446744073.709551 1 03\n";
    let recording = Recording::parse(text).unwrap();
    assert_eq!(recording.reports.len(), 3);
    let again = written(|to| recording.write(to).unwrap());
    assert_eq!(Recording::parse(&again).unwrap().reports, recording.reports);
}

#[test]
fn only_comments_of_exactly_our_form_are_marks() {
    let text = "N: one\n# unplugged 000001.000000\n#unplugged 000002.000000\n# gap 000003.000000 7\n\
                # unplugged\n# unplugged 1.5\n# unplugged 000004.000000 today\n# gap 000004.000000\n\
                # gap 000004.000000 x\n# gap 000004.000000 1 2\n# gone 000004.000000\n# unplugged 000001.000000\n";
    let recording = Recording::parse(text).unwrap();
    let marks: Vec<_> = recording.marks.iter().map(|mark| (mark.at.micros(), mark.kind)).collect();
    let (unplugged, gap) = (MarkKind::Unplugged, MarkKind::Gap { reports: 7 });
    assert_eq!(
        marks,
        [(1_000_000, unplugged), (2_000_000, unplugged), (3_000_000, gap), (3_000_000, unplugged)]
    );
    assert_eq!(
        recording.bad_lines,
        [BadLine { line: 12, reason: "the time runs backwards; taken as that of the report before" }]
    );
    assert_eq!(Recording::parse("# unplugged 000001.000000\n"), Err(RecordingError::NotARecording));
}

#[test]
fn a_text_without_a_device_is_no_recording() {
    for text in ["", "\n\n", "# only a comment", "name = \"bench\"\n", "E: broken"] {
        assert_eq!(Recording::parse(text), Err(RecordingError::NotARecording), "{text:?}");
    }
    let many: String = (0..100).map(|number| format!("D: {number}\n")).collect();
    let recording = Recording::parse(&many).unwrap();
    assert_eq!((recording.devices.len(), recording.bad_lines.len()), (64, 36));
}

fn device() -> impl Strategy<Value = RecordedDevice> {
    let text = "[^\\p{Cc}]{0,20}";
    let bytes = prop::collection::vec(any::<u8>(), 0..60);
    (text, prop::option::of(text), any::<u16>(), any::<u16>(), any::<u16>(), bytes).prop_map(
        |(name, phys, bus, vendor, product, descriptor)| RecordedDevice {
            name,
            phys,
            bus,
            vendor,
            product,
            descriptor,
        },
    )
}

/// Any recording whose times are whole microseconds that never run backwards.
fn recording() -> impl Strategy<Value = Recording> {
    let devices = prop::collection::vec(device(), 1..5);
    let mark =
        prop_oneof![Just(MarkKind::Unplugged), any::<u64>().prop_map(|reports| MarkKind::Gap { reports })];
    let line = prop_oneof![
        3 => prop::collection::vec(any::<u8>(), 0..70).prop_map(Ok),
        1 => mark.prop_map(Err),
    ];
    let line = (any::<prop::sample::Index>(), 0..40_000_000_000_u64, line);
    (devices, prop::collection::vec(line, 0..30)).prop_map(|(devices, lines)| {
        let mut at = Timestamp::START;
        let (mut reports, mut marks) = (Vec::new(), Vec::new());
        for (index, gap, line) in lines {
            at = at.after(Duration::from_micros(gap));
            let device = index.index(devices.len());
            match line {
                Ok(bytes) => reports.push(RecordedReport { device, at, bytes }),
                Err(kind) => marks.push(Mark { device, at, before: reports.len(), kind }),
            }
        }
        Recording { devices, reports, marks, bad_lines: vec![] }
    })
}

proptest! {
    #[test]
    fn what_is_written_is_read_back(recording in recording()) {
        let text = written(|to| recording.write(to).unwrap());
        prop_assert_eq!(Recording::parse(&text), Ok(recording));
    }

    #[test]
    fn no_text_panics(text in any::<String>()) {
        let _ = Recording::parse(&text);
    }

    #[test]
    fn no_damage_panics(
        recording in recording(),
        damage in prop::collection::vec((any::<prop::sample::Index>(), "[DNPIRE:. 0-9a-f\n]"), 0..20),
    ) {
        let mut letters: Vec<char> = written(|to| recording.write(to).unwrap()).chars().collect();
        for (place, letter) in damage {
            let place = place.index(letters.len());
            letters[place] = letter.chars().next().unwrap();
        }
        let text: String = letters.into_iter().collect();
        if let Ok(read) = Recording::parse(&text) {
            prop_assert!(read.reports.iter().all(|report| report.device < read.devices.len()));
            prop_assert!(read.reports.is_sorted_by_key(|report| report.at));
        }
    }
}
