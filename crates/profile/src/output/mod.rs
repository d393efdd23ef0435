//! What an output is: the one description that reading an aircraft file makes and that the output crate opens.

mod axis_code;
mod destination;
mod key;
mod layout;
mod scale;
mod template;

pub use axis_code::AxisCode;
pub use destination::Destination;
pub use key::{KeyPlace, ScanCode};
pub use layout::{ByteOrder, LayoutField, NumberForm, NumberKind, NumberSource, TextForm, TrimValue};
pub use scale::Scale;
pub use template::Template;

use crate::read::Setting;
use crate::{Aircraft, Rig, words};
use std::fmt;
use std::time::Duration;
use tallywheel_units::{ButtonNumber, TrimIndex};

/// One output, as an `[[output]]` of an aircraft file describes it. [`Self::on`] adds what only the rig and the other
/// aircraft know.
#[derive(Debug, Clone, PartialEq)]
pub enum OutputConfig {
    /// A joystick of the operating system's own, one axis per trim.
    Axis {
        /// The name that simulators show; none to name it after the rig. Simulators recognise a joystick by it, so it
        /// stays the same from run to run.
        device: Option<DeviceName>,
        /// Which trim moves which axis, in the order of the trims, at least one. No trim and no axis twice.
        axes: Vec<(TrimIndex, AxisCode)>,
        /// Axes that the joystick has besides, at rest in the middle: those that other aircraft use, so that it
        /// stays the same joystick whatever aircraft is in use. Those of `axes` may be named again.
        declared: Vec<AxisCode>,
        /// What a position becomes, as a part of the whole axis: within -1..=1.
        scale: Scale,
    },
    /// UDP datagrams.
    Datagram(DatagramConfig),
    /// Presses of virtual buttons that move a simulator's trim step by step.
    Steps {
        /// The name that simulators show, as for [`Self::Axis`], and another one than any axis has.
        device: Option<DeviceName>,
        /// Which trims are followed with which buttons, at least one. No trim and no button twice.
        trims: Vec<StepsTrim>,
        /// How the buttons are pressed.
        pace: Pace,
    },
    /// Presses of keys, which go to whatever window is in front.
    Keys {
        /// Which trims are followed with which keys, at least one. No trim and no key twice.
        trims: Vec<KeysTrim>,
        /// How the keys are pressed.
        pace: Pace,
    },
}

impl OutputConfig {
    /// Names the output and where it leads, for people: `axis "Tallywheel bench"`, `datagram 127.0.0.1:47811`.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Self::Axis { device, .. } => joystick("axis", device.as_ref()),
            Self::Datagram(config) => format!("datagram {}", config.to),
            Self::Steps { device, .. } => joystick("steps", device.as_ref()),
            Self::Keys { trims, .. } => {
                let keys: Vec<_> =
                    trims.iter().flat_map(|trim| [trim.low, trim.high]).map(KeyPlace::name).collect();
                format!("keys {}", keys.join(" "))
            }
        }
    }

    /// The output on a rig: a joystick without a name gets the rig's, and a joystick with axes has those of every
    /// aircraft of `all_aircraft` that uses it.
    #[must_use]
    pub fn on<'a>(mut self, rig: &Rig, all_aircraft: impl IntoIterator<Item = &'a Aircraft>) -> Self {
        match &mut self {
            Self::Axis { device, declared, .. } => {
                *declared = axes_of(device.as_ref(), all_aircraft);
                device.get_or_insert_with(|| rig.device_name());
            }
            Self::Steps { device, .. } => {
                device.get_or_insert_with(|| rig.steps_device_name());
            }
            Self::Datagram(_) | Self::Keys { .. } => {}
        }
        self
    }

    /// The trims whose positions go out, each once, in the order in which the output has them.
    #[must_use]
    pub fn trims(&self) -> Vec<TrimIndex> {
        match self {
            Self::Axis { axes, .. } => axes.iter().map(|(trim, _)| *trim).collect(),
            Self::Datagram(config) => config.sent(),
            Self::Steps { trims, .. } => trims.iter().map(|pressed| pressed.trim).collect(),
            Self::Keys { trims, .. } => trims.iter().map(|pressed| pressed.trim).collect(),
        }
    }
}

fn joystick(kind: &str, device: Option<&DeviceName>) -> String {
    device.map_or_else(|| kind.to_owned(), |device| format!("{kind} \"{device}\""))
}

/// All axes that some aircraft has on this joystick, in the order of [`AxisCode::ALL`].
fn axes_of<'a>(
    joystick: Option<&DeviceName>,
    all_aircraft: impl IntoIterator<Item = &'a Aircraft>,
) -> Vec<AxisCode> {
    let outputs = all_aircraft.into_iter().flat_map(|aircraft| &aircraft.outputs);
    let used: Vec<_> = outputs
        .filter_map(|output| match output {
            OutputConfig::Axis { device, axes, .. } if device.as_ref() == joystick => Some(axes),
            _ => None,
        })
        .flatten()
        .map(|(_, axis)| *axis)
        .collect();
    AxisCode::ALL.into_iter().filter(|axis| used.contains(axis)).collect()
}

