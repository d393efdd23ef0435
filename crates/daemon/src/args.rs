//! The command line, in plain words.

use clap::{Args, Parser, Subcommand, ValueHint};
use std::path::PathBuf;

/// Keeps one absolute trim position from a replica trim wheel that turns for ever.
///
/// The wheel's encoder, wired to a USB joystick board, only says "one more" or "one less". Tallywheel counts
/// every pulse, keeps the position between the aircraft's end stops and sends it to the simulator. It is for
/// simulators only, never for real aircraft.
#[derive(Debug, Parser)]
#[command(name = "tallywheel", version, propagate_version = true, disable_help_subcommand = true)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What the program can do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Read the boards and keep the trim until Ctrl-C or SIGTERM.
    Run(RunArgs),
    /// Show the whole job on a recorded wheel: no board and no set-up needed.
    Demo(DemoArgs),
    /// List every USB board with buttons, and what to do about those that cannot be opened.
    Boards(BoardsArgs),
    /// Say whether the rig file and all aircraft files are valid.
    Check(CheckArgs),
    /// Write the reports of a board to a file, to look at or to replay later.
    Capture(CaptureArgs),
    /// Work through a recording as if the board sent it now.
    Replay(ReplayArgs),
    /// Make a page for a browser: what was lost, how sure that is and what to do.
    Report(ReportArgs),
    /// Print the completions for a shell.
    Completions {
        /// Which shell.
        shell: clap_complete::Shell,
    },
    /// Print the manual page.
    Man,
}

/// Where the files are.
#[derive(Debug, Args)]
pub struct FolderArgs {
    /// The folder with rig.toml and aircraft/ [default: the user's configuration folder]
    #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath)]
    pub config: Option<PathBuf>,
}

/// Options of `run`.
#[derive(Debug, Args)]
pub struct RunArgs {
    /// Where the files are.
    #[command(flatten)]
    pub folder: FolderArgs,
    /// Which aircraft to fly: its name, or its file's name without .toml [default: the only one]
    #[arg(long, value_name = "NAME")]
    pub aircraft: Option<String>,
    /// The folder for log files [default: the user's state folder]
    #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath)]
    pub log_dir: Option<PathBuf>,
    /// How much to log: error, warn, info, debug or trace, also per target (info,tallywheel::loss=trace)
    #[arg(long, value_name = "LEVEL", default_value = "info")]
    pub log: String,
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
