//! The sample clock: when was a report sampled.
//!
//! A host polls a board on its own even frames, and reads what came late, never early. So reading times are an even
//! beat with a one-sided delay on top. The [`SampleClock`] makes interval numbers of them:
//!
//! | board | number of a report |
//! |---|---|
//! | reports at every interval | one more than the last one's, as long as readings come back to the schedule |
//! | reports on change | the reading time over the interval, rounded; a range where that is not on the beat |
//!
//! `interval` finds the interval, with what the rig file says as a first guess; `jitter` tells uneven samples from uneven
//! readings by the autocorrelation of gaps.

mod clock;
mod interval;
mod jitter;

pub(crate) use clock::{Sample, SampleClock};

#[expect(clippy::as_conversions, reason = "nanoseconds of hours are far below 2^53")]
#[inline]
pub(crate) fn real(nanos: u64) -> f64 {
    nanos as f64
}

#[expect(clippy::as_conversions, reason = "single precision is enough for a part of an interval")]
#[inline]
pub(crate) fn single(number: f64) -> f32 {
    number as f32
}

#[expect(clippy::as_conversions, reason = "`as` saturates, and a negative number of intervals is none")]
#[inline]
pub(crate) fn whole(number: f64) -> u64 {
    number as u64
}
