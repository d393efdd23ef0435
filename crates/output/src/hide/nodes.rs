use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

/// The event devices that belong to the board with that hidraw device, such as `/dev/hidraw3`, in order. `sys`
/// is where sysfs is, `/sys`.
///
/// `class/hidraw/hidraw3/device` is the HID device, and what the kernel made of it lies in
/// `input/input12/event7` below (`drivers/hid/hid-input.c` makes each input device a child of it).
pub(super) fn of_hidraw(sys: &Path, hidraw: &str) -> Vec<PathBuf> {
    let Some(name) = Path::new(hidraw).file_name() else { return vec![] };
    let inputs = sys.join("class/hidraw").join(name).join("device/input");
    let mut found: Vec<_> = below(&inputs, "input")
        .iter()
        .flat_map(|input| below(input, "event"))
        .filter_map(|event| event.file_name().map(|name| Path::new("/dev/input").join(name)))
        .collect();
    found.sort();
    found
}

fn below(folder: &Path, kind: &str) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return vec![] };
    let of_kind = |name: &OsStr| {
        let number = name.to_str().and_then(|name| name.strip_prefix(kind));
        number.is_some_and(|number| !number.is_empty() && number.bytes().all(|b| b.is_ascii_digit()))
    };
    entries.flatten().filter(|entry| of_kind(&entry.file_name())).map(|entry| entry.path()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_event_devices_below_the_hid_device_are_found() {
        let sys = std::env::temp_dir().join(format!("tallywheel-nodes-{}", std::process::id()));
        let device = sys.join("class/hidraw/hidraw3/device");
        for entry in ["input/input12/event7", "input/input12/js0", "input/input13/event8", "input/input12/id"]
        {
            fs::create_dir_all(device.join(entry)).unwrap();
        }
        fs::create_dir_all(sys.join("class/hidraw/hidraw4/device")).unwrap();
        let found = of_hidraw(&sys, "/dev/hidraw3");
        let none = [of_hidraw(&sys, "/dev/hidraw4"), of_hidraw(&sys, "/dev/hidraw5"), of_hidraw(&sys, "/")];
        fs::remove_dir_all(&sys).unwrap();
        assert_eq!(found, [Path::new("/dev/input/event7"), Path::new("/dev/input/event8")]);
        assert!(none.iter().all(Vec::is_empty));
    }
}
