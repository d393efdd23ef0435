use super::joystick::Joystick;
use super::{Course, Place};
use crate::{ConfigProblem, Output, OutputError};
use evdev::uinput::VirtualDevice;
use evdev::{AbsInfo, AbsoluteAxisCode, AttributeSet, BusType, InputId, KeyCode, UinputAbsSetup};
use std::fs::File;
use std::io;
use std::os::fd::AsFd;
use tallywheel_profile::AxisCode;
use tallywheel_units::AxisValue;

/// The joystick's identity, by which simulators recognise it together with its name: the open-source vendor
/// id and a product id that is ours. A physical path (`phys`) would be one more, but `with_phys` of `evdev`
/// 0.13.2 fails with EINVAL: its request carries the size of a character where the kernel's `UI_SET_PHYS`
/// has that of a pointer.
const VENDOR: u16 = 0x1209;
const PRODUCT: u16 = 0x7a12;
const VERSION: u16 = 1;

/// Linux takes virtual joysticks; whether this machine does shows when one is opened.
#[expect(clippy::unnecessary_wraps, reason = "other systems refuse")]
pub(super) const fn check() -> Result<(), ConfigProblem> {
    Ok(())
}

/// Creates the device and hands over its open node.
pub(super) fn open(
    name: String,
    device_name: &str,
    places: &[Place],
    declared: &[AxisCode],
    course: Course,
) -> Result<Box<dyn Output>, OutputError> {
    let builder = VirtualDevice::builder().map_err(|error| not_opened(error, Step::Open))?;
    let node =
        create(builder, device_name, places, declared).map_err(|error| not_opened(error, Step::Create))?;
    Ok(Box::new(Joystick::new(name, node, places, declared, course)))
}

fn create(
    builder: evdev::uinput::VirtualDeviceBuilder<'_>,
    device_name: &str,
    places: &[Place],
    declared: &[AxisCode],
) -> io::Result<File> {
    // SDL takes a device for a joystick if it has X, Y and a joystick button, and udev takes one without a
    // button for an accelerometer; so these are there even if a single wheel moves another axis.
    let mut buttons = AttributeSet::<KeyCode>::new();
    buttons.insert(KeyCode::BTN_TRIGGER);
    let mut builder = builder
        .name(device_name)
        .input_id(InputId::new(BusType::BUS_VIRTUAL, VENDOR, PRODUCT, VERSION))
        .with_keys(&buttons)?;
    for setup in setups(places, declared) {
        builder = builder.with_absolute_axis(&setup)?;
    }
    // The device lives as long as any descriptor of the node, so this one is all that is kept of it: the
    // `evdev` crate's own way of sending makes four writes per change.
    builder.build()?.as_fd().try_clone_to_owned().map(File::from)
}

/// The axes that the device has, each at its start.
fn setups(places: &[Place], declared: &[AxisCode]) -> Vec<UinputAbsSetup> {
    let mut axes: Vec<_> = places.iter().map(|place| (place.axis, place.value)).collect();
    for &axis in [AxisCode::X, AxisCode::Y].iter().chain(declared) {
        if !axes.iter().any(|&(present, _)| present == axis) {
            axes.push((axis, AxisValue::NEUTRAL.get()));
        }
    }
    axes.into_iter()
        .map(|(axis, value)| {
            let info = AbsInfo::new(value, AxisValue::MIN.get(), AxisValue::MAX.get(), 0, 0, 0);
            UinputAbsSetup::new(kernel_code(axis), info)
        })
        .collect()
}

pub(super) const fn kernel_code(axis: AxisCode) -> AbsoluteAxisCode {
    match axis {
        AxisCode::X => AbsoluteAxisCode::ABS_X,
        AxisCode::Y => AbsoluteAxisCode::ABS_Y,
        AxisCode::Z => AbsoluteAxisCode::ABS_Z,
        AxisCode::Rx => AbsoluteAxisCode::ABS_RX,
        AxisCode::Ry => AbsoluteAxisCode::ABS_RY,
        AxisCode::Rz => AbsoluteAxisCode::ABS_RZ,
        AxisCode::Throttle => AbsoluteAxisCode::ABS_THROTTLE,
        AxisCode::Rudder => AbsoluteAxisCode::ABS_RUDDER,
    }
}

/// At which step the device was not made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Step {
    Open,
    Create,
}

