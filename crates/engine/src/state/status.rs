//! What the interface says of the daemon: a promise to scripts, as `openapi.json` describes it.

use serde::{Deserialize, Serialize};
use tallywheel_units::{Loss, Margin};

/// The version of this form; it rises when a field changes its meaning or goes.
pub const FORM: u32 = 1;

/// Everything about a running daemon.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Status {
    /// The form of this text, [`FORM`].
    pub tallywheel: u32,
    /// The program's version.
    pub version: String,
    /// The process.
    pub process: u32,
    /// Seconds since the start.
    pub running_s: f64,
    /// The folder with rig.toml.
    pub config: String,
    /// The log file.
    pub log: String,
    /// How much is logged.
    pub log_level: String,
    /// The rig's name.
    pub rig: String,
    /// The aircraft that is flown.
    pub aircraft: Flown,
    /// Whether the outputs are held: the wheels are counted and nothing is published.
    pub held: bool,
    /// Reports read of all boards.
    pub reports: u64,
    /// The boards, in the order of the rig file.
    pub boards: Vec<BoardStatus>,
    /// The wheels, in the order of the rig file.
    pub wheels: Vec<WheelStatus>,
    /// The trims, in the order of the aircraft file.
    pub trims: Vec<TrimStatus>,
    /// Losses since the start, those kinds that occurred.
    pub losses: Vec<KindStatus>,
    /// The outputs, in the order of the aircraft file.
    pub outputs: Vec<OutputStatus>,
    /// What is known of the simulator's own side; nothing if it is not listened to.
    pub simulator: Option<SimulatorStatus>,
    /// Files that were not taken, and why.
    pub wrong_files: Vec<WrongFile>,
    /// How many of the program's own checks have failed since the start; anything but 0 is a mistake in the program.
    #[serde(default)]
    pub broken_invariants: u64,
}

/// Which aircraft.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Flown {
    /// Its name.
    pub name: String,
    /// Its file's name without `.toml`.
    pub file: String,
}

/// One board.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct BoardStatus {
    /// Its name in the rig file.
    pub name: String,
    /// How it stands.
    pub state: BoardState,
    /// Where it was opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub path: Option<String>,
    /// What it calls itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub device: Option<String>,
    /// Why it is not read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// What to do about it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cure: Option<String>,
    /// The device that has all of it but its wheels, while those are hidden.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub twin: Option<String>,
    /// Why its wheels are not hidden although the rig file asks for that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_hidden: Option<String>,
}

/// How a board stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum BoardState {
    /// Not looked for yet.
    Starting,
    /// Being read.
    Reading,
    /// Not plugged in.
    Missing,
    /// Unplugged.
    Gone,
    /// There, but cannot be read.
    Refused,
}

/// How many counts may be missing below and above; nothing when that is unknown.
pub type MarginStatus = Option<[i64; 2]>;

/// A margin as the interface says it.
#[must_use]
pub const fn margin(margin: Margin) -> MarginStatus {
    if margin.is_unknown() { None } else { Some([margin.low().get(), margin.high().get()]) }
}

/// One wheel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WheelStatus {
    /// Its name in the rig file.
    pub name: String,
    /// The board it is on.
    pub board: String,
    /// Counts since the start, forward positive.
    pub counts: i64,
    /// The same without direction.
    pub turned: i64,
    /// How far `counts` may be off.
    pub margin: MarginStatus,
}

/// One trim.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TrimStatus {
    /// Its name in the aircraft file.
    pub name: String,
    /// The wheel that moves it.
    pub wheel: String,
    /// -1 at the low stop, 0 at neutral, 1 at the high stop.
    pub position: f64,
    /// The same on the 16-bit axis.
    pub axis: i32,
    /// Degrees of the wheel above the low stop.
    pub degrees: f64,
    /// Degrees from stop to stop.
    pub travel_degrees: f64,
    /// Degrees from the low stop to neutral.
    pub neutral_degrees: f64,
    /// How many counts the position may be off.
    pub margin: MarginStatus,
    /// The stop it is at.
    pub at_stop: Option<StopName>,
    /// Counts that a stop refused since the start.
    pub refused: f64,
    /// Whether this trim is not published now.
    pub held: bool,
}

