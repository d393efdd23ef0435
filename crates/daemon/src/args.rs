//! The command line, in plain words.

use clap::{Args, Parser, Subcommand, ValueEnum, ValueHint};
use std::path::PathBuf;
use tallywheel_tools::args::{
    BoardsArgs, CaptureArgs, CheckArgs, DemoArgs, DoctorArgs, FolderArgs, LearnArgs, PlanArgs, ReplayArgs,
    ReportArgs,
};

/// Keeps one absolute trim position from a replica trim wheel that turns for ever.
///
/// The wheel's encoder, wired to a USB joystick board, only says "one more" or "one less". Tallywheel counts
/// every pulse, keeps the position between the aircraft's end stops and sends it to the simulator. It is for
/// simulators only, never for real aircraft.
///
/// It ends with 0 if it did what was asked, 1 if not, 2 if the command line means nothing, and 3 if a running
/// daemon was asked for and there is none.
#[derive(Debug, Parser)]
#[command(name = "tallywheel", version, propagate_version = true, disable_help_subcommand = true)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: CliCommand,
}

/// What the program can do.
#[derive(Debug, Subcommand)]
pub enum CliCommand {
    /// Read the boards and keep the trim until Ctrl-C or SIGTERM.
    Run(RunArgs),
    /// Show how the running daemon stands: trims, wheels, boards, outputs and losses.
    Status(StatusArgs),
    /// Tell the running daemon where a trim really is.
    Align(AlignArgs),
    /// Have the running daemon fly another aircraft, or list those there are.
    Fly(FlyArgs),
    /// Hold the running daemon's outputs where they are, or let them follow again.
    Hold(HoldArgs),
    /// Have the running daemon read all files again.
    Reload(ReloadArgs),
    /// Look at everything that could be wrong, and say the cure.
    Doctor(DoctorArgs),
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
    /// Find out how a wheel is wired: turn it as asked, or take a recording of that.
    Learn(LearnArgs),
    /// Say how fine and how fast a wheel is, built or only thought of, for every way to wire it.
    Plan(PlanArgs),
    /// Print the completions for a shell.
    Completions {
        /// Which shell.
        shell: clap_complete::Shell,
    },
    /// Print the manual page.
    Man,
}

/// Options of `run`.
#[derive(Debug, Args)]
pub struct RunArgs {
    /// Where the files are.
    #[command(flatten)]
    pub folder: FolderArgs,
    /// Which aircraft to fly: its name, or its file's name without .toml [default: the last one, or the only one]
    #[arg(long, value_name = "NAME")]
    pub aircraft: Option<String>,
    /// The folder for saved positions [default: the folder for log files]
    #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath)]
    pub state_dir: Option<PathBuf>,
    /// The folder for log files [default: the user's state folder]
    #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath)]
    pub log_dir: Option<PathBuf>,
    /// How much to log: error, warn, info, debug or trace, also per target (info,tallywheel::loss=trace)
    #[arg(long, value_name = "LEVEL", default_value = "info")]
    pub log: String,
    /// Go on without a window and give the terminal back, as at login; the log file tells what happens.
    #[cfg(windows)]
    #[arg(long)]
    pub background: bool,
    /// No icon in the tray, and no messages to the desktop.
    #[arg(long)]
    pub no_tray: bool,
    /// Play this recording in place of the boards, at its own pace, to try things out without a wheel
    #[arg(long, value_name = "RECORDING", value_hint = ValueHint::FilePath)]
    pub recording: Option<PathBuf>,
}

/// Options of `status`.
#[derive(Debug, Args)]
pub struct StatusArgs {
    /// Where the files are.
    #[command(flatten)]
    pub folder: FolderArgs,
    /// One JSON object instead of text, as the daemon's OpenAPI document describes it.
    #[arg(long)]
    pub json: bool,
    /// Again with every change, until Ctrl-C; with --json one object on a line.
    #[arg(long)]
    pub follow: bool,
    /// The last losses instead, each with its cause and cure.
    #[arg(long, conflicts_with = "follow")]
    pub losses: bool,
}

/// Options of `align`.
#[derive(Debug, Args)]
pub struct AlignArgs {
    /// Where the files are.
    #[command(flatten)]
    pub folder: FolderArgs,
    /// The trim, or the wheel that moves it.
    #[arg(value_name = "TRIM|WHEEL")]
    pub trim: String,
    /// Where it is: neutral, low, high, a position that the aircraft file names, or degrees above the low stop.
    #[arg(value_name = "POSITION")]
    pub to: String,
}

/// Options of `fly`.
#[derive(Debug, Args)]
pub struct FlyArgs {
    /// Where the files are.
    #[command(flatten)]
    pub folder: FolderArgs,
    /// Its name, or its file's name without .toml [default: list them]
    #[arg(value_name = "AIRCRAFT")]
    pub aircraft: Option<String>,
}

/// Options of `hold`.
#[derive(Debug, Args)]
pub struct HoldArgs {
    /// Where the files are.
    #[command(flatten)]
    pub folder: FolderArgs,
    /// Hold them, or let them follow.
    #[arg(value_name = "on|off", hide_possible_values = true)]
    pub hold: Hold,
}

/// On or off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Hold {
    /// The outputs stay where they are; wheels are counted on.
    On,
    /// They follow the wheels.
    Off,
}

/// Options of `reload`.
#[derive(Debug, Args)]
pub struct ReloadArgs {
    /// Where the files are.
    #[command(flatten)]
    pub folder: FolderArgs,
}
