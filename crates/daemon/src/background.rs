//! Running without a console window, which only Windows has to be told.
//!
//! The program is a console program, so that terminals wait for it and it can ask its user. Started at login
//! it has no terminal. From Windows 11 24H2 on its manifest keeps the system from opening one
//! (`consoleAllocationPolicy`); before that a window would stay open for as long as the program runs. So the
//! login's `run --background` starts the program once more without one, and ends.

use crate::args::RunArgs;
use crate::failure::CommandFailure;
use crate::{logging, run};
use std::io::{self, IsTerminal};
use std::os::windows::process::CommandExt;
use std::process::{Command, Stdio};
use tallywheel_engine::folders;

/// "The process is a console application that is being run without a console window" (Process Creation Flags,
/// Windows documentation).
const CREATE_NO_WINDOW: u32 = 0x0800_0000;

/// Starts this program once more with the same arguments, without a window, and does not wait for it.
///
/// # Errors
/// Where the system starts no process.
pub(crate) fn start() -> io::Result<()> {
    let arguments = std::env::args_os().skip(1).filter(|argument| argument != "--background");
    Command::new(std::env::current_exe()?)
        .args(arguments)
        .creation_flags(CREATE_NO_WINDOW)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .map(drop)
}

/// [`run::run`], whose failure goes to the log file too when nobody would see it.
pub(crate) fn run(args: &RunArgs) -> Result<(), CommandFailure> {
    run::run(args).inspect_err(|failure| {
        let unseen = !io::stderr().is_terminal();
        if unseen && let Some(folder) = args.log_dir.clone().or_else(|| folders::logs().ok()) {
            logging::log_exit(&folder, &failure.to_string());
        }
    })
}
