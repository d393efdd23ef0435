use super::{RecordedDevice, Recording};
use std::io::{self, Write};
use tallywheel_units::Timestamp;

/// Writes a recording as it comes, one write per line, so that what has been recorded is in the file even if
/// the program ends badly. The caller buffers if that is too many writes.
#[derive(Debug)]
pub struct RecordingWriter<W> {
    to: W,
    line: Vec<u8>,
    devices: usize,
    /// The device that the last line was about.
    current: usize,
}

impl<W: Write> RecordingWriter<W> {
    /// Starts a recording of one device and writes what it is.
    ///
    /// # Errors
    /// Those of writing to `to`.
    pub fn new(to: W, device: &RecordedDevice) -> io::Result<Self> {
        Self::several(to, std::slice::from_ref(device))
    }

    /// Starts a recording of several devices. With one the file has no `D:` lines, which not every reader
    /// of the format takes.
    ///
    /// # Errors
    /// Those of writing to `to`.
    pub fn several(to: W, devices: &[RecordedDevice]) -> io::Result<Self> {
        let mut writer = Self { to, line: Vec::new(), devices: devices.len(), current: 0 };
        for (place, device) in devices.iter().enumerate() {
            writer.current = place;
            if devices.len() > 1 {
                writer.put(format_args!("D: {place}"), &[])?;
            }
            writer.describe(device)?;
        }
        Ok(writer)
    }

    /// Writes a report of the only device, or of the first. Times are cut off to whole microseconds.
    ///
    /// # Errors
    /// Those of writing.
    pub fn report(&mut self, at: Timestamp, bytes: &[u8]) -> io::Result<()> {
        self.report_of(0, at, bytes)
    }

    /// Writes a report of the device at `device` in the list.
    ///
    /// # Errors
    /// Those of writing.
    pub fn report_of(&mut self, device: usize, at: Timestamp, bytes: &[u8]) -> io::Result<()> {
        if self.devices > 1 && device != self.current {
            self.current = device;
            self.put(format_args!("D: {device}"), &[])?;
        }
        let (seconds, micros) = (at.micros() / 1_000_000, at.micros() % 1_000_000);
        self.put(format_args!("E: {seconds:06}.{micros:06} {}", bytes.len()), bytes)
    }

    /// Gives back what was written to.
    pub fn into_inner(self) -> W {
        self.to
    }

    /// In the order in which hid-recorder writes it. What is empty is left out: its readers stop at a letter
    /// without a payload.
    fn describe(&mut self, device: &RecordedDevice) -> io::Result<()> {
        let RecordedDevice { name, phys, bus, vendor, product, descriptor } = device;
        if !descriptor.is_empty() {
            self.put(format_args!("R: {}", descriptor.len()), descriptor)?;
        }
        if !name.is_empty() {
            self.put(format_args!("N: {}", OneLine(name)), &[])?;
        }
        if let Some(phys) = phys {
            self.put(format_args!("P: {}", OneLine(phys)), &[])?;
        }
        self.put(format_args!("I: {bus:x} {vendor:04x} {product:04x}"), &[])
    }

    fn put(&mut self, head: std::fmt::Arguments<'_>, bytes: &[u8]) -> io::Result<()> {
        self.line.clear();
        self.line.write_fmt(head)?;
        for byte in bytes {
            write!(self.line, " {byte:02x}")?;
        }
        self.line.push(b'\n');
        self.to.write_all(&self.line)
    }
}

impl Recording {
    /// Writes the whole recording; [`Recording::parse`] gives the same back, bad lines apart.
    ///
    /// # Errors
    /// Those of writing to `to`.
    pub fn write(&self, to: impl Write) -> io::Result<()> {
        let mut writer = RecordingWriter::several(to, &self.devices)?;
        self.reports.iter().try_for_each(|report| writer.report_of(report.device, report.at, &report.bytes))
    }
}

/// A name as it can stand on one line: a control character in it becomes a blank.
struct OneLine<'a>(&'a str);

impl std::fmt::Display for OneLine<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mut letters = self.0.chars();
        letters.try_for_each(|letter| {
            std::fmt::Write::write_char(f, if letter.is_control() { ' ' } else { letter })
        })
    }
}
