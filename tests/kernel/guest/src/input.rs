//! The kernel's input devices as a consumer sees them.

use std::fs::{self, File};
use std::io::Read;
use std::path::PathBuf;

use crate::Failure;

/// `struct input_event` on a 64-bit machine: 16 bytes of time, u16 type, u16 code, i32 value (linux/input.h).
const EVENT_BYTES: usize = 24;
const EV_ABS: u16 = 3;

/// The /dev/input/eventN of the device with this name, if there is one.
pub(crate) fn event_node(name: &str) -> Option<PathBuf> {
    for entry in fs::read_dir("/sys/class/input").ok()?.flatten() {
        let node = entry.file_name().to_string_lossy().into_owned();
        let called = fs::read_to_string(entry.path().join("device/name")).unwrap_or_default();
        if node.starts_with("event") && called.trim_end() == name {
            return Some(PathBuf::from("/dev/input").join(node));
        }
    }
    None
}

/// Waits for the next packet and gives the code and value of the axis that moved last in it.
pub(crate) fn next_axis(events: &mut File, buffer: &mut [u8]) -> Result<Option<(u16, i32)>, Failure> {
    let length = events.read(buffer)?;
    let mut found = None;
    for event in buffer.get(..length).unwrap_or_default().chunks_exact(EVENT_BYTES) {
        if let &[kind0, kind1, code0, code1, v0, v1, v2, v3] = event.get(16..).unwrap_or_default()
            && u16::from_ne_bytes([kind0, kind1]) == EV_ABS
        {
            found = Some((u16::from_ne_bytes([code0, code1]), i32::from_ne_bytes([v0, v1, v2, v3])));
        }
    }
    Ok(found)
}
