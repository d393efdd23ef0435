use crate::{AxisCode, ConfigProblem, Pace, StepsTrim, axis, datagram, steps};
use std::net::SocketAddr;
use tallywheel_units::TrimIndex;

/// What to open: one output as the aircraft file describes it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OutputConfig {
    /// A joystick of the operating system's own, one axis per trim.
    Axis {
        /// The name that simulators show, 1..=78 bytes without control characters. Simulators recognise a
        /// joystick by it, so it stays the same from run to run.
        device_name: String,
        /// Which trim moves which axis.
        axes: Vec<(TrimIndex, AxisCode)>,
    },
    /// UDP datagrams.
    Datagram {
        /// Where they go: one receiver's address and port.
        to: SocketAddr,
        /// How they are written.
        template: Template,
        /// Which trims they carry and under which names, in this order.
        trims: Vec<(TrimIndex, String)>,
    },
    /// Presses of virtual buttons that move a simulator's trim step by step.
    Steps {
        /// The name that simulators show, as for [`Self::Axis`], and another one than any axis has.
        device_name: String,
        /// Which trims are followed with which buttons.
        trims: Vec<StepsTrim>,
        /// How the buttons are pressed.
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
            Self::Datagram { to, .. } => format!("datagram {to}"),
            Self::Steps { device_name, .. } => format!("steps \"{device_name}\""),
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
            Self::Axis { device_name, axes } => axis::check(device_name, axes),
            Self::Datagram { to, template, trims } => datagram::check(*to, *template, trims),
            Self::Steps { device_name, trims, pace } => steps::check(device_name, trims, pace),
            Self::Null => Ok(()),
        }
    }
}

/// How a datagram is written. [`Template::Json`] and [`Template::Line`] say what each looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Template {
    /// One JSON object per datagram (RFC 8259), without a newline:
    ///
    /// ```json
    /// {"tallywheel":1,"sequence":12,"time_us":3400150,"trims":{"rudder":{"position":-0.25,"axis":-8192,
    /// "degrees":240,"counts":-21,"margin":[0,0]}}}
    /// ```
    /// (on one line). `tallywheel` is the version of this layout; keys may be added without changing it, so
    /// receivers ignore what they do not know. `sequence` grows with every datagram, so a late one can be
    /// told; it has gaps where something changed that this output does not carry. `time_us` is in
    /// microseconds since Tallywheel was started. For each trim: `position` -1 at the low stop, 0 at neutral,
    /// 1 at the high stop, exactly these numbers there and nowhere else; `axis` the same as -32767..=32767;
    /// `degrees` of wheel rotation from the low stop; `counts` the tally of applied counts; `margin` how many
    /// counts the tally may be off, below and above, or `null` where there is no limit. Numbers are the
    /// shortest that read back as the same 64-bit float.
    #[default]
    Json,
    /// One text line per datagram, for receivers that read text with a separator: each trim's name and its
    /// position, everything separated by one space, ended by one newline:
    ///
    /// ```text
    /// rudder -0.25 elevator 1
    /// ```
    /// The position is -1..=1 as in [`Template::Json`], rounded to nine digits after the point, without
    /// trailing zeros and never with an exponent.
    Line,
}