/// Datagrams to one receiver.
#[derive(Debug, Clone, PartialEq)]
pub struct DatagramConfig {
    /// Where they go.
    pub to: Destination,
    /// How they are written.
    pub template: Template,
    /// Which trims they carry and under which names, in this order, none twice. A [`Template::Layout`] names its trims
    /// itself, and this is empty.
    pub trims: Vec<(TrimIndex, String)>,
    /// What a position becomes. The trims of a [`Template::Layout`] have each their own instead.
    pub scale: Scale,
    /// The least time between two datagrams, at most 10 s; what moves within it is sent at its end, the newest
    /// position only. Zero for no limit.
    pub min_interval: Duration,
    /// After so long without a change the position is sent again, for receivers that start late or expect to hear
    /// from time to time: 10 ms to 1 h, and at least `min_interval`. Without, nothing is sent and nothing wakes up
    /// while nothing moves.
    pub keep_alive: Option<Duration>,
}

impl DatagramConfig {
    /// The most bytes of a datagram. With IP and UDP headers it fits into one Ethernet frame of 1,500 bytes, with room
    /// for a tunnel's own header.
    pub const LARGEST_BYTES: usize = 1_400;

    /// Every change is sent at once, and the position as it is.
    #[must_use]
    pub fn new(to: impl Into<Destination>, template: Template, trims: Vec<(TrimIndex, String)>) -> Self {
        let (to, scale) = (to.into(), Scale::UNIT);
        Self { to, template, trims, scale, min_interval: Duration::ZERO, keep_alive: None }
    }

    /// The trims that the datagrams carry, in the order in which they do.
    #[must_use]
    pub fn sent(&self) -> Vec<TrimIndex> {
        match &self.template {
            Template::Layout(fields) => LayoutField::trims(fields),
            _ => self.trims.iter().map(|(trim, _)| *trim).collect(),
        }
    }
}

/// One trim of a steps output, and what is pressed for it: buttons of a virtual joystick, 1..=56, or keys.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StepsTrim<B = ButtonNumber> {
    /// Which trim is followed.
    pub trim: TrimIndex,
    /// What moves the simulator's trim by one step towards the low stop when it is pressed.
    pub low: B,
    /// What moves it by one step towards the high stop.
    pub high: B,
}

/// A trim for which keys of the keyboard are pressed.
pub type KeysTrim = StepsTrim<KeyPlace>;

/// How buttons are pressed. The defaults suit a simulator that looks at its buttons 30 times a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pace {
    /// Presses that move the simulator's trim from its low end to its high end, at least 1.
    pub presses: u16,
    /// How long a button is held, at least 1 ms. Default 30 ms.
    pub press: Duration,
    /// How long no button is held between two presses, at least 1 ms. Default 30 ms.
    pub pause: Duration,
    /// Presses more that are made at each arrival at a stop. The simulator's own end swallows them;
    /// where it has missed presses before, they bring it to the stop. Default 3.
    pub extra: u8,
    /// How long after the last press the simulator's report is believed to tell of that press. Default 500 ms.
    pub settle: Duration,
}

impl Pace {
    /// The defaults for all but the presses from stop to stop.
    #[must_use]
    pub const fn new(presses: u16) -> Self {
        Self {
            presses,
            press: Duration::from_millis(30),
            pause: Duration::from_millis(30),
            extra: 3,
            settle: Duration::from_millis(500),
        }
    }
}

/// The name of a virtual joystick: 1 to [`Self::LONGEST_BYTES`] bytes without line breaks and without blanks at its
/// ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeviceName(String);

impl DeviceName {
    /// The longest name in bytes: the kernel's 80 (`UINPUT_MAX_NAME_SIZE`) less the two that `evdev` 0.13's builder
    /// insists on; it panics on a longer one.
    pub const LONGEST_BYTES: usize = 78;

    /// Takes a name that the kernel takes too; `None` for any other.
    #[must_use]
    pub fn new(name: &str) -> Option<Self> {
        let fits = (1..=Self::LONGEST_BYTES).contains(&name.len());
        (fits && words::is_plain(name)).then(|| Self(name.to_owned()))
    }

    /// Puts `end` after as much of `start` as fits. Both are without line breaks, and `end` is short.
    #[must_use]
    pub fn cut(start: &str, end: &str) -> Self {
        let fits = |bytes: &usize| bytes + end.len() <= Self::LONGEST_BYTES;
        let cut = start.char_indices().map(|(at, c)| at + c.len_utf8()).take_while(fits).last();
        Self(start.get(..cut.unwrap_or(0)).unwrap_or_default().to_owned() + end)
    }

    /// The name as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for DeviceName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl Setting for DeviceName {
    fn expected() -> String {
        format!(
            "a name of 1 to {} bytes, without line breaks and without blanks at its ends",
            Self::LONGEST_BYTES
        )
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        crate::schema::plain_text(1, Self::LONGEST_BYTES)
    }

    fn from_text(text: &str) -> Option<Self> {
        Self::new(text)
    }
}