/// One of the two stops.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum StopName {
    /// The low one.
    Low,
    /// The high one.
    High,
}

/// Losses of one kind.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KindStatus {
    /// Which.
    pub kind: String,
    /// How many since the start.
    pub losses: u64,
}

/// One output.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OutputStatus {
    /// What it is and where it leads.
    pub name: String,
    /// Whether frames get out.
    pub state: OutputState,
    /// Frames that got out.
    pub published: u64,
    /// Errors since the start.
    pub errors: u64,
    /// The last that went wrong and its cure.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trouble: Option<Trouble>,
}

/// Whether an output's frames get out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum OutputState {
    /// Not tried yet.
    Starting,
    /// Yes.
    Open,
    /// No; tried again by itself.
    Failed,
    /// No; the file must change.
    Refused,
}

/// Something that went wrong.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Trouble {
    /// What, and what to do.
    pub what: String,
    /// How long ago.
    pub seconds_ago: f64,
}

/// The link to the simulator's side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SimulatorStatus {
    /// Whether it has said something lately.
    pub heard: bool,
    /// The title of its aircraft, as last said.
    pub title: Option<String>,
    /// Whether it is paused.
    pub paused: bool,
    /// The address and port that it reports to.
    pub listen: String,
    /// Why it cannot be listened to there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_listening: Option<String>,
    /// What came in.
    pub datagrams: DatagramsStatus,
}

/// Datagrams at the simulator's port since the start, each counted once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct DatagramsStatus {
    /// Taken for what the simulator says.
    pub accepted: u64,
    /// Dropped: late, repeated or of a session that is over.
    pub late: u64,
    /// Dropped: nothing that the simulator would send.
    pub malformed: u64,
    /// Dropped: from senders that are not allowed.
    pub strangers: u64,
    /// Dropped: beyond what is looked at in a second.
    pub flooded: u64,
}

/// A file that was not taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WrongFile {
    /// Which.
    pub file: String,
    /// Each mistake with its place.
    pub mistakes: Vec<String>,
}

/// The last losses, the newest last.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Losses {
    /// They.
    pub losses: Vec<LossStatus>,
    /// How many older ones are not among them.
    pub older: u64,
}

/// One loss.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LossStatus {
    /// The board.
    pub board: String,
    /// The wheel.
    pub wheel: String,
    /// What was seen.
    pub kind: String,
    /// `observed` or `inferred`.
    pub certainty: String,
    /// Whose doing it most likely is.
    pub fault: String,
    /// How long ago the evidence was complete.
    pub seconds_ago: f64,
    /// How long the evidence took to gather.
    pub lasted_ms: f64,
    /// How many counts it may have cost.
    pub margin: MarginStatus,
    /// The likely cause.
    pub cause: String,
    /// What to do.
    pub cure: String,
}

impl LossStatus {
    /// A loss of `wheel` on `board`, so long ago.
    #[must_use]
    pub fn new(board: &str, wheel: &str, loss: &Loss, seconds_ago: f64) -> Self {
        Self {
            board: board.to_owned(),
            wheel: wheel.to_owned(),
            kind: loss.kind.name().to_owned(),
            certainty: loss.certainty.name().to_owned(),
            fault: loss.kind.fault().name().to_owned(),
            seconds_ago,
            lasted_ms: loss.lasted.as_secs_f64() * 1e3,
            margin: margin(loss.bound),
            cause: loss.kind.cause().to_owned(),
            cure: loss.kind.advice().to_owned(),
        }
    }
}

/// The aircraft files there are.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hangar {
    /// They, by their files' names.
    pub aircraft: Vec<Parked>,
}

/// One aircraft file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Parked {
    /// Its file's name without `.toml`.
    pub file: String,
    /// Its name, unless the file is wrong.
    pub name: Option<String>,
    /// Whether it is the one that is flown.
    pub flown: bool,
}

/// How much is logged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LogLevel {
    /// As after `--log`.
    pub level: String,
}
