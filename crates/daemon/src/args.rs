//! The command line, in plain words.

use clap::{Args, Parser, Subcommand, ValueEnum, ValueHint};
use std::path::PathBuf;

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
    pub command: Command,
}

/// What the program can do.
#[derive(Debug, Subcommand)]
pub enum Command {
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
