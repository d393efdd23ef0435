use super::{BadLine, Mark, MarkKind, RecordedDevice, RecordedReport, Recording, RecordingError};
use crate::REPORT_BYTES_MAX;
use std::time::Duration;
use tallywheel_units::Timestamp;

/// The longest descriptor that the kernel knows.
const DESCRIPTOR_BYTES: usize = 4096;
/// More boards than anyone records at once; a `D:` line with noise in it must not ask for memory.
const DEVICES: usize = 64;
const DAY: Duration = Duration::from_secs(24 * 60 * 60);

struct Parser {
    recording: Recording,
    /// The devices' numbers in the file, in the order of `recording.devices`.
    numbers: Vec<u64>,
    current: usize,
    /// What to add to the file's clock after it went round.
    days: Duration,
    latest: Timestamp,
}

const BACKWARDS: &str = "the time runs backwards; taken as that of the report before";

type Taken = Result<(), &'static str>;

pub(super) fn recording(text: &str) -> Result<Recording, RecordingError> {
    let mut parser = Parser {
        recording: Recording::default(),
        numbers: Vec::new(),
        current: 0,
        days: Duration::ZERO,
        latest: Timestamp::START,
    };
    for (place, line) in text.lines().enumerate() {
        if let Err(reason) = parser.line(line) {
            parser.recording.bad_lines.push(BadLine { line: place + 1, reason });
        }
    }
    if parser.recording.devices.is_empty() {
        return Err(RecordingError::NotARecording);
    }
    Ok(parser.recording)
}

impl Parser {
    fn line(&mut self, line: &str) -> Taken {
        if let Some(comment) = line.strip_prefix('#') {
            return self.remark(comment);
        }
        if line.trim().is_empty() {
            return Ok(());
        }
        let mut letters = line.chars();
        let (Some(letter), Some(':')) = (letters.next(), letters.next()) else {
            return Err("neither a comment nor a letter with a colon");
        };
        let payload = letters.as_str();
        let payload = payload.strip_prefix(' ').unwrap_or(payload);
        match letter {
            'D' => self.select(payload),
            'N' => self.device().map(|device| payload.clone_into(&mut device.name)),
            'P' => self.device().map(|device| device.phys = Some(payload.to_owned())),
            'I' => {
                let (bus, vendor, product) = ids(payload).ok_or("not bus, vendor and product in hex")?;
                self.device()
                    .map(|device| (device.bus, device.vendor, device.product) = (bus, vendor, product))
            }
            'R' => {
                let descriptor = bytes(payload, DESCRIPTOR_BYTES)?;
                self.device().map(|device| device.descriptor = descriptor)
            }
            'E' => self.report(payload),
            _ => Ok(()),
        }
    }

    fn select(&mut self, payload: &str) -> Taken {
        let number = payload.trim().parse().map_err(|_| "not a device's number")?;
        self.device_numbered(number)
    }

    fn device_numbered(&mut self, number: u64) -> Taken {
        if let Some(place) = self.numbers.iter().position(|known| *known == number) {
            self.current = place;
            return Ok(());
        }
        if self.numbers.len() >= DEVICES {
            return Err("more than 64 devices");
        }
        self.current = self.numbers.len();
        self.numbers.push(number);
        self.recording.devices.push(RecordedDevice::default());
        Ok(())
    }

    /// The device that lines are about; the first one where no `D:` line came before.
    fn device(&mut self) -> Result<&mut RecordedDevice, &'static str> {
        if self.numbers.is_empty() {
            self.device_numbered(0)?;
        }
        self.recording.devices.get_mut(self.current).ok_or("no such device")
    }

    /// `at` on a clock that never goes round; in whole microseconds even at the end of all time.
    fn moment(&self, at: Timestamp) -> Timestamp {
        Timestamp::from_micros(at.after(self.days).micros())
    }

    /// A comment is anything at all; only one that has exactly the form of a mark is one.
    fn remark(&mut self, comment: &str) -> Taken {
        let mut words = comment.split_whitespace();
        let kind = words.next();
        let Some(at) = words.next().and_then(time_of) else { return Ok(()) };
        let number = words.next();
        let kind = match (kind, number) {
            (Some("unplugged"), None) => MarkKind::Unplugged,
            (Some("gap"), Some(reports)) => match reports.parse() {
                Ok(reports) => MarkKind::Gap { reports },
                Err(_) => return Ok(()),
            },
            _ => return Ok(()),
        };
        if words.next().is_some() || self.numbers.is_empty() {
            return Ok(());
        }
        let (at, backwards) = self.pass(at);
        let before = self.recording.reports.len();
        self.recording.marks.push(Mark { device: self.current, at, before, kind });
        if backwards { Err(BACKWARDS) } else { Ok(()) }
    }

    fn report(&mut self, payload: &str) -> Taken {
        let (time, rest) = payload.split_once(' ').ok_or("a report without bytes")?;
        let at = time_of(time).ok_or("not a time as seconds and six digits of microseconds")?;
        let bytes = bytes(rest, REPORT_BYTES_MAX)?;
        self.device()?;
        let (at, backwards) = self.pass(at);
        self.recording.reports.push(RecordedReport { device: self.current, at, bytes });
        if backwards { Err(BACKWARDS) } else { Ok(()) }
    }

    /// Takes the file's time `at` as the latest; says whether it was earlier than the one before.
    fn pass(&mut self, at: Timestamp) -> (Timestamp, bool) {
        // hid-recorder's clock starts again at 0 after a day.
        let mut moment = self.moment(at);
        if self.latest.since(moment) > DAY / 2 {
            self.days = self.days.saturating_add(DAY);
            moment = self.moment(at);
        }
        let backwards = moment < self.latest;
        self.latest = self.latest.max(moment);
        (self.latest, backwards)
    }
}

fn ids(payload: &str) -> Option<(u16, u16, u16)> {
    let mut fields = payload.split_whitespace().map(|field| u16::from_str_radix(field, 16).ok());
    let ids = (fields.next()??, fields.next()??, fields.next()??);
    fields.next().is_none().then_some(ids)
}

/// Six digits of microseconds and no fewer: one reader takes `.5` for half a second, another for 5 us.
fn time_of(text: &str) -> Option<Timestamp> {
    let (seconds, micros) = text.split_once('.')?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    if !digits(seconds) || !digits(micros) || micros.len() != 6 {
        return None;
    }
    let micros = seconds.parse::<u64>().ok()?.checked_mul(1_000_000)?.checked_add(micros.parse().ok()?)?;
    micros.checked_mul(1_000).map(Timestamp::from_nanos)
}

fn bytes(payload: &str, most: usize) -> Result<Vec<u8>, &'static str> {
    let mut fields = payload.split_whitespace();
    let length: usize =
        fields.next().and_then(|field| field.parse().ok()).ok_or("a length that is no number")?;
    if length > most {
        return Err("longer than the kernel allows");
    }
    let mut bytes = Vec::with_capacity(length);
    for field in fields {
        // from_str_radix takes a sign, which is no hex digit.
        let byte = if field.len() <= 2 && !field.starts_with('+') { field } else { "" };
        bytes.push(u8::from_str_radix(byte, 16).map_err(|_| "a byte that is not two hex digits")?);
        if bytes.len() > length {
            return Err("more bytes than its length says");
        }
    }
    if bytes.len() < length { Err("fewer bytes than its length says") } else { Ok(bytes) }
}
