use super::{Mark, MarkKind, RecordedDevice, Recording};
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
        self.select(device)?;
        let (seconds, micros) = (at.micros() / 1_000_000, at.micros() % 1_000_000);
        self.put(format_args!("E: {seconds:06}.{micros:06} {}", bytes.len()), bytes)
    }

    /// Writes that something happened to the device at `device` in the list.
    ///
    /// # Errors
    /// Those of writing.
    pub fn mark_of(&mut self, device: usize, at: Timestamp, kind: MarkKind) -> io::Result<()> {
        self.select(device)?;
        let (seconds, micros) = (at.micros() / 1_000_000, at.micros() % 1_000_000);
        match kind {
            MarkKind::Unplugged => self.put(format_args!("# unplugged {seconds:06}.{micros:06}"), &[]),
            MarkKind::Gap { reports } => {
                self.put(format_args!("# gap {seconds:06}.{micros:06} {reports}"), &[])
            }
        }
    }

    /// Writes a comment; a control character in it becomes a blank.
    ///
    /// # Errors
    /// Those of writing.
    pub fn comment(&mut self, text: &str) -> io::Result<()> {
        self.put(format_args!("# {}", OneLine(text)), &[])
    }

    /// What is written to.
    pub fn get_mut(&mut self) -> &mut W {
        &mut self.to
    }

    /// Gives back what was written to.
    pub fn into_inner(self) -> W {
        self.to
    }

    fn select(&mut self, device: usize) -> io::Result<()> {
        if self.devices > 1 && device != self.current {
            self.current = device;
            self.put(format_args!("D: {device}"), &[])?;
        }
        Ok(())
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
        let mut marks = self.marks.iter().peekable();
        for (place, report) in self.reports.iter().enumerate() {
            while let Some(Mark { device, at, kind, .. }) = marks.next_if(|mark| mark.before <= place) {
                writer.mark_of(*device, *at, *kind)?;
            }
            writer.report_of(report.device, report.at, &report.bytes)?;
        }
        marks.try_for_each(|mark| writer.mark_of(mark.device, mark.at, mark.kind))
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
