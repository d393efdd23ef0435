use super::buttons::{Buttons, Lost};
use super::output::Steps;
use crate::axis::device::{Step, not_opened};
use crate::axis::event::{EVENT_BYTES, encode};
use crate::{ConfigProblem, Output, OutputError};
use evdev::uinput::{VirtualDevice, VirtualDeviceBuilder};
use evdev::{
    AbsInfo, AbsoluteAxisCode, AttributeSet, BusType, EventType, InputId, KeyCode, SynchronizationCode,
    UinputAbsSetup,
};
use std::fs::File;
use std::io::{self, Write};
use std::os::fd::AsFd;
use tallywheel_profile::{Pace, StepsTrim};
use tallywheel_units::{AxisValue, ButtonNumber, Timestamp};

/// The same vendor as the virtual axis and a product of its own, so that a simulator tells the two apart.
const VENDOR: u16 = 0x1209;
const PRODUCT: u16 = 0x7a13;
const VERSION: u16 = 1;

/// Linux takes virtual buttons; whether this machine does shows when they are opened.
#[expect(clippy::unnecessary_wraps, reason = "other systems refuse")]
pub(super) const fn check() -> Result<(), ConfigProblem> {
    Ok(())
}

/// Creates the device and hands over its open node.
pub(super) fn open(
    name: String,
    device_name: &str,
    pace: Pace,
    places: &[(StepsTrim, AxisValue)],
    at: Timestamp,
) -> Result<Box<dyn Output>, OutputError> {
    let last = places.iter().map(|(trim, _)| trim.low.max(trim.high).get()).max().unwrap_or(1);
    let device_name = device_name.to_owned();
    let maker = move || {
        let builder = VirtualDevice::builder().map_err(|error| not_opened(error, Step::Open))?;
        create(builder, &device_name, last).map_err(|error| not_opened(error, Step::Create))
    };
    let pad = Pad { node: maker()?, maker: Box::new(maker) };
    Ok(Box::new(Steps::open(name, pace, places, at, pad)))
}

fn create(builder: VirtualDeviceBuilder<'_>, device_name: &str, last: u8) -> io::Result<File> {
    // All buttons up to the last, so that readers, which number those that there are, number them as the
    // aircraft file does; and X and Y, without which SDL and udev see no joystick.
    let mut buttons = AttributeSet::<KeyCode>::new();
    (1..=last).for_each(|number| buttons.insert(KeyCode(code(number))));
    let mut builder = builder
        .name(device_name)
        .input_id(InputId::new(BusType::BUS_VIRTUAL, VENDOR, PRODUCT, VERSION))
        .with_keys(&buttons)?;
    for axis in [AbsoluteAxisCode::ABS_X, AbsoluteAxisCode::ABS_Y] {
        let info = AbsInfo::new(0, AxisValue::MIN.get(), AxisValue::MAX.get(), 0, 0, 0);
        builder = builder.with_absolute_axis(&UinputAbsSetup::new(axis, info))?;
    }
    builder.build()?.as_fd().try_clone_to_owned().map(File::from)
}

/// The kernel's code for the button with that number, as its HID driver gives them to a joystick
/// (`drivers/hid/hid-input.c`, `HID_UP_BUTTON`): 16 from `BTN_JOYSTICK`, the others from
/// `BTN_TRIGGER_HAPPY1` (`include/uapi/linux/input-event-codes.h`).
const fn code(number: u8) -> u16 {
    // Lossless; `From` is not const.
    let [number, zero] = [number, 0];
    let number = u16::from_le_bytes([number, zero]);
    if number <= 16 { 0x120 + number - 1 } else { 0x2c0 + number - 17 }
}

/// A virtual joystick of which only the buttons are used. `W` is its open node.
struct Pad<W> {
    node: W,
    maker: Box<dyn FnMut() -> Result<W, OutputError> + Send>,
}

impl<W: Write + Send> Buttons for Pad<W> {
    type Button = ButtonNumber;

    const LOST: Lost = Lost {
        reason: "the virtual buttons were lost and had to be made anew",
        cure: "if the simulator does not follow any more, assign them again",
    };

