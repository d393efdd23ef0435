//! Reads the hid-recorder text format as far as a player needs it: one device, its descriptor, its reports.
//!
//! Format: hid-tools, man/hid-recorder.md. Written apart from the product's own parser on purpose.

use std::time::Duration;

use crate::Failure;

/// A board and what it once said.
pub(crate) struct Recording {
    pub(crate) name: String,
    pub(crate) vendor: u32,
    pub(crate) product: u32,
    pub(crate) descriptor: Vec<u8>,
    pub(crate) reports: Vec<Report>,
}

/// One report and when it was sent, counted from the recording's start.
pub(crate) struct Report {
    pub(crate) at: Duration,
    pub(crate) bytes: Vec<u8>,
}

impl Recording {
    /// Reads a recording from a file; any line that is not understood is an error, as the tests write these files.
    pub(crate) fn load(path: &str) -> Result<Self, Failure> {
        let mut made =
            Self { name: String::new(), vendor: 0, product: 0, descriptor: Vec::new(), reports: Vec::new() };
        for line in std::fs::read_to_string(path)?.lines() {
            let (tag, rest) = line.split_once(' ').unwrap_or((line, ""));
            match tag {
                "N:" => made.name = rest.to_owned(),
                "I:" => {
                    let ids: Result<Vec<u32>, _> =
                        rest.split_whitespace().map(|word| u32::from_str_radix(word, 16)).collect();
                    let &[_bus, vendor, product] = ids?.as_slice() else { return Err(line.into()) };
                    (made.vendor, made.product) = (vendor, product);
                }
                "R:" => made.descriptor = bytes(rest)?,
                "E:" => {
                    let (time, data) = rest.split_once(' ').ok_or(line)?;
                    let (seconds, micros) = time.split_once('.').ok_or(line)?;
                    let at = Duration::from_secs(seconds.parse()?) + Duration::from_micros(micros.parse()?);
                    made.reports.push(Report { at, bytes: bytes(data)? });
                }
                "P:" | "#" | "" => {}
                _ => return Err(format!("recording: {line}").into()),
            }
        }
        Ok(made)
    }
}

/// `LEN HEX HEX...`
fn bytes(text: &str) -> Result<Vec<u8>, Failure> {
    let mut words = text.split_whitespace();
    let length: usize = words.next().ok_or("no length")?.parse()?;
    let bytes: Vec<u8> = words.map(|word| u8::from_str_radix(word, 16)).collect::<Result<_, _>>()?;
    if bytes.len() == length { Ok(bytes) } else { Err(format!("length: {text}").into()) }
}
