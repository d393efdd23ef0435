use super::Scale;
use crate::read::Choice;
use tallywheel_units::TrimIndex;

/// One field of a datagram whose layout the aircraft file gives.
#[derive(Debug, Clone, PartialEq)]
pub enum LayoutField {
    /// These bytes.
    Bytes(Vec<u8>),
    /// A number.
    Number {
        /// Which.
        source: NumberSource,
        /// How it is written.
        form: NumberForm,
    },
    /// Fills up with one byte over and over.
    Pad {
        /// Bytes of the datagram from its beginning to the end of this field.
        to: usize,
        /// The byte.
        with: u8,
    },
}

impl LayoutField {
    /// The trims that `fields` name, each once, in the order in which they do.
    #[must_use]
    pub fn trims(fields: &[Self]) -> Vec<TrimIndex> {
        let mut trims = Vec::new();
        for field in fields {
            if let Self::Number { source: NumberSource::Trim(trim, _), .. } = field
                && !trims.contains(trim)
            {
                trims.push(*trim);
            }
        }
        trims
    }
}

/// Where a number comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NumberSource {
    /// A trim.
    Trim(TrimIndex, TrimValue),
    /// The number of datagrams of this output before this one.
    Sequence,
    /// Microseconds since 1970-01-01 UTC; it grows with every datagram, also over restarts.
    TimeMicros,
    /// The same in seconds.
    TimeSeconds,
    /// Always the same number, finite and within [`Scale::FARTHEST`] of 0.
    Constant(f64),
}

impl NumberSource {
    /// Whether it can be sent as `kind` for ever: a counter or a time must not turn negative or stand still.
    #[must_use]
    pub const fn fits(self, kind: NumberKind) -> bool {
        use NumberKind::{F32, F64, I8, I16, I32};
        match self {
            Self::Trim(..) | Self::Constant(_) => true,
            Self::TimeSeconds => matches!(kind, F64),
            Self::Sequence | Self::TimeMicros => !matches!(kind, F32 | I8 | I16 | I32),
        }
    }
}

/// What of a trim is sent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TrimValue {
    /// The position, in this range.
    Position(Scale),
    /// The position as -32767..=32767.
    Axis,
    /// Degrees of wheel rotation from the low stop, at most
    /// [`Degrees::LONGEST_TRAVEL`](tallywheel_units::Degrees::LONGEST_TRAVEL).
    Degrees,
    /// The tally of applied counts.
    Counts,
}

/// How a number is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NumberForm {
    /// As text.
    Text(TextForm),
    /// As bytes.
    Binary(NumberKind, ByteOrder),
}

/// How a number is written as text: digits with a point, never an exponent, never `-0`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct TextForm {
    /// Digits after the point, at most 15; without, as many as the number needs, at most
    /// nine. Whole numbers have none either way.
    pub digits: Option<u8>,
    /// The least number of characters, at most 64; filled up on the left.
    pub width: u8,
    /// Whether it is filled up with zeros after the sign and not with blanks before it.
    pub leading_zeros: bool,
    /// Whether a plus sign stands before what is not negative.
    pub plus_sign: bool,
}

/// A binary type. A number is rounded to the nearest that the type has, half away from zero, and held within
/// its ends; sequence and time keep their low bits in a type that is too small for them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[expect(missing_docs, reason = "they are named as Rust names them")]
pub enum NumberKind {
    U8,
    I8,
    U16,
    I16,
    U32,
    I32,
    U64,
    I64,
    F32,
    F64,
}

impl NumberKind {
    /// Every kind, in the order of declaration.
    pub const ALL: [Self; 10] = [
        Self::U8,
        Self::I8,
        Self::U16,
        Self::I16,
        Self::U32,
        Self::I32,
        Self::U64,
        Self::I64,
        Self::F32,
        Self::F64,
    ];

    /// The word used in aircraft files.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.word()
    }

    /// How many bytes it has.
    #[must_use]
    pub const fn bytes(self) -> usize {
        match self {
            Self::U8 | Self::I8 => 1,
            Self::U16 | Self::I16 => 2,
            Self::U32 | Self::I32 | Self::F32 => 4,
            Self::U64 | Self::I64 | Self::F64 => 8,
        }
    }
}

impl Choice for NumberKind {
    const CHOICES: &'static [(&'static str, Self)] = &[
        ("i8", Self::I8),
        ("u8", Self::U8),
        ("i16", Self::I16),
        ("u16", Self::U16),
        ("i32", Self::I32),
        ("u32", Self::U32),
        ("i64", Self::I64),
        ("u64", Self::U64),
        ("f32", Self::F32),
        ("f64", Self::F64),
    ];
}

/// Which byte of a number comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum ByteOrder {
    /// The lowest.
    #[default]
    Little,
    /// The highest.
    Big,
}

impl Choice for ByteOrder {
    const CHOICES: &'static [(&'static str, Self)] = &[("little", Self::Little), ("big", Self::Big)];
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counters_and_times_need_a_type_that_holds_them() {
        use NumberKind::{F32, F64, I8, I16, I32};
        for kind in NumberKind::ALL {
            let holds_a_counter = ![F32, I8, I16, I32].contains(&kind);
            assert_eq!(NumberSource::Sequence.fits(kind), holds_a_counter, "{kind:?}");
            assert_eq!(NumberSource::TimeMicros.fits(kind), holds_a_counter, "{kind:?}");
            assert_eq!(NumberSource::TimeSeconds.fits(kind), kind == F64, "{kind:?}");
            assert!(NumberSource::Constant(1.0).fits(kind));
        }
    }
}
