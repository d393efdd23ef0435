//! `tallywheel run`: the daemon.

use crate::args::RunArgs;
use crate::clock::Clock;
use crate::dock::{self, Dock};
use crate::failure::Failure;
use crate::plan::{self, Plan};
use crate::report::last_hour::Keeper;
use crate::station::Station;
use crate::{files, folders, journal, logging, note};
use std::sync::Arc;
use tallywheel_output::Supervised;

/// Reads the boards and keeps the trim until it is told to stop.
///
/// # Errors
/// Where files are wrong or the system gives no threads. A missing board, a missing permission or a failed
/// output is none: it is logged, and the program waits for it to be cured.
pub fn run(args: &RunArgs) -> Result<(), Failure> {
    let clock = Clock::start();
    let folder = args.folder.config.clone().map_or_else(folders::config, Ok)?;
    let log_folder = args.log_dir.clone().map_or_else(folders::logs, Ok)?;
    let rig = files::rig_in(&folder)?;
    let file = files::choose_aircraft(&folder, args.aircraft.as_deref())?;
    let Plan { names, boards, tally, outputs } = plan::plan(&rig, &file.aircraft)?;
    let mut keeper = Keeper::new(&log_folder, plan::plan(&rig, &file.aircraft)?);
    let log = logging::start(&args.log, &log_folder)?;
    tracing::info!(
        version = env!("CARGO_PKG_VERSION"),
        rig = names.rig,
        aircraft = names.aircraft,
        log = %log.display(),
        "started; for simulators only, never for real aircraft"
    );

    let (notes, listener) = note::channel();
    let (bell, door) = dock::bell();
    let output_bell = bell.clone();
    let outputs = outputs.into_iter().map(Supervised::new).collect();
    let changed = Box::new(move || output_bell.output_changed());
    let station = Arc::new(Station::new(tally, outputs, notes.clone(), changed));
    Dock::new(boards, Arc::clone(&station), notes, clock, (bell, door)).keep()?;

    let mut losses = journal::LossLog::default();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let signal = runtime.block_on(async {
        tokio::select! {
            signal = stopped() => signal,
            () = journal::keep(&listener, &names, &mut losses, &mut keeper) => Ok("end of notes"),
        }
    })?;
    station.close_outputs();
    journal::drain(&listener, &names, &mut losses, &mut keeper);
    losses.summarise(&names);
    tracing::info!(signal, "stopped");
    Ok(())
}

/// Waits for the user or the system to end the program, and says which.
///
/// # Errors
/// Where the system takes no signal handler.
#[cfg(unix)]
pub async fn stopped() -> std::io::Result<&'static str> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut hangup = signal(SignalKind::hangup())?;
    tokio::select! {
        _ = terminate.recv() => Ok("SIGTERM"),
        _ = interrupt.recv() => Ok("Ctrl-C"),
        _ = hangup.recv() => Ok("the terminal closed"),
    }
}

/// Waits for the user or the system to end the program, and says which.
///
/// # Errors
/// Where the system takes no handler.
#[cfg(windows)]
pub async fn stopped() -> std::io::Result<&'static str> {
    use tokio::signal::windows;
    let (mut interrupt, mut end) = (windows::ctrl_c()?, windows::ctrl_break()?);
    let (mut close, mut log_off, mut shut_down) =
        (windows::ctrl_close()?, windows::ctrl_logoff()?, windows::ctrl_shutdown()?);
    tokio::select! {
        _ = interrupt.recv() => Ok("Ctrl-C"),
        _ = end.recv() => Ok("Ctrl-Break"),
        _ = close.recv() => Ok("the terminal closed"),
        _ = log_off.recv() => Ok("the user logs off"),
        _ = shut_down.recv() => Ok("the system shuts down"),
    }
}
