use crate::datagram::{self, DatagramConfig};
use crate::{AxisCode, ConfigProblem, KeysTrim, Pace, StepsTrim, axis, steps};
use tallywheel_units::{Scale, TrimIndex};

/// What to open: one output as the aircraft file describes it.
#[derive(Debug, Clone, PartialEq)]
pub enum OutputConfig {
    /// A joystick of the operating system's own, one axis per trim.
    Axis {
        /// The name that simulators show, 1..=78 bytes without control characters. Simulators recognise a
        /// joystick by it, so it stays the same from run to run.
        device_name: String,
        /// Which trim moves which axis.
        axes: Vec<(TrimIndex, AxisCode)>,
        /// Axes that the joystick has besides, at rest in the middle: those that other aircraft use, so that it
        /// stays the same joystick whatever is flown. Those of `axes` may be named again.
        declared: Vec<AxisCode>,
        /// What a position becomes, as a part of the whole axis: within -1..=1.
        scale: Scale,
    },
    /// UDP datagrams.
    Datagram(DatagramConfig),
    /// Presses of virtual buttons that move a simulator's trim step by step.
    Steps {
        /// The name that simulators show, as for [`Self::Axis`], and another one than any axis has.
        device_name: String,
        /// Which trims are followed with which buttons.
        trims: Vec<StepsTrim>,
        /// How the buttons are pressed.
        pace: Pace,
    },
    /// Presses of keys, which go to whatever window is in front.
    Keys {
        /// Which trims are followed with which keys.
        trims: Vec<KeysTrim>,
        /// How the keys are pressed.
        pace: Pace,
    },
    /// Takes every frame and does nothing with it: for tests, and for running without a simulator.
    Null,
}

impl OutputConfig {
    /// What it is and where it leads, for people: `axis "Tallywheel bench"`, `datagram 127.0.0.1:47811`.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Self::Axis { device_name, .. } => format!("axis \"{device_name}\""),
            Self::Datagram(config) => format!("datagram {}", config.to),
            Self::Steps { device_name, .. } => format!("steps \"{device_name}\""),
            Self::Keys { trims, .. } => format!("keys {}", steps::keys(trims).join(" ")),
            Self::Null => "null".to_owned(),
        }
    }

    /// Finds what is wrong with it without opening anything: all that [`open`](crate::open) would refuse on
    /// this system whatever the machine's state.
    ///
    /// # Errors
    /// The first problem found.
    pub fn check(&self) -> Result<(), ConfigProblem> {
        match self {
            Self::Axis { device_name, axes, scale, .. } => axis::check(device_name, axes, *scale),
            Self::Datagram(config) => datagram::check(config),
            Self::Steps { device_name, trims, pace } => steps::check(device_name, trims, pace),
            Self::Keys { trims, pace } => steps::check_keys(trims, pace),
            Self::Null => Ok(()),
        }
    }
}