/// What the caller does about an error of uinput.
pub(crate) fn not_opened(error: io::Error, step: Step) -> OutputError {
    match (step, error.raw_os_error()) {
        // No node; or a node that stands for a module which cannot be loaded.
        (Step::Open, Some(libc::ENOENT | libc::ENODEV | libc::ENXIO)) => OutputError::AskUser {
            reason: "no virtual joystick: the kernel module uinput is not loaded",
            cure: "run `modprobe uinput` as root",
        },
        (Step::Open, Some(libc::EACCES | libc::EPERM)) => OutputError::AskUser {
            reason: "no virtual joystick: this user may not open /dev/uinput",
            cure: "install packaging/linux/60-tallywheel.rules as /etc/udev/rules.d/60-tallywheel.rules, \
                   as its first lines say",
        },
        _ => OutputError::Reopen {
            reason: "the virtual joystick could not be made",
            cure: "if it stays away, run `modprobe uinput` and look at `dmesg`",
            source: error,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Epoch, ErrorKind};
    use expect_test::expect;
    use std::path::Path;
    use tallywheel_profile::{DeviceName, OutputConfig, Scale};
    use tallywheel_units::TrimIndex;

    fn place(axis: AxisCode, value: i32) -> Place {
        Place { trim: TrimIndex::new(0), axis, value }
    }

    /// X and Y are 0 and 1 in `include/uapi/linux/input-event-codes.h`, RZ is 5.
    #[test]
    fn a_single_wheel_still_makes_a_joystick_with_x_and_y() {
        let axes = |places: &[Place], declared: &[AxisCode]| -> Vec<_> {
            setups(places, declared).iter().map(|setup| (setup.code(), setup.absinfo().value())).collect()
        };
        assert_eq!(axes(&[place(AxisCode::Rz, 1234)], &[]), [(5, 1234), (0, 0), (1, 0)]);
        assert_eq!(axes(&[place(AxisCode::Y, -7)], &[]), [(1, -7), (0, 0)]);
        assert_eq!(axes(&[place(AxisCode::X, 1), place(AxisCode::Y, 2)], &[]), [(0, 1), (1, 2)]);
    }

    /// Z and RUDDER are 2 and 7.
    #[test]
    fn declared_axes_are_there_once_and_rest_in_the_middle() {
        let declared = [AxisCode::Z, AxisCode::X, AxisCode::Rudder, AxisCode::Z];
        let axes: Vec<_> = setups(&[place(AxisCode::Z, 9)], &declared)
            .iter()
            .map(|setup| (setup.code(), setup.absinfo().value()))
            .collect();
        assert_eq!(axes, [(2, 9), (0, 0), (1, 0), (7, 0)]);
    }

    #[test]
    fn axis_codes_are_the_kernels() {
        let codes: Vec<_> = AxisCode::ALL.into_iter().map(|axis| kernel_code(axis).0).collect();
        // ABS_X to ABS_RZ, ABS_THROTTLE, ABS_RUDDER in include/uapi/linux/input-event-codes.h.
        assert_eq!(codes, [0, 1, 2, 3, 4, 5, 6, 7]);
    }

    /// `joydev_correct` of `drivers/input/joydev.c` (Linux 6.1) with the coefficients that `joydev_connect`
    /// sets for a device's range, in C's arithmetic.
    fn joydev(info: AbsInfo, value: i32) -> i32 {
        let middle = (info.maximum() + info.minimum()) / 2;
        let (low, high) = (middle - info.flat(), middle + info.flat());
        let half = (info.maximum() - info.minimum()) / 2 - 2 * info.flat();
        let slope = (1 << 29) / half;
        let corrected = if value > low {
            if value < high { 0 } else { (slope * (value - high)) >> 14 }
        } else {
            (slope * (value - low)) >> 14
        };
        corrected.clamp(-32767, 32767)
    }

    /// The formula of SDL 3's `src/joystick/linux/SDL_sysjoystick.c` with its default of no dead zone, in
    /// `float`.
    #[expect(clippy::as_conversions, reason = "the same conversions as in C")]
    fn sdl(info: AbsInfo, value: i32) -> i32 {
        let float = |n: i32| n as f32;
        let scale = 65535.0 / float(info.maximum() - info.minimum());
        let scaled = (float(value - info.minimum()) * scale - 32768.0 + 0.5).floor();
        (scaled as i32).clamp(-32768, 32767)
    }

    fn info() -> AbsInfo {
        setups(&[place(AxisCode::X, 0)], &[])[0].absinfo()
    }

    /// First that the transliterations give what was seen (facts from running them on other ranges: 0..65535
    /// has no neutral in joydev, and a HID joystick's own flat of a sixteenth makes 8,191 values dead).
    #[test]
    fn the_readers_formulas_are_written_down_right() {
        let range = |minimum, maximum, flat| AbsInfo::new(0, minimum, maximum, 0, flat, 0);
        let unsigned = range(0, 65535, 0);
        let seen = [(0, -32767), (1, -32766), (16383, -16384), (32767, 0), (32768, 1), (65535, 32767)];
        for (value, expected) in seen {
            assert_eq!(joydev(unsigned, value), expected, "{value}");
        }
        let flat = range(0, 65535, 4095);
        assert_eq!((0..65536).filter(|&value| joydev(flat, value) == 0).count(), 8191);
        for (value, expected) in [(0, -32768), (32767, -1), (32768, 0), (65535, 32767)] {
            assert_eq!(sdl(unsigned, value), expected, "{value}");
        }
    }

    #[test]
    fn joydev_gives_every_value_as_it_is() {
        for value in AxisValue::MIN.get()..=AxisValue::MAX.get() {
            assert_eq!(joydev(info(), value), value);
        }
    }

    #[test]
    fn sdl_keeps_neutral_the_ends_and_every_step_apart() {
        assert_eq!(sdl(info(), 0), 0);
        assert_eq!(sdl(info(), -32767), -32768);
        assert_eq!(sdl(info(), 32767), 32767);
        let values = AxisValue::MIN.get()..AxisValue::MAX.get();
        assert!(values.into_iter().all(|value| sdl(info(), value) < sdl(info(), value + 1)));
    }

    #[test]
    fn errors_of_opening_name_the_cure() {
        let text = |number, step| not_opened(io::Error::from_raw_os_error(number), step).to_string();
        expect![[r#"
            no virtual joystick: the kernel module uinput is not loaded: run `modprobe uinput` as root
            no virtual joystick: this user may not open /dev/uinput: install packaging/linux/60-tallywheel.rules as /etc/udev/rules.d/60-tallywheel.rules, as its first lines say
            the virtual joystick could not be made (Too many open files (os error 24)): if it stays away, run `modprobe uinput` and look at `dmesg`
            the virtual joystick could not be made (Invalid argument (os error 22)): if it stays away, run `modprobe uinput` and look at `dmesg`
        "#]]
        .assert_eq(&format!(
            "{}\n{}\n{}\n{}\n",
            text(libc::ENOENT, Step::Open),
            text(libc::EACCES, Step::Open),
            text(libc::EMFILE, Step::Open),
            text(libc::EINVAL, Step::Create),
        ));
        for number in [libc::ENODEV, libc::ENXIO] {
            assert_eq!(text(number, Step::Open), text(libc::ENOENT, Step::Open));
        }
        assert_eq!(text(libc::EPERM, Step::Open), text(libc::EACCES, Step::Open));
        // Not finding something while the device is made is another matter than a missing node.
        let created = not_opened(io::Error::from_raw_os_error(libc::ENOENT), Step::Create);
        assert_eq!(created.kind(), ErrorKind::Reopen);
    }

    /// Whatever this machine offers: a joystick, or an error that says how to get one.
    #[test]
    fn opening_works_or_says_what_is_missing() {
        let config = OutputConfig::Axis {
            device: DeviceName::new("Tallywheel test"),
            axes: vec![(TrimIndex::new(0), AxisCode::X)],
            declared: vec![AxisCode::Rudder],
            scale: Scale::UNIT,
        };
        match crate::open(&config, Epoch::ZERO) {
            Ok(output) => {
                assert!(Path::new("/dev/uinput").exists());
                assert_eq!(output.name(), "axis \"Tallywheel test\"");
            }
            Err(error) => {
                assert_eq!(error.kind(), ErrorKind::AskUser);
                let missing = !Path::new("/dev/uinput").exists();
                let cure = if missing { "modprobe uinput" } else { "/etc/udev/rules.d/60-tallywheel.rules" };
                assert!(error.to_string().contains(cure), "{error}");
            }
        }
    }
}
