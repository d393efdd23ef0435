//! A board by the USB gadget framework on dummy_hcd: the path through usbcore and usbhid that a real cable takes.
//!
//! Steps: Linux `Documentation/usb/gadget_configfs.rst` and `Documentation/usb/gadget_hid.rst`.

use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use crate::Failure;
use crate::recording::Recording;

/// The one controller that dummy_hcd offers.
const CONTROLLER: &str = "dummy_udc.0";

/// A board on the machine's own pretended USB bus.
pub(crate) struct GadgetBoard {
    folder: PathBuf,
    device: Option<File>,
}

impl GadgetBoard {
    /// Describes the board to the kernel; nothing is plugged yet. configfs must be mounted on its usual place.
    pub(crate) fn new(recording: &Recording, serial: &str) -> Result<Self, Failure> {
        let folder = Path::new("/sys/kernel/config/usb_gadget/board").to_path_buf();
        let strings = folder.join("strings/0x409");
        let function = folder.join("functions/hid.0");
        let config = folder.join("configs/c.1");
        for part in [&strings, &function, &config] {
            fs::create_dir_all(part)?;
        }
        let longest = recording.reports.iter().map(|report| report.bytes.len()).max().unwrap_or(64);
        fs::write(folder.join("idVendor"), format!("{:#06x}", recording.vendor))?;
        fs::write(folder.join("idProduct"), format!("{:#06x}", recording.product))?;
        fs::write(strings.join("manufacturer"), "Bench")?;
        fs::write(strings.join("product"), &recording.name)?;
        fs::write(strings.join("serialnumber"), serial)?;
        fs::write(function.join("protocol"), "0")?;
        fs::write(function.join("subclass"), "0")?;
        fs::write(function.join("report_length"), longest.to_string())?;
        fs::write(function.join("report_desc"), &recording.descriptor)?;
        std::os::unix::fs::symlink(&function, config.join("hid.0"))?;
        Ok(Self { folder, device: None })
    }

    pub(crate) fn plug(&mut self) -> Result<(), Failure> {
        fs::write(self.folder.join("UDC"), CONTROLLER)?;
        // Not O_NONBLOCK: a write waits until the host has polled the report before.
        self.device = Some(OpenOptions::new().write(true).open("/dev/hidg0")?);
        Ok(())
    }

    pub(crate) fn unplug(&mut self) -> Result<(), Failure> {
        self.device = None;
        Ok(fs::write(self.folder.join("UDC"), "\n")?)
    }

    pub(crate) fn send(&mut self, report: &[u8]) -> Result<(), Failure> {
        let device = self.device.as_mut().ok_or("not plugged")?;
        Ok(device.write_all(report)?)
    }
}
