use std::io::Write;

/// Bytes of the longest number that [`json`] writes: sign, digit, point, 16 digits, `e-308`; or `0.0000`
/// and 17 digits with sign.
pub(super) const LONGEST_JSON: usize = 24;
/// Bytes of the longest position that [`decimal`] writes: `-0.` and nine digits.
pub(super) const LONGEST_DECIMAL: usize = 12;

/// The shortest text that reads back as the same float, as RFC 8259 has numbers. `value` must be finite.
pub(super) fn json(value: f64, into: &mut Vec<u8>) {
    // Adding 0 turns -0 into 0. Writing to a Vec cannot fail.
    let value = value + 0.0;
    let magnitude = value.abs();
    let _infallible = if magnitude != 0.0 && !(1e-5..1e16).contains(&magnitude) {
        write!(into, "{value:e}")
    } else {
        write!(into, "{value}")
    };
}

/// `value`, -1..=1, rounded to nine digits after the point; no trailing zeros, no exponent, no `-0`.
pub(super) fn decimal(value: f64, into: &mut Vec<u8>) {
    let start = into.len();
    let _infallible = write!(into, "{value:.9}");
    while into.len() > start && into.last() == Some(&b'0') {
        into.pop();
    }
    if into.last() == Some(&b'.') {
        into.pop();
    }
    if into.get(start..) == Some(b"-0") {
        into.truncate(start);
        into.push(b'0');
    }
}
