//! The rig file.

mod button;
mod check;
pub(crate) mod file;
mod simulator;

pub use button::{Button, Press, Spot};
pub(crate) use check::check;
pub use simulator::Simulator;

use crate::output::DeviceName;
use crate::read::Setting;
use std::fmt;
use std::time::Duration;
use tallywheel_units::{BoardIndex, ButtonNumber, CountsPerTurn};
pub use tallywheel_units::{ButtonRun, WheelInputs};

/// A checked rig: names are unique, every wheel is on a board of the rig, no button has two uses.
#[derive(Debug, Clone, PartialEq)]
pub struct Rig {
    /// The rig's name.
    pub name: String,
    /// Whether the running daemon takes commands.
    pub control: bool,
    /// The boards, at least one; a [`BoardIndex`] is a place in this list.
    pub boards: Vec<Board>,
    /// The wheels, at least one; a [`tallywheel_units::WheelIndex`] is a place in this list.
    pub wheels: Vec<Wheel>,
    /// Where the simulator's reports come in, if they do.
    pub simulator: Option<Simulator>,
    /// Buttons that do something, maybe none.
    pub buttons: Vec<Button>,
}

impl Rig {
    /// Names the rig's virtual joystick, for aircraft that do not: `Tallywheel` and the rig's name, cut to what the
    /// kernel takes.
    #[must_use]
    pub fn device_name(&self) -> DeviceName {
        DeviceName::cut(&format!("Tallywheel {}", self.name), "")
    }

    /// Names the joystick of a steps output: the same and `steps`.
    #[must_use]
    pub fn steps_device_name(&self) -> DeviceName {
        DeviceName::cut(&format!("Tallywheel {}", self.name), " steps")
    }
}

/// One board of a rig. At least one of `usb`, `serial` and `path` is given.
#[derive(Debug, Clone, PartialEq)]
pub struct Board {
    /// Its name, unique in the rig.
    pub name: String,
    /// Vendor and product.
    pub usb: Option<UsbId>,
    /// Serial number, not empty.
    pub serial: Option<String>,
    /// Where the operating system finds it, not empty.
    pub path: Option<String>,
    /// Time between two reports while something changes, 0.125 ms to 1 s.
    pub report_interval: Option<Duration>,
    /// Whether simulators are kept from seeing its wheels; never with `buttons`.
    pub hide: bool,
    /// Which bits are which buttons; empty to go by the board's report descriptor. No bit and no button is
    /// in two runs, and either all runs have a report ID or none has.
    pub buttons: Vec<ButtonRun>,
}

/// A USB vendor and product number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct UsbId {
    /// The vendor.
    pub vendor: u16,
    /// The vendor's product.
    pub product: u16,
}

impl fmt::Display for UsbId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04x}:{:04x}", self.vendor, self.product)
    }
}

impl Setting for UsbId {
    fn expected() -> String {
        "two numbers of four hexadecimal digits, such as \"1209:7a11\"".to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "string", "pattern": "^[0-9a-fA-F]{4}:[0-9a-fA-F]{4}$" })
    }

    fn from_text(text: &str) -> Option<Self> {
        let number = |digits: &str| {
            let four = digits.len() == 4 && digits.bytes().all(|b| b.is_ascii_hexdigit());
            four.then(|| u16::from_str_radix(digits, 16).ok()).flatten()
        };
        let (vendor, product) = text.split_once(':')?;
        Some(Self { vendor: number(vendor)?, product: number(product)? })
    }
}

/// One wheel of a rig.
#[derive(Debug, Clone, PartialEq)]
pub struct Wheel {
    /// Its name, unique in the rig.
    pub name: String,
    /// The board that it is on.
    pub board: BoardIndex,
    /// The two buttons that count.
    pub inputs: WheelInputs,
    /// Counts in one turn of the wheel in the hand.
    pub per_turn: CountsPerTurn,
    /// Counts from detent to detent, at least 1.
    pub counts_per_detent: Option<u32>,
    /// How long the board presses a button for a count, 0.125 ms to 1 s; pulses only.
    pub pulse_on: Option<Duration>,
    /// How long it releases it at least before the next, 0.125 ms to 1 s; pulses only.
    pub pulse_off: Option<Duration>,
    /// The button pressed once a turn.
    pub index: Option<ButtonNumber>,
    /// Whether the buttons of `inputs` are pressed at rest.
    pub pressed_at_rest: bool,
    /// Whether the counts have the wrong sign.
    pub reversed: bool,
}
