//! A joystick of the operating system's own, one axis per trim.
//!
//! What simulators see of it (facts measured on Linux 6.1): range -32767..=32767, which is the identity in
//! the kernel's joydev and keeps 0 at 0 in SDL; fuzz and flat 0, or readers would round small steps away.

use crate::{AxisCode, ConfigProblem, Frame, Output, OutputError};
use tallywheel_units::TrimIndex;

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

/// Opens the joystick with every axis where `start` has it, or at neutral.
pub(crate) fn open(
    name: String,
    device_name: &str,
    axes: &[(TrimIndex, AxisCode)],
    start: Option<&Frame<'_>>,
) -> Result<Box<dyn Output>, OutputError> {
    check(device_name, axes)?;
    system::open(name, device_name, &places(axes, start)?)
}

/// One axis of the joystick: the trim that moves it and where it is when the joystick appears.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Place {
    trim: TrimIndex,
    axis: AxisCode,
    value: i32,
}

/// Checks everything that the configuration and the kind of system alone decide.
pub(crate) fn check(device_name: &str, axes: &[(TrimIndex, AxisCode)]) -> Result<(), ConfigProblem> {
    check_names(device_name, axes)?;
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

/// Whether the kernel takes the name.
pub(crate) fn check_name(device_name: &str) -> Result<(), ConfigProblem> {
    let length = device_name.len();
    if length == 0 || length > LONGEST_NAME || device_name.chars().any(char::is_control) {
        return Err(ConfigProblem::DeviceName);
    }
    Ok(())
}

fn places(axes: &[(TrimIndex, AxisCode)], start: Option<&Frame<'_>>) -> Result<Vec<Place>, ConfigProblem> {
    axes.iter()
        .map(|&(trim, axis)| {
            let value = match start {
                None => 0,
                Some(frame) => frame.trim(trim).ok_or(ConfigProblem::NoSuchTrim(trim))?.axis.get(),
            };
            Ok(Place { trim, axis, value })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::TrimReading;
    use tallywheel_units::{AxisValue, Timestamp};

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
        assert_eq!(places(&axes, Some(&frame)), Ok(at(-1234)));
        assert_eq!(places(&axes, None), Ok(at(0)));
        let stranger = TrimIndex::new(2);
        assert_eq!(
            places(&[(stranger, AxisCode::X)], Some(&frame)),
            Err(ConfigProblem::NoSuchTrim(stranger))
        );
    }
}
