//! A joystick of the operating system's own, one axis per trim.
//!
//! What simulators see of it (facts measured on Linux 6.1): range -32767..=32767, which is the identity in
//! the kernel's joydev and keeps 0 at 0 in SDL; fuzz and flat 0, or readers would round small steps away.

use crate::float::whole;
use crate::{ConfigProblem, Frame, Output, OutputError, TrimReading};
use tallywheel_profile::{AxisCode, Scale};
use tallywheel_units::{AxisValue, TrimIndex};

#[cfg(any(not(target_os = "linux"), test))]
mod absent;
#[cfg(target_os = "linux")]
pub(crate) mod device;
#[cfg(target_os = "linux")]
pub(crate) mod event;
#[cfg(target_os = "linux")]
mod joystick;

#[cfg(not(target_os = "linux"))]
use absent as system;
#[cfg(target_os = "linux")]
use device as system;

/// Opens the joystick with every axis where `start` has it, or at neutral, and those that are only `declared` in
/// the middle.
pub(crate) fn open(
    name: String,
    device_name: &str,
    axes: &[(TrimIndex, AxisCode)],
    declared: &[AxisCode],
    scale: Scale,
    start: Option<&Frame<'_>>,
) -> Result<Box<dyn Output>, OutputError> {
    system::check()?;
    let course = Course::new(scale);
    system::open(name, device_name, &places(axes, course, start)?, declared, course)
}

/// Which axis value belongs to a position.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Course {
    /// The whole axis: the reading has it.
    Whole,
    /// A part of it, or the other way round.
    Part(Scale),
}

impl Course {
    fn new(scale: Scale) -> Self {
        if scale == Scale::UNIT { Self::Whole } else { Self::Part(scale) }
    }

    /// The nearest axis value.
    fn value(self, reading: &TrimReading) -> i32 {
        match self {
            Self::Whole => reading.axis.get(),
            Self::Part(scale) => {
                let axis = whole(scale.apply(reading.normalized) * f64::from(AxisValue::MAX.get()));
                AxisValue::clamped(i64::try_from(axis).unwrap_or(0)).get()
            }
        }
    }
}

/// One axis of the joystick: the trim that moves it and where it is when the joystick appears.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Place {
    trim: TrimIndex,
    axis: AxisCode,
    value: i32,
}

/// Whether this kind of system takes joysticks.
pub(crate) const fn check() -> Result<(), ConfigProblem> {
    system::check()
}

fn places(
    axes: &[(TrimIndex, AxisCode)],
    course: Course,
    start: Option<&Frame<'_>>,
) -> Result<Vec<Place>, ConfigProblem> {
    axes.iter()
        .map(|&(trim, axis)| {
            let value = match start {
                None => course.value(&TrimReading::NEUTRAL),
                Some(frame) => course.value(frame.trim(trim).ok_or(ConfigProblem::NoSuchTrim(trim))?),
            };
            Ok(Place { trim, axis, value })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use tallywheel_units::{Normalized, Timestamp};

    const RUDDER: TrimIndex = TrimIndex::new(0);
    const ELEVATOR: TrimIndex = TrimIndex::new(1);

    #[test]
    fn axes_start_where_the_trims_are() {
        let reading = TrimReading { axis: AxisValue::clamped(-1234), ..TrimReading::NEUTRAL };
        let frame = Frame { at: Timestamp::START, sequence: 0, trims: &[TrimReading::NEUTRAL, reading] };
        let axes = [(ELEVATOR, AxisCode::Y)];
        let at = |value| vec![Place { trim: ELEVATOR, axis: AxisCode::Y, value }];
        assert_eq!(places(&axes, Course::Whole, Some(&frame)), Ok(at(-1234)));
        assert_eq!(places(&axes, Course::Whole, None), Ok(at(0)));
        let stranger = TrimIndex::new(2);
        assert_eq!(
            places(&[(stranger, AxisCode::X)], Course::Whole, Some(&frame)),
            Err(ConfigProblem::NoSuchTrim(stranger))
        );
    }

    #[test]
    fn a_range_takes_a_part_of_the_axis_with_exact_ends() {
        let scale = |low, high| Scale::new(low, high).unwrap();
        let at = |scale, position| {
            // The reading's own axis is not looked at.
            let reading = TrimReading { normalized: Normalized::clamped(position), ..TrimReading::NEUTRAL };
            Course::new(scale).value(&reading)
        };
        let ends = |scale| [-1.0, 0.0, 1.0].map(|position| at(scale, position));
        assert_eq!(ends(scale(0.0, 1.0)), [0, 16384, 32767]);
        assert_eq!(ends(scale(1.0, -1.0)), [32767, 0, -32767]);
        assert_eq!(ends(scale(-0.5, 0.5)), [-16384, 0, 16384]);
        let reading = TrimReading { axis: AxisValue::clamped(-7), ..TrimReading::NEUTRAL };
        assert_eq!(Course::new(Scale::UNIT).value(&reading), -7);
        let start = places(&[(RUDDER, AxisCode::X)], Course::new(scale(0.0, 1.0)), None);
        assert_eq!(start, Ok(vec![Place { trim: RUDDER, axis: AxisCode::X, value: 16384 }]));
    }
}
