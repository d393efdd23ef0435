use super::access;
use super::descriptor;
use super::find::Candidate;
use crate::recording::RecordedDevice;
use crate::source::{ReportSource, SourceError};
use hidapi::{HidApi, HidDevice, HidError};
use std::io;
use std::time::Duration;

/// A board that is open. Dropping it closes it; while it is open, the same board plugged in again gets
/// another path, so drop it as soon as it says [`SourceError::Reopen`].
#[derive(Debug)]
pub struct OpenBoard {
    device: HidDevice,
    path: String,
    name: String,
    descriptor: Vec<u8>,
    vendor: u16,
    product: u16,
    bus: u16,
}

pub(super) fn open(api: &HidApi, candidate: Candidate) -> Result<OpenBoard, SourceError> {
    let path = candidate.path().into_owned();
    let device =
        api.open_path(&candidate.path).map_err(|error| access::why_not(&path, &error.to_string()))?;
    let descriptor = match descriptor::opened(&device) {
        Ok(descriptor) => descriptor,
        Err(error) if descriptor::ALWAYS_THERE => {
            return Err(SourceError::Reopen { reason: error.to_string() });
        }
        Err(_) => Vec::new(),
    };
    let Candidate { name, vendor, product, bus, .. } = candidate;
    Ok(OpenBoard { device, path, name, descriptor, vendor, product, bus })
}

impl OpenBoard {
    /// Its report descriptor; empty where the system does not hand it out.
    #[must_use]
    pub fn descriptor(&self) -> &[u8] {
        &self.descriptor
    }

    /// Its device node.
    #[must_use]
    pub fn path(&self) -> &str {
        &self.path
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// USB vendor.
    #[must_use]
    pub fn vendor(&self) -> u16 {
        self.vendor
    }

    /// USB product.
    #[must_use]
    pub fn product(&self) -> u16 {
        self.product
    }

    /// What a recording says about it. Where it is plugged in is nobody else's business and stays out.
    #[must_use]
    pub fn recorded(&self) -> RecordedDevice {
        RecordedDevice {
            name: self.name.clone(),
            phys: None,
            bus: self.bus,
            vendor: self.vendor,
            product: self.product,
            descriptor: self.descriptor.clone(),
        }
    }
}

impl ReportSource for OpenBoard {
    /// On Linux one `poll` and one `read` a report, and nothing while there is none.
    fn read(&mut self, buffer: &mut [u8], wait: Option<Duration>) -> Result<usize, SourceError> {
        match self.device.read_timeout(buffer, milliseconds(wait)) {
            Ok(length) => Ok(length),
            Err(HidError::IoError { error }) if error.kind() == io::ErrorKind::Interrupted => Ok(0),
            // Which error an unplugged board gives differs from backend to backend and from moment to
            // moment, so every other one means that it is gone.
            Err(error) => Err(SourceError::Reopen { reason: error.to_string() }),
        }
    }
}

/// As hidapi wants it: -1 is for ever. Rounded up, so that a wait never ends early.
fn milliseconds(wait: Option<Duration>) -> i32 {
    wait.map_or(-1, |wait| i32::try_from(wait.as_nanos().div_ceil(1_000_000)).unwrap_or(i32::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_are_rounded_up_and_none_is_for_ever() {
        assert_eq!(milliseconds(None), -1);
        assert_eq!(milliseconds(Some(Duration::ZERO)), 0);
        assert_eq!(milliseconds(Some(Duration::from_nanos(1))), 1);
        assert_eq!(milliseconds(Some(Duration::from_millis(250))), 250);
        assert_eq!(milliseconds(Some(Duration::MAX)), i32::MAX);
    }
}
