//! What was found on this machine, without any judgement.

use std::path::PathBuf;
use std::time::Duration;
use tallywheel_engine::state::Status;
use tallywheel_profile::UsbId;

/// Everything that is judged.
#[derive(Debug, Clone, Default)]
pub struct SystemFacts {
    /// Each file with what it holds, or with its mistakes.
    pub files: Vec<(PathBuf, Result<String, String>)>,
    /// Where log files belong, and why none can be written there.
    pub log_folder: Option<(PathBuf, String)>,
    /// The running daemon.
    pub daemon: Daemon,
    /// Whether there is a runtime folder of the user's session.
    pub runtime_folder: bool,
    /// The rig's boards.
    pub boards: Vec<ProbedBoard>,
    /// Rule files of the device manager that may have to do with us; nothing where there is no such thing.
    pub rules: Option<Vec<RuleFile>>,
    /// The door for virtual joysticks; nothing where no aircraft wants one.
    pub uinput: Option<DeviceAccess>,
    /// Where datagrams go.
    pub receivers: Vec<Receiver>,
    /// Where the simulator's reports are awaited, and whether some program has this port open; nothing where
    /// none are awaited or nobody here can tell.
    pub reports: Option<(String, bool)>,
    /// Where the tray would be shown; nothing where nobody here can tell.
    pub panel: Option<Panel>,
    /// The clock.
    pub clock: SystemClock,
}

/// Where the tray's icon would be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Panel {
    /// There is no session bus, or it does not answer.
    NoBus(String),
    /// Nobody on the bus collects icons.
    NobodyCollects,
    /// Icons are collected, and no panel shows them.
    NobodyShows,
    /// A panel shows icons.
    Shows,
}

/// The daemon.
#[derive(Debug, Clone, Default)]
pub enum Daemon {
    /// None runs for this folder.
    #[default]
    None,
    /// One runs, and it was asked how it stands.
    Runs(Box<Status>),
    /// One runs and could not be asked.
    Mute(String),
}

impl Daemon {
    /// Its process.
    #[must_use]
    pub fn process(&self) -> Option<u32> {
        match self {
            Self::Runs(status) => Some(status.process),
            Self::None | Self::Mute(_) => None,
        }
    }
}

/// One board of the rig file.
#[derive(Debug, Clone)]
pub struct ProbedBoard {
    /// Its name in the rig file.
    pub name: String,
    /// Its USB ids, if the file has them.
    pub usb: Option<UsbId>,
    /// What was found.
    pub seen: BoardPresence,
    /// Time between two reports as the rig file has it.
    pub stated_interval: Option<Duration>,
    /// How often the system asks it for a report.
    pub polled: Option<Duration>,
    /// Wheels whose buttons it does not have, each with the buttons.
    pub missing_buttons: Vec<(String, Vec<u8>)>,
    /// Programs that hold it open, but for the daemon.
    pub holders: Vec<Holder>,
    /// Programs that hold open what the kernel makes of its buttons for everybody, but for the daemon.
    pub listeners: Vec<Holder>,
}

/// What was found of a board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BoardPresence {
    /// Nothing.
    Absent,
    /// Several that match.
    Several(Vec<String>),
    /// One.
    Here {
        /// Where.
        path: String,
        /// Its USB ids.
        usb: UsbId,
        /// Why it cannot be opened, and the cure.
        refused: Option<(String, String)>,
        /// Whether its own description of its buttons can be used.
        described: bool,
    },
    /// Boards cannot be looked for.
    Unknown(String),
}

/// A program that has something open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holder {
    /// Its process.
    pub process: u32,
    /// What it is called.
    pub name: String,
}

/// A rule file of udev.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RuleFile {
    /// Where it is.
    pub path: PathBuf,
    /// What it says.
    pub text: String,
}

/// A device node.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DeviceAccess {
    /// It can be used.
    Usable,
    /// It is not there.
    Absent,
    /// It may not be used.
    Forbidden,
    /// The system says something else.
    Broken(String),
}

/// Where datagrams of an aircraft go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Receiver {
    /// The aircraft.
    pub aircraft: String,
    /// Where to.
    pub to: String,
    /// Whether some program has this port open; nothing where nobody here can tell.
    pub taken: Option<bool>,
}

/// The clock.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SystemClock {
    /// The smallest step it makes.
    pub step: Option<Duration>,
    /// What the kernel takes it from.
    pub source: Option<String>,
    /// Whether the date cannot be right, being before this program was made.
    pub date_wrong: bool,
}
