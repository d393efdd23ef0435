//! `tallywheel run`: the daemon.
//!
//! [`prepare`] reads the files, [`Ready::start`] starts the threads, [`Running::keep`] does the rest; a test takes
//! the same steps with boards of its own.

use crate::args::RunArgs;
use crate::clock::Clock;
use crate::commands::{self, Commands, Requests};
use crate::config::{Config, Settle, Watch};
use crate::control::{Control, Flying};
use crate::dock::{self, Dock, HidOpener, Opener};
use crate::failure::Failure;
use crate::journal::Journal;
use crate::plan::{self, Places, Plan};
use crate::report::last_hour::Keeper;
use crate::station::Station;
use crate::{files, folders, logging, note};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

/// How often the folder of the user's files is looked for while it is not there.
const LOOK_STEP: Duration = Duration::from_secs(2);

/// Reads the boards and keeps the trim until it is told to stop.
///
/// # Errors
/// Where files are wrong or the system gives no threads. A missing board, a missing permission or a failed
/// output is none: it is logged, and the program waits for it to be cured.
pub fn run(args: &RunArgs) -> Result<(), Failure> {
    let settings = Settings {
        folder: args.folder.config.clone().map_or_else(folders::config, Ok)?,
        log_folder: args.log_dir.clone().map_or_else(folders::logs, Ok)?,
        aircraft: args.aircraft.clone(),
    };
    let ready = prepare(settings, Clock::start())?;
    let log = logging::start(&args.log, &ready.settings.log_folder)?;
    tracing::info!(
        version = env!("CARGO_PKG_VERSION"),
        rig = ready.flying.rig.name,
        aircraft = ready.flying.aircraft.name,
        log = %log.display(),
        "started; for simulators only, never for real aircraft"
    );
    let mut running = ready.start(HidOpener::default())?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let signal = runtime.block_on(running.keep(stopped()))?;
    running.close();
    tracing::info!(signal, "stopped");
    Ok(())
}

/// Where everything is and what to fly first.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The user's files.
    pub folder: PathBuf,
    /// The log and the last hour.
    pub log_folder: PathBuf,
    /// The aircraft that the user names.
    pub aircraft: Option<String>,
}

/// Files that were read and are good; nothing runs yet.
pub struct Ready {
    settings: Settings,
    clock: Clock,
    flying: Flying,
    plan: Plan,
    last_hour: Plan,
}

/// Reads the files and puts rig and aircraft together.
///
/// # Errors
/// Where they are wrong.
pub fn prepare(settings: Settings, clock: Clock) -> Result<Ready, Failure> {
    let rig = Arc::new(files::rig_in(&settings.folder)?);
    let file = files::choose_aircraft(&settings.folder, settings.aircraft.as_deref())?;
    let mut places = Places::default();
    let plan = plan::plan_in(&rig, &file.aircraft, &mut places)?;
    let last_hour = plan::plan(&rig, &file.aircraft)?;
    let flying = Flying { stem: file.stem, aircraft: Arc::new(file.aircraft), rig, places };
    Ok(Ready { settings, clock, flying, plan, last_hour })
}

/// The running program, but for the thread that keeps it.
pub struct Running {
    control: Control,
    station: Arc<Station>,
    commands: Commands,
    requests: Requests,
    watch: Watch,
    clock: Clock,
}

impl Ready {
    /// Starts to read the boards.
    ///
    /// # Errors
    /// Where the system gives no thread.
    pub fn start(self, opener: impl Opener) -> std::io::Result<Running> {
        let Self { settings, clock, flying, plan, last_hour } = self;
        let watch = Watch::new(&settings.folder);
        let mut config = Config::new(&settings.folder);
        config.read();
        let (notes, listener) = note::channel();
        let (commands, requests) = commands::channel();
        let (bell, door) = dock::bell();
        let (output_bell, control_bell) = (bell.clone(), bell.clone());
        let Plan { names, boards, tally, outputs } = plan;
        let changed = Box::new(move || output_bell.output_changed());
        let station = Arc::new(Station::new(tally, outputs, notes.clone(), clock.epoch(), changed));
        Dock::new(boards, Arc::clone(&station), notes, clock, (bell, door), opener).keep()?;
        let journal = Journal::new(listener, names, Keeper::new(&settings.log_folder, last_hour));
        let control = Control::new(config, flying, Arc::clone(&station), control_bell, clock, journal);
        Ok(Running { control, station, commands, requests, watch, clock })
    }
}

impl Running {
    /// Where commands are handed in.
    #[must_use]
    pub fn commands(&self) -> Commands {
        self.commands.clone()
    }

    /// What the readers' threads share.
    #[must_use]
    pub fn station(&self) -> Arc<Station> {
        Arc::clone(&self.station)
    }

    /// What is flown, and by which files.
    #[must_use]
    pub const fn control(&self) -> &Control {
        &self.control
    }

    /// Everything beside the readers' threads, until `stopped` says why it is to end. Sleeps without a timer
    /// while nothing happens.
    ///
    /// # Errors
    /// Those of `stopped`.
    pub async fn keep<S>(&mut self, stopped: impl Future<Output = std::io::Result<S>>) -> std::io::Result<S> {
        let Self { control, requests, watch, clock, .. } = self;
        tokio::pin!(stopped);
        if let Some(reason) = watch.polling() {
            tracing::info!(reason, "saved files are looked for once a second");
        }
        control.begin();
        let mut settle = Settle::default();
        loop {
            control.journal().drain();
            let look = match settle.due() {
                Some(due) => Some(due.since(clock.now())),
                None => (!watch.is_on()).then_some(LOOK_STEP),
            };
            let looked = async {
                match look {
                    Some(wait) => tokio::time::sleep(wait).await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                why = &mut stopped => return why,
                () = control.journal().wait() => {}
                Some(request) = requests.recv() => control.serve(request),
                touch = watch.touched() => settle.touch(clock.now(), touch),
                () = looked => {
                    if settle.take(clock.now()) || !watch.is_on() {
                        // Watched first, so that what is saved while the files are read is read again.
                        watch.refresh();
                        control.reload();
                    }
                }
            }
        }
    }

    /// Closes the outputs and writes the last lines of the log.
    pub fn close(mut self) {
        self.station.close_outputs();
        self.control.journal().close();
    }
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

/// Waits for the user to end the program.
///
/// # Errors
/// Where the system takes no handler.
#[cfg(not(unix))]
pub async fn stopped() -> std::io::Result<&'static str> {
    tokio::signal::ctrl_c().await?;
    Ok("Ctrl-C")
}
