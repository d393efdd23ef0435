//! The text of a saved position. No I/O.
//!
//! One line of JSON and one with its CRC-32 (IEEE 802.3, as in gzip, RFC 1952), so that what a crash left half
//! written is told from what was meant:
//!
//! ```text
//! {"tallywheel_positions":1,"sequence":7,"trims":{"rudder":{"degrees":320.5,"margin":[-1,2]}}}
//! crc32 0123abcd
//! ```

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use tallywheel_units::{Counts, Degrees, Margin};

/// The version of the text.
const VERSION: u32 = 1;

/// Where the trims of one aircraft are.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Positions {
    /// Rises with every writing.
    pub sequence: u64,
    /// The trims by name.
    pub trims: BTreeMap<String, Place>,
}

/// Where one trim is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// From the low stop.
    pub degrees: Degrees,
    /// How sure that was.
    pub margin: Margin,
}

/// Why a text is no saved position.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Damage {
    /// The checksum is missing.
    #[error("it is cut off")]
    CutOff,
    /// The checksum is another one.
    #[error("its checksum does not match")]
    Checksum,
    /// It was written whole, by something else.
    #[error("it is not understood: {0}")]
    Foreign(String),
    /// The system does not let us read it.
    #[error("it cannot be read: {0}")]
    Unreadable(String),
}

#[derive(Serialize, Deserialize)]
struct Document {
    tallywheel_positions: u32,
    sequence: u64,
    trims: BTreeMap<String, Trim>,
}

#[derive(Serialize, Deserialize)]
struct Trim {
    degrees: f64,
    /// None where nothing is known.
    margin: Option<[i64; 2]>,
}

impl Positions {
    /// The text to write.
    #[must_use]
    pub fn to_text(&self) -> String {
        let trims = self.trims.iter().map(|(name, place)| {
            let margin = place.margin;
            let margin = (!margin.is_unknown()).then(|| [margin.low().get(), margin.high().get()]);
            (name.clone(), Trim { degrees: place.degrees.get(), margin })
        });
        let document =
            Document { tallywheel_positions: VERSION, sequence: self.sequence, trims: trims.collect() };
        // Strings and finite numbers always can be written.
        let line = serde_json::to_string(&document).unwrap_or_default();
        format!("{line}\ncrc32 {:08x}\n", crc32fast::hash(line.as_bytes()))
    }

    /// From what was written.
    ///
    /// # Errors
    /// [`Damage`]
    pub fn from_text(text: &[u8]) -> Result<Self, Damage> {
        let end = text.iter().position(|byte| *byte == b'\n').ok_or(Damage::CutOff)?;
        let (line, rest) = text.split_at(end);
        let said = rest.strip_prefix(b"\ncrc32 ").and_then(|rest| rest.strip_suffix(b"\n"));
        let said = said.ok_or(Damage::CutOff)?;
        if said != format!("{:08x}", crc32fast::hash(line)).as_bytes() {
            return Err(Damage::Checksum);
        }
        let document: Document =
            serde_json::from_slice(line).map_err(|error| Damage::Foreign(error.to_string()))?;
        if document.tallywheel_positions != VERSION {
            return Err(Damage::Foreign(format!("version {}", document.tallywheel_positions)));
        }
        let mut trims = BTreeMap::new();
        for (name, Trim { degrees, margin }) in document.trims {
            let degrees =
                Degrees::new(degrees).ok_or_else(|| Damage::Foreign(format!("{degrees} degrees")))?;
            let margin = margin
                .map_or(Margin::UNKNOWN, |[low, high]| Margin::new(Counts::new(low), Counts::new(high)));
            trims.insert(name, Place { degrees, margin });
        }
        Ok(Self { sequence: document.sequence, trims })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn positions() -> Positions {
        let place = |degrees: f64, margin| Place { degrees: Degrees::new(degrees).unwrap(), margin };
        let margin = Margin::new(Counts::new(-1), Counts::new(2));
        let trims = [("rudder", place(320.5, margin)), ("\"el\u{e9}v\n", place(1.0 / 3.0, Margin::UNKNOWN))];
        Positions { sequence: 7, trims: trims.map(|(name, place)| (name.to_owned(), place)).into() }
    }

    #[test]
    fn the_text_reads_back() {
        let text = positions().to_text();
        assert_eq!(Positions::from_text(text.as_bytes()), Ok(positions()), "{text}");
        let none = Positions::default();
        assert_eq!(Positions::from_text(none.to_text().as_bytes()), Ok(none));
    }

    /// The check value of CRC-32 (IEEE 802.3): that of the nine digits, as in the ITU-T V.42 / ISO 3309 polynomial's
    /// published tables of check values.
    #[test]
    fn the_checksum_is_the_published_one() {
        assert_eq!(crc32fast::hash(b"123456789"), 0xCBF4_3926);
    }

    #[test]
    fn every_cut_and_every_wrong_byte_is_noticed() {
        let text = positions().to_text().into_bytes();
        for length in 0..text.len() {
            assert!(Positions::from_text(&text[..length]).is_err(), "{length} bytes");
        }
        for place in 0..text.len() {
            for flip in 1..=255 {
                let mut wrong = text.clone();
                wrong[place] ^= flip;
                assert!(Positions::from_text(&wrong).is_err(), "byte {place} as {}", wrong[place]);
            }
        }
        let more = [text.as_slice(), b"x"].concat();
        assert!(Positions::from_text(&more).is_err());
    }

    #[test]
    fn what_is_whole_and_not_ours_is_not_taken() {
        let with = |line: &str| {
            Positions::from_text(
                format!("{line}\ncrc32 {:08x}\n", crc32fast::hash(line.as_bytes())).as_bytes(),
            )
        };
        for line in [
            "{}",
            "[]",
            "{\"tallywheel_positions\":2,\"sequence\":1,\"trims\":{}}",
            "{\"tallywheel_positions\":1,\"sequence\":1,\"trims\":{\"a\":{\"degrees\":1e999,\"margin\":null}}}",
        ] {
            assert!(matches!(with(line), Err(Damage::Foreign(_))), "{line}");
        }
    }
}
