use super::Place;
use super::joystick::Joystick;
use crate::{AxisCode, Output, OutputError};
use evdev::uinput::VirtualDevice;
use evdev::{AbsInfo, AbsoluteAxisCode, AttributeSet, BusType, InputId, KeyCode, UinputAbsSetup};
use std::ffi::CString;
use std::fs::File;
use std::io;
use std::os::fd::AsFd;
use tallywheel_units::AxisValue;

/// The joystick's identity, by which simulators recognise it: the open-source vendor id and a product id
/// that is ours.
const VENDOR: u16 = 0x1209;
const PRODUCT: u16 = 0x7a12;
const VERSION: u16 = 1;

/// Creates the device and hands over its open node.
pub(super) fn open(
    name: String,
    device_name: &str,
    places: &[Place],
) -> Result<Box<dyn Output>, OutputError> {
    let builder = VirtualDevice::builder().map_err(|error| not_opened(error, Step::Open))?;
    let node = create(builder, device_name, places).map_err(|error| not_opened(error, Step::Create))?;
    Ok(Box::new(Joystick::new(name, node, places)))
}

fn create(
    builder: evdev::uinput::VirtualDeviceBuilder<'_>,
    device_name: &str,
    places: &[Place],
) -> io::Result<File> {
    // SDL takes a device for a joystick if it has X, Y and a joystick button, and udev takes one without a
    // button for an accelerometer; so these are there even if a single wheel moves another axis.
    let mut buttons = AttributeSet::<KeyCode>::new();
    buttons.insert(KeyCode::BTN_TRIGGER);
    let phys = CString::new(format!("tallywheel/{device_name}"))?;
    let mut builder = builder
        .name(device_name)
        .input_id(InputId::new(BusType::BUS_VIRTUAL, VENDOR, PRODUCT, VERSION))
        .with_phys(&phys)?
        .with_keys(&buttons)?;
    for setup in setups(places) {
        builder = builder.with_absolute_axis(&setup)?;
    }
    // The device lives as long as any descriptor of the node, so this one is all that is kept of it: the
    // `evdev` crate's own way of sending makes four writes per change.
    builder.build()?.as_fd().try_clone_to_owned().map(File::from)
}

/// The axes that the device has, each at its start.
fn setups(places: &[Place]) -> Vec<UinputAbsSetup> {
    let mut axes: Vec<_> = places.iter().map(|place| (place.axis, place.value)).collect();
    for axis in [AxisCode::X, AxisCode::Y] {
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
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    Open,
    Create,
}

fn not_opened(error: io::Error, step: Step) -> OutputError {
    match (step, error.raw_os_error()) {
        // No node; or a node that stands for a module which cannot be loaded.
        (Step::Open, Some(libc::ENOENT | libc::ENODEV | libc::ENXIO)) => OutputError::AskUser {
            reason: "no virtual joystick: the kernel module uinput is not loaded",
            cure: "run `modprobe uinput` as root",
        },
        (Step::Open, Some(libc::EACCES | libc::EPERM)) => OutputError::AskUser {
            reason: "no virtual joystick: this user may not open /dev/uinput",
            cure: "install packaging/linux/60-tallywheel.rules as /etc/udev/rules.d/60-tallywheel.rules, \
                   then run `udevadm control --reload && udevadm trigger /dev/uinput` as root",
        },
        _ => OutputError::Reopen {
            reason: "the virtual joystick could not be made",
            cure: "if it stays away, run `modprobe uinput` and look at `dmesg`",
            source: error,
        },
    }
}
