use super::number;
use super::template::Encoder;
use crate::TrimReading;
use std::fmt::Write as _;
use std::io::Write as _;
use tallywheel_units::Timestamp;

const HEAD: &str = "{\"tallywheel\":1,\"sequence\":";
const TIME: &str = ",\"time_us\":";
const TRIMS: &str = ",\"trims\":{";
const POSITION: &str = ":{\"position\":";
const AXIS: &str = ",\"axis\":";
const DEGREES: &str = ",\"degrees\":";
const COUNTS: &str = ",\"counts\":";
const MARGIN: &str = ",\"margin\":";
const TAIL: &str = "}}";

/// Digits of `u64::MAX`.
const LONGEST_U64: usize = 20;
/// `-32767`.
const LONGEST_AXIS: usize = 6;
/// Characters of `i64::MIN`.
const LONGEST_COUNTS: usize = 20;
/// Brackets, comma and twice the digits of `i64::MAX`.
const LONGEST_MARGIN: usize = 2 * 19 + 3;

/// [`Template::Json`](crate::Template::Json).
#[derive(Debug)]
pub(super) struct Json {
    /// Each trim's name as a JSON string, quotes included.
    names: Vec<String>,
}

impl Json {
    pub(super) fn new<'a>(names: impl Iterator<Item = &'a str>) -> Self {
        Self { names: names.map(quoted).collect() }
    }
}

impl Encoder for Json {
    fn largest(&self) -> usize {
        let fixed = POSITION.len() + AXIS.len() + DEGREES.len() + COUNTS.len() + MARGIN.len();
        let numbers = 2 * number::LONGEST_JSON + LONGEST_AXIS + LONGEST_COUNTS + LONGEST_MARGIN;
        let trims: usize = self.names.iter().map(|name| name.len() + fixed + numbers + "},".len()).sum();
        HEAD.len() + TIME.len() + TRIMS.len() + 2 * LONGEST_U64 + trims + TAIL.len()
    }

    fn differs(&self, before: &TrimReading, after: &TrimReading) -> bool {
        before != after
    }

    fn encode(&self, sequence: u64, at: Timestamp, readings: &[TrimReading], into: &mut Vec<u8>) {
        // Writing to a Vec cannot fail.
        let _infallible = write!(into, "{HEAD}{sequence}{TIME}{}{TRIMS}", at.micros());
        for (place, (name, reading)) in self.names.iter().zip(readings).enumerate() {
            if place > 0 {
                into.push(b',');
            }
            let _infallible = write!(into, "{name}{POSITION}");
            number::json(reading.normalized.get(), into);
            let _infallible = write!(into, "{AXIS}{}{DEGREES}", reading.axis.get());
            number::json(reading.degrees.get(), into);
            let _infallible = write!(into, "{COUNTS}{}{MARGIN}", reading.counts.get());
            let margin = reading.margin;
            let _infallible = if margin.is_unknown() {
                into.write_all(b"null")
            } else {
                write!(into, "[{},{}]", margin.low().get(), margin.high().get())
            };
            into.push(b'}');
        }
        into.extend_from_slice(TAIL.as_bytes());
    }
}

/// `name` as a JSON string (RFC 8259, section 7: quote, backslash and U+0000..=U+001F must be escaped).
fn quoted(name: &str) -> String {
    let mut quoted = String::with_capacity(name.len() + 2);
    quoted.push('"');
    for c in name.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            '\0'..='\u{1f}' => {
                // Writing to a String cannot fail.
                let _infallible = write!(quoted, "\\u{:04x}", u32::from(c));
            }
            _ => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}
