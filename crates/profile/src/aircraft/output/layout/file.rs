//! What a field of a `layout` may say. The doc comments here are the one description of its keys.

use super::super::file::RangeEnd;
use crate::names::Name;
use crate::read::{Key, List, Setting};
use serde::Deserialize;
use tallywheel_units::{ByteOrder, NumberKind, Scale, TextForm};

/// One field of a datagram: text, a number or padding. It has one of the keys `text`, `trim`, `value`, `number` and
/// `pad_to`, or `trim` and `value`.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct FieldFile {
    /// This text, in UTF-8. `\u0000` is a zero byte, `\n` a newline.
    pub(crate) text: Key<Text>,
    /// The trim whose number is sent, by its name.
    pub(crate) trim: Key<Name>,
    /// With `trim`: which of its numbers, `"position"`, the default, in the range, `"axis"`, the position as -32767 to
    /// 32767, `"degrees"` from the low stop, or `"counts"`. Without: `"sequence"`, how many datagrams this output sent
    /// before, `"time_s"` or `"time_us"`, seconds or microseconds since 1970-01-01 UTC, later in every datagram.
    pub(crate) value: Key<FieldValue>,
    /// This number.
    pub(crate) number: Key<Constant>,
    /// For a position: what it becomes at the low stop and at the high stop. Default: the output's `range`.
    pub(crate) range: List<RangeEnd>,
    /// For a position: whether its range is the other way round. Default: the output's `reversed` where there is no
    /// `range` here, otherwise false.
    pub(crate) reversed: Key<bool>,
    /// For a number as bytes: `"i8"`, `"u8"`, `"i16"`, `"u16"`, `"i32"`, `"u32"`, `"i64"` or `"u64"`, rounded and held
    /// within the ends of the type, or `"f32"` or `"f64"`. Default: it is text.
    pub(crate) r#type: Key<NumberKind>,
    /// For a number as bytes: `"little"`, the default, or `"big"`: which end comes first.
    pub(crate) byte_order: Key<ByteOrder>,
    /// For a number as text: digits after the point, 0 to 15. Default: as many as it needs, at most nine; six for
    /// seconds. `axis`, `counts`, `sequence` and `time_us` have none.
    pub(crate) digits: Key<Digits>,
    /// For a number as text: the least number of characters, 1 to 64. Default: as many as it needs.
    pub(crate) width: Key<Width>,
    /// For a number as text: whether `width` is filled with zeros after the sign and not with blanks before it. Default
    /// false.
    pub(crate) leading_zeros: Key<bool>,
    /// For a number as text: whether a plus sign stands before what is not negative. Default false.
    pub(crate) plus_sign: Key<bool>,
    /// Fills up so that the datagram has this many bytes here, 1 to 1400.
    pub(crate) pad_to: Key<PadTo>,
    /// With `pad_to`: the byte to fill up with, 0 to 255; a blank is 32. Default 0.
    pub(crate) pad_with: Key<Byte>,
}

/// Text to send.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Text(pub(crate) String);

impl Setting for Text {
    const EXPECTED: &'static str = "text, at least one character";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "string", "minLength": 1 })
    }

    fn from_text(text: &str) -> Option<Self> {
        (!text.is_empty()).then(|| Self(text.to_owned()))
    }
}

/// Which number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum FieldValue {
    Position,
    Axis,
    Degrees,
    Counts,
    Sequence,
    Seconds,
    Micros,
}

impl Setting for FieldValue {
    const EXPECTED: &'static str =
        "\"position\", \"axis\", \"degrees\", \"counts\", \"sequence\", \"time_s\" or \"time_us\"";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "enum": ["position", "axis", "degrees", "counts", "sequence", "time_s", "time_us"] })
    }

    fn from_text(text: &str) -> Option<Self> {
        match text {
            "position" => Some(Self::Position),
            "axis" => Some(Self::Axis),
            "degrees" => Some(Self::Degrees),
            "counts" => Some(Self::Counts),
            "sequence" => Some(Self::Sequence),
            "time_s" => Some(Self::Seconds),
            "time_us" => Some(Self::Micros),
            _ => None,
        }
    }
}

/// A number that never changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Constant(pub(crate) f64);

impl Setting for Constant {
    const EXPECTED: &'static str = "a number from -1000000000 to 1000000000";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "number", "minimum": -1_000_000_000, "maximum": 1_000_000_000 })
    }

    fn from_number(number: f64) -> Option<Self> {
        (number.abs() <= Scale::FARTHEST).then_some(Self(number))
    }
}

impl Setting for NumberKind {
    const EXPECTED: &'static str =
        "\"i8\", \"u8\", \"i16\", \"u16\", \"i32\", \"u32\", \"i64\", \"u64\", \"f32\" or \"f64\"";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "enum": Self::ALL.map(Self::name) })
    }

    fn from_text(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == text)
    }
}

impl Setting for ByteOrder {
    const EXPECTED: &'static str = "\"little\" or \"big\"";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "enum": ["little", "big"] })
    }

    fn from_text(text: &str) -> Option<Self> {
        match text {
            "little" => Some(Self::Little),
            "big" => Some(Self::Big),
            _ => None,
        }
    }
}

/// Digits after the point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Digits(pub(crate) u8);

impl Setting for Digits {
    const EXPECTED: &'static str = "a whole number from 0 to 15";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "integer", "minimum": 0, "maximum": 15 })
    }

    fn from_whole(number: i64) -> Option<Self> {
        u8::try_from(number).ok().filter(|digits| *digits <= TextForm::MOST_DIGITS).map(Self)
    }
}

/// The least number of characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Width(pub(crate) u8);

impl Setting for Width {
    const EXPECTED: &'static str = "a whole number from 1 to 64";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "integer", "minimum": 1, "maximum": 64 })
    }

    fn from_whole(number: i64) -> Option<Self> {
        u8::try_from(number).ok().filter(|width| (1..=TextForm::WIDEST).contains(width)).map(Self)
    }
}

/// Bytes of a datagram.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct PadTo(pub(crate) usize);

impl Setting for PadTo {
    const EXPECTED: &'static str = "a whole number from 1 to 1400";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "integer", "minimum": 1, "maximum": 1400 })
    }

    fn from_whole(number: i64) -> Option<Self> {
        usize::try_from(number).ok().filter(|bytes| (1..=1_400).contains(bytes)).map(Self)
    }
}

/// One byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Byte(pub(crate) u8);

impl Setting for Byte {
    const EXPECTED: &'static str = "a whole number from 0 to 255";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "integer", "minimum": 0, "maximum": 255 })
    }

    fn from_whole(number: i64) -> Option<Self> {
        u8::try_from(number).ok().map(Self)
    }
}
