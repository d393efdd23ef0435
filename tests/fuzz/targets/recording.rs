//! Any text gives a recording or an error; what a recording holds can be written and read again.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tallywheel_hid_reader::{Recording, RecordingWriter};

fuzz_target!(|data: &[u8]| {
    let Ok(recording) = Recording::parse(&String::from_utf8_lossy(data)) else { return };
    assert!(!recording.devices.is_empty());
    assert!(recording.reports.windows(2).all(|pair| pair[0].at <= pair[1].at), "time runs backwards");
    assert!(recording.reports.iter().all(|report| report.device < recording.devices.len()));
    let [device] = recording.devices.as_slice() else { return };
    let mut text = Vec::new();
    let mut writer = RecordingWriter::new(&mut text, device).unwrap();
    for report in &recording.reports {
        writer.report(report.at, &report.bytes).unwrap();
    }
    let again = Recording::parse(std::str::from_utf8(&text).unwrap()).unwrap();
    assert_eq!(again.reports, recording.reports);
});
