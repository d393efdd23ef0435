use super::number;
use super::template::Encoder;
use crate::{ConfigProblem, TrimReading};
use tallywheel_units::Timestamp;

/// [`Template::Line`](crate::Template::Line).
#[derive(Debug)]
pub(super) struct Line {
    names: Vec<String>,
}

impl Line {
    pub(super) fn new<'a>(names: impl Iterator<Item = &'a str>) -> Result<Self, ConfigProblem> {
        let names = names.map(|name| {
            let breaks = name.is_empty() || name.chars().any(|c| c.is_whitespace() || c.is_control());
            if breaks { Err(ConfigProblem::NameInLine(name.to_owned())) } else { Ok(name.to_owned()) }
        });
        Ok(Self { names: names.collect::<Result<_, _>>()? })
    }
}

impl Encoder for Line {
    fn largest(&self) -> usize {
        // Each name is followed by a blank, each value by a blank or the newline.
        self.names.iter().map(|name| name.len() + 1 + number::LONGEST_DECIMAL + 1).sum()
    }

    fn differs(&self, before: &TrimReading, after: &TrimReading) -> bool {
        before.normalized != after.normalized
    }

    fn encode(&self, _sequence: u64, _at: Timestamp, readings: &[TrimReading], into: &mut Vec<u8>) {
        for (name, reading) in self.names.iter().zip(readings) {
            into.extend_from_slice(name.as_bytes());
            into.push(b' ');
            number::decimal(reading.normalized.get(), into);
            into.push(b' ');
        }
        into.pop();
        into.push(b'\n');
    }
}
