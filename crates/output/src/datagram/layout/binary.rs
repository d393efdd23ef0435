use super::{Value, double};
use crate::float::{single, whole};
use tallywheel_profile::{ByteOrder, NumberKind};

/// Appends `value` as `kind` in `order`.
pub(super) fn write(value: Value, kind: NumberKind, order: ByteOrder, into: &mut Vec<u8>) {
    // Two's complement and IEEE 754, lowest byte first.
    let bytes = match kind {
        NumberKind::F32 => u128::from(single(real(value)).to_bits()).to_le_bytes(),
        NumberKind::F64 => u128::from(real(value).to_bits()).to_le_bytes(),
        _ => integer(value, kind).to_le_bytes(),
    };
    let bytes = bytes.into_iter().take(kind.bytes());
    match order {
        ByteOrder::Little => into.extend(bytes),
        ByteOrder::Big => into.extend(bytes.rev()),
    }
}

fn real(value: Value) -> f64 {
    match value {
        // Adding 0 turns -0 into 0.
        Value::Real(real) => real + 0.0,
        Value::Whole(whole) => double(whole.into()),
        Value::Counter(counter) => double(counter.into()),
        Value::Micros(micros) => double(micros.into()) / 1e6,
    }
}

/// Its low bytes are the number's.
fn integer(value: Value, kind: NumberKind) -> i128 {
    let (low, high): (i128, i128) = match kind {
        NumberKind::U8 => (0, u8::MAX.into()),
        NumberKind::I8 => (i8::MIN.into(), i8::MAX.into()),
        NumberKind::U16 => (0, u16::MAX.into()),
        NumberKind::I16 => (i16::MIN.into(), i16::MAX.into()),
        NumberKind::U32 => (0, u32::MAX.into()),
        NumberKind::I32 => (i32::MIN.into(), i32::MAX.into()),
        NumberKind::U64 => (0, u64::MAX.into()),
        _ => (i64::MIN.into(), i64::MAX.into()),
    };
    match value {
        Value::Real(real) => whole(real).clamp(low, high),
        Value::Whole(whole) => i128::from(whole).clamp(low, high),
        // The low bytes are all that is taken, so it goes round by itself.
        Value::Counter(counter) | Value::Micros(counter) => counter.into(),
    }
}
