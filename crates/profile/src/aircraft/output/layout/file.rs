//! What a field of a `layout` may say. The doc comments here are the one description of its keys.

use super::super::limits::{Byte, Digits, PadTo, RangeEnd, Width};
use crate::names::Name;
use crate::output::{ByteOrder, NumberKind};
use crate::read::{Choice, Key, List, Setting};
use serde::Deserialize;

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
    pub(crate) number: Key<RangeEnd>,
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
    fn expected() -> String {
        "text, at least one character".to_owned()
    }

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

impl Choice for FieldValue {
    const CHOICES: &'static [(&'static str, Self)] = &[
        ("position", Self::Position),
        ("axis", Self::Axis),
        ("degrees", Self::Degrees),
        ("counts", Self::Counts),
        ("sequence", Self::Sequence),
        ("time_s", Self::Seconds),
        ("time_us", Self::Micros),
    ];
}
