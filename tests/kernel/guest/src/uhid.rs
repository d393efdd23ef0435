//! A board by /dev/uhid: the kernel's HID core, hidraw and evdev treat it like any other.
//!
//! Layout of the messages: Linux `include/uapi/linux/uhid.h`; all of them packed, in the machine's byte order.

use std::fs::{File, OpenOptions};
use std::io::{Read, Write};
use std::sync::{Arc, Mutex};

use crate::Failure;
use crate::recording::Recording;

const DESTROY: u32 = 1;
const GET_REPORT: u32 = 9;
const GET_REPORT_REPLY: u32 = 10;
const CREATE2: u32 = 11;
const INPUT2: u32 = 12;
const SET_REPORT: u32 = 13;
const SET_REPORT_REPLY: u32 = 14;
const LARGEST_EVENT_BYTES: usize = 4380;
const BUS_USB: u16 = 3;
const EIO: u16 = 5;

/// A board that lives as long as this value and can be plugged and unplugged.
pub(crate) struct UhidBoard {
    device: File,
    create: Vec<u8>,
    message: Vec<u8>,
    last: Arc<Mutex<Vec<u8>>>,
}

impl UhidBoard {
    /// Opens /dev/uhid for the board of a recording; nothing is plugged yet.
    pub(crate) fn new(recording: &Recording, serial: &str) -> Result<Self, Failure> {
        let device = OpenOptions::new().read(true).write(true).open("/dev/uhid")?;
        let last = Arc::new(Mutex::new(Vec::new()));
        answer_requests(device.try_clone()?, Arc::clone(&last));
        Ok(Self { device, create: create_message(recording, serial)?, message: Vec::with_capacity(64), last })
    }

    pub(crate) fn plug(&mut self) -> Result<(), Failure> {
        Ok(self.device.write_all(&self.create)?)
    }

    pub(crate) fn unplug(&mut self) -> Result<(), Failure> {
        Ok(self.device.write_all(&DESTROY.to_ne_bytes())?)
    }

    /// Sends one report: one write call and nothing else between the caller's clock and the kernel.
    pub(crate) fn send(&mut self, report: &[u8]) -> Result<(), Failure> {
        self.prepare(report)?;
        self.send_prepared()
    }

    /// Lays out the message for `send_prepared`.
    pub(crate) fn prepare(&mut self, report: &[u8]) -> Result<(), Failure> {
        if let Ok(mut last) = self.last.lock() {
            last.clear();
            last.extend_from_slice(report);
        }
        self.message.clear();
        self.message.extend_from_slice(&INPUT2.to_ne_bytes());
        self.message.extend_from_slice(&u16::try_from(report.len())?.to_ne_bytes());
        self.message.extend_from_slice(report);
        Ok(())
    }

    pub(crate) fn send_prepared(&mut self) -> Result<(), Failure> {
        Ok(self.device.write_all(&self.message)?)
    }
}

fn create_message(recording: &Recording, serial: &str) -> Result<Vec<u8>, Failure> {
    let mut message = CREATE2.to_ne_bytes().to_vec();
    for (text, room) in [(recording.name.as_str(), 128), ("uhid", 64), (serial, 64)] {
        let mut field = text.as_bytes().to_vec();
        if field.len() >= room {
            return Err(format!("{text}: too long").into());
        }
        field.resize(room, 0);
        message.extend(field);
    }
    message.extend(u16::try_from(recording.descriptor.len())?.to_ne_bytes());
    message.extend(BUS_USB.to_ne_bytes());
    for number in [recording.vendor, recording.product, 0, 0] {
        message.extend(number.to_ne_bytes());
    }
    message.extend(&recording.descriptor);
    message.resize(LARGEST_EVENT_BYTES, 0);
    Ok(message)
}

/// The kernel waits five seconds for an answer to GET_REPORT and SET_REPORT, so they get one: the report sent last.
fn answer_requests(mut device: File, last: Arc<Mutex<Vec<u8>>>) {
    std::thread::spawn(move || {
        let mut event = vec![0_u8; LARGEST_EVENT_BYTES];
        while device.read(&mut event).is_ok() {
            let word = |at: usize| {
                event.get(at..at + 4).and_then(|four| four.try_into().ok()).map(u32::from_ne_bytes)
            };
            let (Some(kind), Some(id)) = (word(0), word(4)) else { continue };
            let mut answer = Vec::new();
            match kind {
                GET_REPORT => {
                    let report = last.lock().map(|bytes| bytes.clone()).unwrap_or_default();
                    answer.extend(GET_REPORT_REPLY.to_ne_bytes());
                    answer.extend(id.to_ne_bytes());
                    answer.extend((if report.is_empty() { EIO } else { 0 }).to_ne_bytes());
                    answer.extend(u16::try_from(report.len()).unwrap_or(0).to_ne_bytes());
                    answer.extend(report);
                }
                SET_REPORT => {
                    answer.extend(SET_REPORT_REPLY.to_ne_bytes());
                    answer.extend(id.to_ne_bytes());
                    answer.extend(EIO.to_ne_bytes());
                }
                _ => continue,
            }
            // A board that has just been unplugged needs no answer.
            let _ = device.write_all(&answer);
        }
    });
}
