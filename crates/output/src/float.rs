//! Conversions between numbers that the standard library has only as `as`.

/// The nearest float32; infinite beyond its range.
#[expect(
    clippy::as_conversions,
    reason = "f64 to f32 has no From; rounding to the nearest is what is wanted"
)]
pub(crate) const fn single(value: f64) -> f32 {
    value as f32
}

/// The nearest whole number, half away from zero, saturating.
#[expect(clippy::as_conversions, reason = "f64 to i128 has no From; `as` saturates, which is wanted")]
pub(crate) fn whole(value: f64) -> i128 {
    value.round() as i128
}

/// The nearest float64.
#[expect(
    clippy::as_conversions,
    reason = "i128 to f64 has no From; rounding to the nearest is what is wanted"
)]
pub(crate) const fn double(value: i128) -> f64 {
    value as f64
}
