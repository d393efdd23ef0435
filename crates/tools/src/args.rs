//! The options of the commands in this crate, in plain words.

use clap::{Args, ValueHint};
use std::path::PathBuf;

/// Where the files are.
#[derive(Debug, Args)]
pub struct FolderArgs {
    /// The folder with rig.toml and aircraft/ [default: the user's configuration folder]
    #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath)]
    pub config: Option<PathBuf>,
}

/// Options of `doctor`.
#[derive(Debug, Args)]
pub struct DoctorArgs {
    /// Where the files are.
    #[command(flatten)]
    pub folder: FolderArgs,
    /// The folder for log files [default: the user's state folder]
    #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath)]
    pub log_dir: Option<PathBuf>,
    /// One JSON array instead of text.
    #[arg(long)]
    pub json: bool,
}

/// Options of `demo`.
#[derive(Debug, Args)]
pub struct DemoArgs {
    /// As fast as the machine can instead of as fast as the hand turned.
    #[arg(long)]
    pub fast: bool,
    /// One JSON object for each change and, last, a summary.
    #[arg(long)]
    pub json: bool,
}

/// Options of `boards`.
#[derive(Debug, Args)]
pub struct BoardsArgs {
    /// One JSON array instead of a table.
    #[arg(long, conflicts_with = "watch")]
    pub json: bool,
    /// Then say which button is pressed or released, until Ctrl-C: turn a wheel to find its two buttons.
    #[arg(long)]
    pub watch: bool,
}

/// Options of `check`.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Where the files are.
    #[command(flatten)]
    pub folder: FolderArgs,
}

/// Options of `capture`.
#[derive(Debug, Args)]
pub struct CaptureArgs {
    /// Where the files are.
    #[command(flatten)]
    pub folder: FolderArgs,
    /// The board's name in the rig file, or its device path [default: the rig's only board]
    #[arg(long, value_name = "NAME|PATH")]
    pub board: Option<String>,
    /// Stop after so many seconds [default: at Ctrl-C]
    #[arg(long, value_name = "SECONDS")]
    pub seconds: Option<f64>,
    /// The file to write; "-" for standard output.
    #[arg(value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub to: PathBuf,
}

/// Options of `replay`.
#[derive(Debug, Args)]
pub struct ReplayArgs {
    /// A recording in the hid-recorder text format; "-" for standard input.
    #[arg(value_name = "RECORDING", value_hint = ValueHint::FilePath)]
    pub recording: PathBuf,
    /// The rig file that says how the wheels are wired.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub rig: PathBuf,
    /// The aircraft file that says how the trim behaves.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub aircraft: PathBuf,
    /// One JSON object for each change and, last, a summary.
    #[arg(long)]
    pub json: bool,
}

/// Options of `report`.
#[derive(Debug, Args)]
pub struct ReportArgs {
    /// A recording in the hid-recorder text format; "-" for standard input.
    #[arg(value_name = "RECORDING", value_hint = ValueHint::FilePath, required_unless_present = "last_hour")]
    pub recording: Option<PathBuf>,
    /// The rig file that says how the wheels are wired.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, required_unless_present = "last_hour")]
    pub rig: Option<PathBuf>,
    /// The aircraft file that says how the trim behaves; with --last-hour the aircraft's name, as for `run`
    #[arg(long, value_name = "FILE|NAME", value_hint = ValueHint::FilePath, required_unless_present = "last_hour")]
    pub aircraft: Option<String>,
    /// The file to write [default: standard output]
    #[arg(short, long, value_name = "FILE.html", value_hint = ValueHint::FilePath)]
    pub output: Option<PathBuf>,
    /// Instead of a recording: the last hour of the running daemon.
    #[arg(long, conflicts_with_all = ["recording", "rig"])]
    pub last_hour: bool,
    /// Where the files are, with --last-hour.
    #[command(flatten)]
    pub folder: FolderArgs,
    /// The folder of the daemon's log files, with --last-hour [default: the user's state folder]
    #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath)]
    pub log_dir: Option<PathBuf>,
}

/// Options of `learn`.
#[derive(Debug, Args)]
pub struct LearnArgs {
    /// Where the files are; its rig.toml is updated, or made if there is none.
    #[command(flatten)]
    pub folder: FolderArgs,
    /// A recording of the turning instead of a board; "-" for standard input. Comment lines `# mark` stand where
    /// the wheel was at its mark, `# mark click` after each click; without any, pauses of two seconds do.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub recording: Option<PathBuf>,
    /// The device path of the only board to listen to [default: every board that can be opened]
    #[arg(long, value_name = "PATH", conflicts_with = "recording")]
    pub board: Option<String>,
    /// Also write what the board sent, with the marks, to a recording.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, conflicts_with = "recording")]
    pub save: Option<PathBuf>,
    /// What the wheel is called in the rig file [default: the wheel that has these buttons already]
    #[arg(long, value_name = "NAME")]
    pub wheel: Option<String>,
    /// Write it to rig.toml without asking; a copy of the old file is kept beside it.
    #[arg(long)]
    pub yes: bool,
    /// One JSON object instead of text; nothing is asked, and written only with --yes.
    #[arg(long)]
    pub json: bool,
}

/// Options of `plan`.
#[derive(Debug, Args)]
pub struct PlanArgs {
    /// Where the files are.
    #[command(flatten)]
    pub folder: FolderArgs,
    /// The rig file, instead of the folder's; --aircraft is a file then.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, conflicts_with = "config", requires = "aircraft")]
    pub rig: Option<PathBuf>,
    /// Which aircraft: its name, or its file's name without .toml; with --rig its file [default: the only one]
    #[arg(long, value_name = "NAME|FILE")]
    pub aircraft: Option<String>,
    /// How far the wheel turns from stop to stop. With --cycles-per-turn no files are needed.
    #[arg(long, value_name = "DEGREES")]
    pub travel_degrees: Option<f64>,
    /// Cycles of the encoder in one turn of its own: its data sheet's pulses per revolution.
    #[arg(long, value_name = "CYCLES")]
    pub cycles_per_turn: Option<f64>,
    /// How many times the encoder turns while the wheel turns once [default: 1]
    #[arg(long, value_name = "TURNS", requires = "cycles_per_turn")]
    pub encoder_ratio: Option<f64>,
    /// Time between two reports of the board.
    #[arg(long, value_name = "MS")]
    pub report_interval_ms: Option<f64>,
    /// How long the board presses the button for one count [default: as long as between two reports]
    #[arg(long, value_name = "MS")]
    pub pulse_on_ms: Option<f64>,
    /// How long it releases it before the next [default: as long as it presses]
    #[arg(long, value_name = "MS")]
    pub pulse_off_ms: Option<f64>,
    /// How fast you turn the wheel at most, in turns a second.
    #[arg(long, value_name = "TURNS", default_value_t = 1.5)]
    pub turns_per_second: f64,
    /// The coarsest count that you would have.
    #[arg(long, value_name = "DEGREES")]
    pub step_degrees: Option<f64>,
    /// One JSON object for each trim instead of text.
    #[arg(long)]
    pub json: bool,
}
