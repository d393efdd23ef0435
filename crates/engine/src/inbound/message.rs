//! One datagram. No I/O.

use serde::Deserialize;
use std::collections::BTreeMap;
use tallywheel_units::Normalized;

/// The version of the layout.
const VERSION: u32 = 1;
/// The longest datagram that is looked at, in bytes.
pub const LONGEST_BYTES: usize = 4096;
/// The longest title in characters; titles are matched by patterns up to this length.
const LONGEST_TITLE: usize = 256;
/// The longest other text in characters.
const LONGEST_NAME: usize = 64;
/// The most trims.
const MOST_TRIMS: usize = 64;
/// How far beyond its ends a simulator's own rounding may take a value.
const ROUNDING: f64 = 1e-3;

/// What the simulator says. In a datagram:
///
/// ```json
/// {"tallywheel":1,"sequence":7,"session":"a3f1","title":"Kettrin 2","trims":{"rudder":0.25},"paused":false}
/// ```
/// `tallywheel`, the version of this layout, and `sequence`, a number that grows with every datagram, are needed;
/// everything else may be left out, and unknown keys are passed over. `session` is any text that is another one each
/// time the sender starts; without it the sender's address and port stand for it. `trims` are -1 at the low stop, 0
/// at neutral and 1 at the high stop, by the names of the aircraft file's trims. A datagram has 4096 bytes at most,
/// a title 256 characters, other texts 64.
#[derive(Debug, Clone, PartialEq)]
pub struct Message {
    /// A number that grows with every datagram of a session.
    pub sequence: u64,
    /// A text that is another one each time the sender starts, of at most 64 characters.
    pub session: Option<String>,
    /// The title of the simulator's aircraft, of at most 256 characters.
    pub title: Option<String>,
    /// The trims by name: -1 at the low stop, 0 at neutral, 1 at the high stop.
    pub trims: Vec<(String, Normalized)>,
    /// Whether the simulator is paused, where it says so.
    pub paused: Option<bool>,
}

/// Why a datagram says nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Garbage {
    /// Longer than [`LONGEST_BYTES`].
    #[error("it is longer than {LONGEST_BYTES} bytes")]
    TooLong,
    /// No JSON object with what is needed.
    #[error("it is not understood: {0}")]
    NotUnderstood(String),
    /// Another layout.
    #[error("it is of version {0}, and this program knows 1")]
    Version(u32),
    /// More or longer than anything sensible.
    #[error("its {0} is too long")]
    Excess(&'static str),
    /// Not from -1 to 1.
    #[error("trim {0} is not from -1 to 1")]
    Range(String),
}

#[derive(Deserialize)]
struct Datagram {
    tallywheel: u32,
    sequence: u64,
    session: Option<String>,
    title: Option<String>,
    #[serde(default)]
    trims: BTreeMap<String, f64>,
    paused: Option<bool>,
}

impl Message {
    /// From the bytes of a datagram.
    ///
    /// # Errors
    /// [`Garbage`]
    pub fn parse(bytes: &[u8]) -> Result<Self, Garbage> {
        if bytes.len() > LONGEST_BYTES {
            return Err(Garbage::TooLong);
        }
        let datagram: Datagram =
            serde_json::from_slice(bytes).map_err(|error| Garbage::NotUnderstood(error.to_string()))?;
        let Datagram { tallywheel, sequence, session, title, trims, paused } = datagram;
        if tallywheel != VERSION {
            return Err(Garbage::Version(tallywheel));
        }
        within(session.as_deref(), LONGEST_NAME, "session")?;
        within(title.as_deref(), LONGEST_TITLE, "title")?;
        if trims.len() > MOST_TRIMS {
            return Err(Garbage::Excess("list of trims"));
        }
        let mut values = Vec::with_capacity(trims.len());
        for (name, value) in trims {
            within(Some(&name), LONGEST_NAME, "name of a trim")?;
            if !(-1.0 - ROUNDING..=1.0 + ROUNDING).contains(&value) {
                return Err(Garbage::Range(name));
            }
            values.push((name, Normalized::clamped(value)));
        }
        Ok(Self { sequence, session, title, trims: values, paused })
    }
}

fn within(text: Option<&str>, most: usize, what: &'static str) -> Result<(), Garbage> {
    match text {
        Some(text) if text.chars().nth(most).is_some() => Err(Garbage::Excess(what)),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_needed_is_enough_and_all_is_read() {
        let least = Message::parse(b"{\"tallywheel\":1,\"sequence\":0}").unwrap();
        let none = Message { sequence: 0, session: None, title: None, trims: vec![], paused: None };
        assert_eq!(least, none);
        let text = "{\"tallywheel\":1,\"sequence\":7,\"session\":\"a3f1\",\"title\":\"Kettrin 2\",\
                    \"trims\":{\"rudder\":0.25,\"pitch\":-1.0000001},\"paused\":true,\"new\":[1]}";
        let all = Message::parse(text.as_bytes()).unwrap();
        assert_eq!(
            (all.sequence, all.session.as_deref(), all.title.as_deref()),
            (7, Some("a3f1"), Some("Kettrin 2"))
        );
        let trims: Vec<_> = all.trims.iter().map(|(name, value)| (name.as_str(), value.get())).collect();
        assert_eq!(trims, [("pitch", -1.0), ("rudder", 0.25)]);
        assert_eq!(all.paused, Some(true));
    }

    #[test]
    fn garbage_is_named() {
        let long = format!("{{\"tallywheel\":1,\"sequence\":1,\"title\":\"{}\"}}", "x".repeat(257));
        let longer = " ".repeat(4097);
        let many: Vec<_> = (0..65).map(|n| format!("\"{n}\":0")).collect();
        let many = format!("{{\"tallywheel\":1,\"sequence\":1,\"trims\":{{{}}}}}", many.join(","));
        for (text, part) in [
            ("", "not understood"),
            ("\u{0}\u{1}", "not understood"),
            ("[]", "not understood"),
            ("{\"tallywheel\":1}", "missing field `sequence`"),
            ("{\"tallywheel\":1,\"sequence\":-1}", "not understood"),
            ("{\"tallywheel\":1,\"sequence\":1,\"trims\":{\"a\":\"b\"}}", "not understood"),
            ("{\"tallywheel\":1,\"sequence\":1,\"trims\":{\"a\":1e999}}", "not understood"),
            ("{\"tallywheel\":1,\"sequence\":1,\"trims\":{\"a\":1.5}}", "trim a is not from -1 to 1"),
            ("{\"tallywheel\":2,\"sequence\":1}", "version 2"),
            (long.as_str(), "title is too long"),
            (longer.as_str(), "longer than 4096 bytes"),
            (many.as_str(), "list of trims is too long"),
        ] {
            let told = Message::parse(text.as_bytes()).unwrap_err().to_string();
            assert!(told.contains(part), "{text}: {told}");
        }
        assert!(Message::parse(b"\xff\xfe{}").is_err());
    }
}
