//! A joystick of the operating system's own, one axis per trim.
//!
//! What simulators see of it (facts measured on Linux 6.1): range -32767..=32767, which is the identity in
//! the kernel's joydev and keeps 0 at 0 in SDL; fuzz and flat 0, or readers would round small steps away.

use crate::float::whole;
use crate::{AxisCode, ConfigProblem, Frame, Output, OutputError, TrimReading};
use tallywheel_units::{AxisValue, Scale, TrimIndex};

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

/// The longest name in bytes: the kernel's 80 (`UINPUT_MAX_NAME_SIZE`) less the two that `evdev` 0.13's
/// builder insists on; it panics on a longer one.
const LONGEST_NAME: usize = 78;

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
    check(device_name, axes, scale)?;
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

/// Checks everything that the configuration and the kind of system alone decide.
pub(crate) fn check(
    device_name: &str,
    axes: &[(TrimIndex, AxisCode)],
    scale: Scale,
) -> Result<(), ConfigProblem> {
    check_names(device_name, axes)?;
    check_scale(scale)?;
    system::check()
}

fn check_names(device_name: &str, axes: &[(TrimIndex, AxisCode)]) -> Result<(), ConfigProblem> {
    check_name(device_name)?;
    if axes.is_empty() {
        return Err(ConfigProblem::NoTrims);
    }
    let mut seen = Vec::with_capacity(axes.len());
    for &(_, axis) in axes {
        if seen.contains(&axis) {
            return Err(ConfigProblem::AxisTwice(axis));
        }
        seen.push(axis);
    }
    Ok(())
}

fn check_scale(scale: Scale) -> Result<(), ConfigProblem> {
    let (low, high) = (scale.at_low().min(scale.at_high()), scale.at_low().max(scale.at_high()));
    if low < -1.0 || high > 1.0 {
        return Err(ConfigProblem::AxisRange { low: low.to_string(), high: high.to_string() });
    }
    Ok(())
}

/// Whether the kernel takes the name.
pub(crate) fn check_name(device_name: &str) -> Result<(), ConfigProblem> {
    let length = device_name.len();
    if length == 0 || length > LONGEST_NAME || device_name.chars().any(char::is_control) {
        return Err(ConfigProblem::DeviceName);
    }
    Ok(())
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
    fn a_joystick_needs_a_name_that_the_kernel_takes() {
        let axes = [(RUDDER, AxisCode::X)];
        let longest = "n".repeat(78);
        assert_eq!(check_names("Tallywheel bench", &axes), Ok(()));
        assert_eq!(check_names(&longest, &axes), Ok(()));
        for bad in ["", "two\nlines", "nul\0", "\u{85}", &format!("{longest}n"), &"\u{e9}".repeat(40)] {
            assert_eq!(check_names(bad, &axes), Err(ConfigProblem::DeviceName), "{bad:?}");
        }
    }

    #[test]
    fn each_axis_belongs_to_one_trim_and_a_trim_may_move_several() {
        assert_eq!(check_names("n", &[]), Err(ConfigProblem::NoTrims));
        assert_eq!(
            check_names("n", &[(RUDDER, AxisCode::Z), (ELEVATOR, AxisCode::Z)]),
            Err(ConfigProblem::AxisTwice(AxisCode::Z))
        );
        assert_eq!(check_names("n", &[(RUDDER, AxisCode::X), (RUDDER, AxisCode::Rz)]), Ok(()));
    }

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

    #[test]
    fn a_range_does_not_leave_the_axis() {
        assert_eq!(check_scale(Scale::UNIT.reversed()), Ok(()));
        let wide = Scale::new(1.5, -1.0).unwrap();
        let problem = ConfigProblem::AxisRange { low: "-1".to_owned(), high: "1.5".to_owned() };
        assert_eq!(check_scale(wide), Err(problem));
    }
}
