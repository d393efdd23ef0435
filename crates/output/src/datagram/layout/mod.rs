//! A datagram whose fields the aircraft file gives, so that an interface that a simulator already has needs no
//! code of ours.

mod binary;
mod text;

use super::encoder::{Encoder, Stamp};
use super::number;
use crate::float::double;
use crate::{ConfigProblem, TrimReading};
use tallywheel_profile::{LayoutField, NumberForm, NumberSource, TrimValue};
use tallywheel_units::Degrees;

/// [`Template::Layout`](crate::Template::Layout).
#[derive(Debug)]
pub(super) struct Layout {
    fields: Vec<Field>,
    largest: usize,
    /// What [`Encoder::differs`] writes into.
    scratch: Vec<u8>,
}

#[derive(Debug)]
enum Field {
    Bytes(Vec<u8>),
    Number { source: Source, form: NumberForm },
    Pad { to: usize, with: u8 },
}

#[derive(Debug, Clone, Copy)]
enum Source {
    /// The place in the readings.
    Trim(usize, TrimValue),
    Sequence,
    TimeMicros,
    TimeSeconds,
}

/// A number on its way into the datagram.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Value {
    Real(f64),
    Whole(i64),
    /// Goes round when its place is too small.
    Counter(u64),
    /// Seconds, held in microseconds: a float could not count them for ever.
    Micros(u64),
}

impl Layout {
    /// Readings come in the order of [`LayoutField::trims`].
    pub(super) fn new(fields: &[LayoutField]) -> Result<Self, ConfigProblem> {
        let places = LayoutField::trims(fields);
        let (mut made, mut largest): (Vec<Field>, usize) = (Vec::with_capacity(fields.len()), 0);
        let mut widest = 0;
        for field in fields {
            match field {
                LayoutField::Bytes(bytes) => {
                    largest = largest.saturating_add(bytes.len());
                    made.push(Field::Bytes(bytes.clone()));
                }
                LayoutField::Pad { to, with } => {
                    if largest > *to {
                        return Err(ConfigProblem::PadTooShort { to: *to, bytes: largest });
                    }
                    largest = *to;
                    made.push(Field::Pad { to: *to, with: *with });
                }
                LayoutField::Number { source: NumberSource::Constant(constant), form } => {
                    let mut bytes = Vec::new();
                    write(Value::Real(*constant), *form, &mut bytes);
                    largest = largest.saturating_add(bytes.len());
                    made.push(Field::Bytes(bytes));
                }
                LayoutField::Number { source, form } => {
                    let source = match *source {
                        NumberSource::Trim(trim, value) => {
                            // Every trim of the fields is among the places.
                            Source::Trim(places.iter().position(|place| *place == trim).unwrap_or(0), value)
                        }
                        NumberSource::TimeMicros => Source::TimeMicros,
                        NumberSource::TimeSeconds => Source::TimeSeconds,
                        NumberSource::Sequence | NumberSource::Constant(_) => Source::Sequence,
                    };
                    let length = longest(source, *form);
                    widest = widest.max(length);
                    largest = largest.saturating_add(length);
                    made.push(Field::Number { source, form: *form });
                }
            }
        }
        Ok(Self { fields: made, largest, scratch: Vec::with_capacity(2 * widest) })
    }
}

/// Bytes of the longest that this writes.
fn longest(source: Source, form: NumberForm) -> usize {
    let form = match form {
        NumberForm::Binary(kind, _) => return kind.bytes(),
        NumberForm::Text(form) => form,
    };
    let real = |low, high| number::longest_fixed(low, high, form.digits.unwrap_or(number::USUAL_DIGITS));
    let length = match source {
        Source::Trim(_, TrimValue::Position(scale)) => real(scale.at_low(), scale.at_high()),
        Source::Trim(_, TrimValue::Degrees) => real(0.0, Degrees::LONGEST_TRAVEL.get()),
        Source::Trim(_, TrimValue::Axis) => "-32767".len(),
        Source::Trim(_, TrimValue::Counts) => "-9223372036854775808".len(),
        Source::Sequence | Source::TimeMicros => "18446744073709551615".len(),
        Source::TimeSeconds => {
            "18446744073709.".len() + usize::from(form.digits.unwrap_or(text::MICRO_DIGITS))
        }
    };
    (length + usize::from(form.plus_sign)).max(form.width.into())
}

fn trim_value(value: TrimValue, reading: &TrimReading) -> Value {
    match value {
        TrimValue::Position(scale) => Value::Real(scale.apply(reading.normalized)),
        TrimValue::Degrees => Value::Real(reading.degrees.get().clamp(0.0, Degrees::LONGEST_TRAVEL.get())),
        TrimValue::Axis => Value::Whole(reading.axis.get().into()),
        TrimValue::Counts => Value::Whole(reading.counts.get()),
    }
}

fn write(value: Value, form: NumberForm, into: &mut Vec<u8>) {
    match form {
        NumberForm::Text(form) => text::write(value, form, into),
        NumberForm::Binary(kind, order) => binary::write(value, kind, order, into),
    }
}

impl Encoder for Layout {
    fn largest(&self) -> usize {
        self.largest
    }

    fn differs(&mut self, place: usize, before: &TrimReading, after: &TrimReading) -> bool {
        let Self { fields, scratch, .. } = self;
        fields.iter().any(|field| match field {
            Field::Number { source: Source::Trim(at, value), form } if *at == place => {
                let (before, after) = (trim_value(*value, before), trim_value(*value, after));
                if before == after {
                    return false;
                }
                // Other numbers may still be written alike.
                scratch.clear();
                write(before, *form, scratch);
                let middle = scratch.len();
                write(after, *form, scratch);
                let (before, after) = scratch.split_at(middle);
                before != after
            }
            _ => false,
        })
    }

    fn encode(&self, stamp: Stamp, readings: &[TrimReading], into: &mut Vec<u8>) {
        let start = into.len();
        for field in &self.fields {
            match field {
                Field::Bytes(bytes) => into.extend_from_slice(bytes),
                Field::Pad { to, with } => into.resize(start + to, *with),
                Field::Number { source, form } => {
                    let value = match *source {
                        Source::Trim(place, value) => match readings.get(place) {
                            Some(reading) => trim_value(value, reading),
                            // There is one reading for each trim.
                            None => continue,
                        },
                        Source::Sequence => Value::Counter(stamp.sequence),
                        Source::TimeMicros => Value::Counter(stamp.time_us),
                        Source::TimeSeconds => Value::Micros(stamp.time_us),
                    };
                    write(value, *form, into);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests;
