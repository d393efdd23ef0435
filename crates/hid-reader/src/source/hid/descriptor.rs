//! Where a board's report descriptor is to be had.

use hidapi::{HidApi, HidDevice, HidError, MAX_REPORT_DESCRIPTOR_SIZE};
use std::ffi::CStr;

/// Linux keeps every open board's descriptor, so without one the board is gone. Windows keeps none: hidapi
/// puts one together from what Windows made of it, and that may fail for a board that reads well.
pub(super) const ALWAYS_THERE: bool = cfg!(target_os = "linux");

/// Of a board that is open.
pub(super) fn opened(device: &HidDevice) -> Result<Vec<u8>, HidError> {
    let mut descriptor = vec![0; MAX_REPORT_DESCRIPTOR_SIZE];
    let length = device.get_report_descriptor(&mut descriptor)?;
    descriptor.truncate(length);
    Ok(descriptor)
}

/// Of a board that is not open, and perhaps may not be opened. Linux shows it to everyone in sysfs.
pub(super) fn unopened(api: &HidApi, path: &CStr) -> Result<Vec<u8>, HidError> {
    let name = path.to_str().ok().and_then(|path| path.strip_prefix("/dev/"));
    if cfg!(target_os = "linux")
        && let Some(name) = name
        && let Ok(descriptor) = std::fs::read(format!("/sys/class/hidraw/{name}/device/report_descriptor"))
    {
        return Ok(descriptor);
    }
    opened(&api.open_path(path)?)
}