    fn renew(&mut self) -> Result<(), OutputError> {
        self.node = (self.maker)()?;
        Ok(())
    }

    fn hold(&mut self, button: ButtonNumber, held: bool) -> io::Result<()> {
        let mut batch = [0; 2 * EVENT_BYTES];
        let (press, end) = batch.split_at_mut(EVENT_BYTES);
        press.copy_from_slice(&encode(EventType::KEY.0, code(button.get()), i32::from(held)));
        end.copy_from_slice(&encode(EventType::SYNCHRONIZATION.0, SynchronizationCode::SYN_REPORT.0, 0));
        loop {
            match self.node.write(&batch) {
                Ok(written) if written == batch.len() => return Ok(()),
                Ok(_) => return Err(io::ErrorKind::WriteZero.into()),
                // A signal came before anything was written.
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ErrorKind;
    use std::path::Path;
    use tallywheel_profile::{DeviceName, OutputConfig};
    use tallywheel_units::TrimIndex;

    /// `BTN_TRIGGER` 0x120, `BTN_DEAD` 0x12f, `BTN_TRIGGER_HAPPY1` 0x2c0, `BTN_TRIGGER_HAPPY40` 0x2e7 in
    /// `include/uapi/linux/input-event-codes.h`.
    #[test]
    fn button_codes_are_the_kernels() {
        assert_eq!([1, 2, 16, 17, 56].map(code), [0x120, 0x121, 0x12f, 0x2c0, 0x2e7]);
        assert_eq!(KeyCode(code(1)), KeyCode::BTN_TRIGGER);
        assert_eq!(KeyCode(code(16)), KeyCode::BTN_DEAD);
        assert_eq!(KeyCode(code(17)), KeyCode::BTN_TRIGGER_HAPPY1);
        assert_eq!(KeyCode(code(56)), KeyCode::BTN_TRIGGER_HAPPY40);
    }

    /// `struct input_event` on x86-64 written out by hand: EV_KEY 1, BTN_THUMB 0x121; EV_SYN 0.
    #[cfg(all(target_pointer_width = "64", target_endian = "little"))]
    #[test]
    fn a_press_is_one_write_of_one_key_and_the_reports_end() {
        let button = ButtonNumber::new(2).unwrap();
        let mut pad = pad(Vec::new());
        pad.hold(button, true).unwrap();
        let mut bytes = [0; 48];
        (bytes[16], bytes[18], bytes[19], bytes[20]) = (1, 0x21, 1, 1);
        assert_eq!(pad.node, bytes);
        pad.node.clear();
        pad.hold(button, false).unwrap();
        bytes[20] = 0;
        assert_eq!(pad.node, bytes);
    }

    fn pad<W: 'static>(node: W) -> Pad<W> {
        Pad { node, maker: Box::new(|| panic!("not asked for")) }
    }

    #[test]
    fn half_a_press_is_an_error() {
        struct Half;
        impl Write for Half {
            fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
                Ok(bytes.len() / 2)
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let error = pad(Half).hold(ButtonNumber::LAST, true).unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::WriteZero);
    }

    /// Whatever this machine offers: buttons, or an error that says how to get them.
    #[test]
    fn opening_works_or_says_what_is_missing() {
        let button = |number| ButtonNumber::new(number).unwrap();
        let config = OutputConfig::Steps {
            device: DeviceName::new("Tallywheel test"),
            trims: vec![StepsTrim { trim: TrimIndex::new(0), low: button(1), high: button(2) }],
            pace: Pace::new(200),
        };
        match crate::open(&config, crate::Epoch::ZERO) {
            Ok(output) => assert_eq!(output.name(), "steps \"Tallywheel test\""),
            Err(error) => {
                assert_eq!(error.kind(), ErrorKind::AskUser);
                let missing = !Path::new("/dev/uinput").exists();
                let cure = if missing { "modprobe uinput" } else { "/etc/udev/rules.d/60-tallywheel.rules" };
                assert!(error.to_string().contains(cure), "{error}");
            }
        }
    }
}
