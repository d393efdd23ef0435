use super::super::scale::scale;
use super::file::{FieldFile, FieldValue, Text};
use crate::names::Names;
use crate::output::{LayoutField, NumberForm, NumberSource, Scale, TextForm, TrimValue};
use crate::read::{Choice, Mistakes, Tables, optional};
use crate::words;
use tallywheel_units::TrimIndex;

const PATH: &str = "output.layout";
/// The most fields that a layout may have.
const MOST: usize = 64;

/// Tells every mistake in the layout of the output at `byte`; its fields, if there is enough to make them. `usual`
/// is the scale of a position that has none of its own.
pub(in crate::aircraft::output) fn all(
    layout: &Tables<FieldFile>,
    byte: usize,
    usual: Scale,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<LayoutField>> {
    let Some(key) = layout else {
        mistakes.tell(byte, PATH, "the fields of the datagram, such as [{ trim = \"rudder\" }]", "nothing");
        return None;
    };
    let list = &key.value.as_ref()?.0;
    if let Some(surplus) = list.get(MOST) {
        mistakes.tell(surplus.byte, PATH, format!("at most {MOST} fields"), list.len().to_string());
    }
    let fields: Vec<_> = list
        .iter()
        .take(MOST)
        .map(|field| field.value.as_ref().and_then(|table| one(table, field.byte, usual, names, mistakes)))
        .collect();
    let fields: Vec<_> = fields.into_iter().collect::<Option<_>>()?;
    if LayoutField::trims(&fields).is_empty() {
        mistakes.tell(key.byte, PATH, "at least one field with `trim`", "none");
    }
    Some(fields)
}

/// What a field is, by the key that says so.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Text,
    Trim,
    Value,
    Number,
    PadTo,
}

impl Kind {
    const fn key(self) -> &'static str {
        match self {
            Self::Text => "`text`",
            Self::Trim => "`trim`",
            Self::Value => "`value`",
            Self::Number => "`number`",
            Self::PadTo => "`pad_to`",
        }
    }
}

/// The kind of a field, and where its key is.
fn kind(table: &FieldFile, byte: usize, mistakes: &Mistakes<'_>) -> Option<Kind> {
    let FieldFile { text, trim, value, number, pad_to, .. } = table;
    let keys = [
        (Kind::Text, text.as_ref().map(|field| field.byte)),
        (Kind::Trim, trim.as_ref().map(|field| field.byte)),
        // Beside `trim` it only says which number of it.
        (Kind::Value, value.as_ref().filter(|_| trim.is_none()).map(|field| field.byte)),
        (Kind::Number, number.as_ref().map(|field| field.byte)),
        (Kind::PadTo, pad_to.as_ref().map(|field| field.byte)),
    ];
    let mut there = keys.iter().filter_map(|(kind, byte)| Some((*kind, (*byte)?)));
    let Some((first, _)) = there.next() else {
        let expected = "one of the keys `text`, `trim`, `value`, `number` or `pad_to`";
        mistakes.tell(byte, PATH, expected, "none of them");
        return None;
    };
    if let Some((second, byte)) = there.next() {
        let found = format!("{} beside {}", second.key(), first.key());
        mistakes.tell(byte, PATH, "only one of `text`, `trim`, `value`, `number` and `pad_to`", found);
        return None;
    }
    Some(first)
}

