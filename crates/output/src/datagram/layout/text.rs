use super::Value;
use crate::datagram::number;
use std::io::Write;
use tallywheel_profile::TextForm;

/// Digits of a microsecond.
pub(super) const MICRO_DIGITS: u8 = 6;
const MICROS_PER_SECOND: u64 = 1_000_000;

/// Appends `value` as text.
pub(super) fn write(value: Value, form: TextForm, into: &mut Vec<u8>) {
    let start = into.len();
    // Writing to a Vec cannot fail.
    let _infallible = match value {
        Value::Real(real) => {
            match form.digits {
                Some(digits) => number::fixed(real, digits, into),
                None => number::decimal(real, into),
            }
            Ok(())
        }
        Value::Whole(whole) => write!(into, "{whole}"),
        Value::Counter(counter) => write!(into, "{counter}"),
        Value::Micros(micros) => seconds(micros, form.digits.unwrap_or(MICRO_DIGITS), into),
    };
    if form.plus_sign && into.get(start) != Some(&b'-') {
        into.insert(start, b'+');
    }
    let signed = matches!(into.get(start), Some(b'-' | b'+'));
    let missing = usize::from(form.width).saturating_sub(into.len() - start);
    if missing > 0 {
        let (at, with) = if form.leading_zeros { (start + usize::from(signed), b'0') } else { (start, b' ') };
        let end = into.len();
        into.resize(end + missing, with);
        if let Some(moved) = into.get_mut(at..) {
            moved.rotate_right(missing);
        }
    }
}

/// Cut after so many digits and not rounded, so that a later time never reads earlier.
fn seconds(micros: u64, digits: u8, into: &mut Vec<u8>) -> std::io::Result<()> {
    let (seconds, micros) = (micros / MICROS_PER_SECOND, micros % MICROS_PER_SECOND);
    if digits == 0 {
        return write!(into, "{seconds}");
    }
    let point = into.len() + 1 + if seconds == 0 { 0 } else { seconds.ilog10().try_into().unwrap_or(0) };
    write!(into, "{seconds}.{micros:06}")?;
    into.resize(point + 1 + usize::from(digits), b'0');
    Ok(())
}
