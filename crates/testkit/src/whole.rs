//! Conversions between real and whole numbers, in one place because Rust has no lossless trait for them.

/// The whole number at or below `x`; saturates beyond the range of `i64`, 0 for a value that is no number.
#[expect(clippy::as_conversions, reason = "`as` from float saturates, which is what is documented")]
pub(crate) fn floor(x: f64) -> i64 {
    x.floor() as i64
}

/// `n` as a real number, exact up to 2^53.
#[expect(clippy::as_conversions, reason = "i64 to f64 has no From; the loss above 2^53 is documented")]
pub(crate) fn real(n: i64) -> f64 {
    n as f64
}

/// The moment `seconds` after the start in nanoseconds, rounded; 0 for anything negative.
#[expect(clippy::as_conversions, reason = "`as` from float saturates, which is what is documented")]
pub(crate) fn nanos(seconds: f64) -> u64 {
    (seconds * 1e9).round() as u64
}