fn one(
    table: &FieldFile,
    byte: usize,
    usual: Scale,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<LayoutField> {
    let kind = kind(table, byte, mistakes)?;
    tell_foreign(table, kind, mistakes);
    match kind {
        Kind::Text => {
            let Text(text) = table.text.as_ref()?.setting()?;
            Some(LayoutField::Bytes(text.clone().into_bytes()))
        }
        Kind::PadTo => {
            let to = table.pad_to.as_ref()?.setting()?.get();
            let with = optional(&table.pad_with)?.map_or(0, |byte| byte.get());
            Some(LayoutField::Pad { to, with })
        }
        Kind::Trim | Kind::Value | Kind::Number => {
            let source = source(table, kind, usual, names, mistakes);
            let form = form(table)?;
            let source = source?;
            if let (NumberForm::Binary(kind, _), Some(key)) = (form, &table.r#type)
                && !source.fits(kind)
            {
                let expected = match source {
                    NumberSource::TimeSeconds => "\"f64\" for seconds",
                    _ => "an unsigned type, \"i64\" or \"f64\" for what counts on for ever",
                };
                mistakes.tell(key.byte, "output.layout.type", expected, format!("{:?}", kind.name()));
            }
            Some(LayoutField::Number { source, form })
        }
    }
}

fn source(
    table: &FieldFile,
    kind: Kind,
    usual: Scale,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<NumberSource> {
    let value = optional(&table.value);
    match kind {
        Kind::Trim => {
            let key = table.trim.as_ref()?;
            let name = key.setting()?;
            let trim = names.find(&name.0, key.byte, "output.layout.trim", "a [[trim]]", mistakes);
            let value = match value?.copied().unwrap_or(FieldValue::Position) {
                FieldValue::Position => {
                    TrimValue::Position(scale(&table.range, &table.reversed, usual, PATH, mistakes)?)
                }
                FieldValue::Axis => TrimValue::Axis,
                FieldValue::Degrees => TrimValue::Degrees,
                FieldValue::Counts => TrimValue::Counts,
                FieldValue::Sequence | FieldValue::Seconds | FieldValue::Micros => {
                    let expected = "\"position\", \"axis\", \"degrees\" or \"counts\" of a trim";
                    tell_value(table, expected, mistakes);
                    return None;
                }
            };
            let trim = TrimIndex::new(u8::try_from(trim?).ok()?);
            Some(NumberSource::Trim(trim, value))
        }
        Kind::Number => Some(NumberSource::Constant(table.number.as_ref()?.setting()?.get())),
        _ => match value?? {
            FieldValue::Sequence => Some(NumberSource::Sequence),
            FieldValue::Seconds => Some(NumberSource::TimeSeconds),
            FieldValue::Micros => Some(NumberSource::TimeMicros),
            _ => {
                tell_value(table, "`trim` beside it, or \"sequence\", \"time_s\" or \"time_us\"", mistakes);
                None
            }
        },
    }
}

fn tell_value(table: &FieldFile, expected: &str, mistakes: &Mistakes<'_>) {
    if let Some(key) = &table.value {
        let Some(value) = key.setting() else { return };
        mistakes.tell(key.byte, "output.layout.value", expected, words::quoted(value.word()));
    }
}

fn form(table: &FieldFile) -> Option<NumberForm> {
    let FieldFile { r#type, byte_order, digits, width, leading_zeros, plus_sign, .. } = table;
    if let Some(kind) = optional(r#type)? {
        return Some(NumberForm::Binary(*kind, optional(byte_order)?.copied().unwrap_or_default()));
    }
    Some(NumberForm::Text(TextForm {
        digits: optional(digits)?.map(|digits| digits.get()),
        width: optional(width)?.map_or(0, |width| width.get()),
        leading_zeros: optional(leading_zeros)?.copied().unwrap_or(false),
        plus_sign: optional(plus_sign)?.copied().unwrap_or(false),
    }))
}

/// Tells of keys that say nothing in this field.
fn tell_foreign(table: &FieldFile, kind: Kind, mistakes: &Mistakes<'_>) {
    let FieldFile { value, range, reversed, r#type, byte_order, .. } = table;
    let FieldFile { digits, width, leading_zeros, plus_sign, pad_with, .. } = table;
    let here = kind.key();
    if kind != Kind::PadTo {
        mistakes.foreign(pad_with, "output.layout.pad_with", "`pad_to`", here);
    }
    let position = kind == Kind::Trim
        && value.as_ref().is_none_or(|value| matches!(value.setting(), Some(FieldValue::Position) | None));
    if !position {
        let here = if kind == Kind::Trim { "another `value`" } else { here };
        mistakes.foreign(range, "output.layout.range", "the position of a trim", here);
        mistakes.foreign(reversed, "output.layout.reversed", "the position of a trim", here);
    }
    let is_number = matches!(kind, Kind::Trim | Kind::Value | Kind::Number);
    let (number, text) = ("a number", "a number as text, without `type`");
    if !is_number {
        mistakes.foreign(r#type, "output.layout.type", number, here);
    }
    if !is_number || r#type.is_none() {
        let here = if is_number { "a number as text" } else { here };
        mistakes.foreign(byte_order, "output.layout.byte_order", "`type`", here);
    }
    if !is_number || r#type.is_some() {
        let here = if is_number { "`type`" } else { here };
        mistakes.foreign(digits, "output.layout.digits", text, here);
        mistakes.foreign(width, "output.layout.width", text, here);
        mistakes.foreign(leading_zeros, "output.layout.leading_zeros", text, here);
        mistakes.foreign(plus_sign, "output.layout.plus_sign", text, here);
    } else if let Some(FieldValue::Axis | FieldValue::Counts | FieldValue::Sequence | FieldValue::Micros) =
        value.as_ref().and_then(|value| value.setting())
    {
        mistakes.foreign(digits, "output.layout.digits", "a number with a fraction", "a whole number");
    }
}
