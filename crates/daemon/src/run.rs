//! `tallywheel run`: the daemon.
//!
//! [`prepare`] reads the files, [`Ready::start`] starts the threads, [`Running::keep`] does the rest; a test takes
//! the same steps with boards of its own.

use crate::args::RunArgs;
use crate::clock::Clock;
use crate::commands::{self, Commands, Requests};
use crate::config::{Config, Settle, Watch};
use crate::control::{self, Control, Flying};
use crate::dock::{self, Dock, HidOpener, Opener};
use crate::failure::Failure;
use crate::files::AircraftFile;
use crate::journal::Journal;
use crate::plan::{self, Places, Plan};
use crate::playing::Playing;
use crate::report::last_hour::Keeper;
use crate::saved::{Saved, Store};
use crate::station::Station;
use crate::tray::desk::Desk;
use crate::tray::{self, Tray};
use crate::{files, folders, logging, note, replay};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Notify;

/// How often the folder of the user's files is looked for while it is not there.
const LOOK_STEP: Duration = Duration::from_secs(2);

/// Reads the boards and keeps the trim until it is told to stop.
///
/// # Errors
/// Where files are wrong or the system gives no threads. A missing board, a missing permission or a failed
/// output is none: it is logged, and the program waits for it to be cured.
pub fn run(args: &RunArgs) -> Result<(), Failure> {
    let log_folder = args.log_dir.clone().map_or_else(folders::logs, Ok)?;
    let settings = Settings {
        folder: args.folder.config.clone().map_or_else(folders::config, Ok)?,
        state_folder: args.state_dir.clone().unwrap_or_else(|| log_folder.clone()),
        log_folder,
        aircraft: args.aircraft.clone(),
    };
    let clock = Clock::start();
    let ready = prepare(settings, clock)?;
    let recording = args.recording.as_deref().map(replay::read).transpose()?;
    let log = logging::start(&args.log, &ready.settings.log_folder)?;
    tracing::info!(
        version = env!("CARGO_PKG_VERSION"),
        rig = ready.flying.rig.name,
        aircraft = ready.flying.aircraft.name,
        log = %log.display(),
        "started; for simulators only, never for real aircraft"
    );
    let mut running = match recording {
        None => ready.start(HidOpener::default())?,
        Some(recording) => ready.start(Playing::new(recording, clock))?,
    };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let signal = runtime.block_on(async {
        let quit = Arc::new(Notify::new());
        if !args.no_tray {
            running.show_tray(log, &quit);
        }
        let ended = async {
            tokio::select! {
                signal = stopped() => signal,
                () = quit.notified() => Ok("the tray's menu"),
            }
        };
        running.keep(ended).await
    })?;
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
    /// What outlives the program.
    pub state_folder: PathBuf,
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
    saved: Saved,
}

/// Reads the files and puts rig and aircraft together.
///
/// # Errors
/// Where they are wrong.
pub fn prepare(settings: Settings, clock: Clock) -> Result<Ready, Failure> {
    let rig = Arc::new(files::rig_in(&settings.folder)?);
    let mut saved = Saved::new(Store::new(&settings.state_folder));
    let file = choose(&settings, &saved)?;
    let mut places = Places::default();
    let mut plan = plan::plan_in(&rig, &file.aircraft, &mut places)?;
    control::start_where_saved(&mut plan, &file.stem, &file.aircraft, &mut saved);
    let last_hour = plan.clone();
    let flying = Flying { stem: file.stem, aircraft: Arc::new(file.aircraft), rig, places };
    Ok(Ready { settings, clock, flying, plan, last_hour, saved })
}

/// The aircraft that the user names, or the last one flown if it is there, or the only one.
fn choose(settings: &Settings, saved: &Saved) -> Result<AircraftFile, Failure> {
    let folder = &settings.folder;
    let last = || saved.last_aircraft().filter(|stem| files::is_aircraft(folder, stem));
    let name = settings.aircraft.clone().or_else(last);
    Ok(files::choose_aircraft(folder, name.as_deref())?)
}

/// The running program, but for the thread that keeps it.
pub struct Running {
    control: Control,
    station: Arc<Station>,
    commands: Commands,
    requests: Requests,
    watch: Watch,
    clock: Clock,
    tray: Option<Tray>,
}

impl Ready {
    /// Starts to read the boards.
    ///
    /// # Errors
    /// Where the system gives no thread.
    pub fn start(self, opener: impl Opener) -> std::io::Result<Running> {
        let Self { settings, clock, flying, plan, last_hour, saved } = self;
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
        let control = Control::new(config, flying, Arc::clone(&station), control_bell, clock, journal, saved);
        Ok(Running { control, station, commands, requests, watch, clock, tray: None })
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

    /// Shows a tray on the running tokio runtime; `log` is the log file, and `quit` is told when the user has had
    /// enough.
    pub fn show_tray(&mut self, log: PathBuf, quit: &Arc<Notify>) {
        let desk = Desk::new(log, self.control.config().folder().to_owned());
        self.tray = Some(Tray::start(self.commands.clone(), desk, self.clock, Arc::clone(quit)));
    }

    /// Everything beside the readers' threads, until `stopped` says why it is to end. Sleeps without a timer
    /// while nothing happens.
    ///
    /// # Errors
    /// Those of `stopped`.
    pub async fn keep<S>(&mut self, stopped: impl Future<Output = std::io::Result<S>>) -> std::io::Result<S> {
        let Self { control, requests, watch, clock, tray, .. } = self;
        tokio::pin!(stopped);
        if let Some(reason) = watch.polling() {
            tracing::info!(reason, "saved files are looked for once a second");
        }
        control.begin();
        let mut settle = Settle::default();
        loop {
            control.tick();
            if let Some(tray) = tray {
                tray.look(control);
            }
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
                () = tray::woken(tray.as_mut()) => {}
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
    pub fn close(self) {
        self.station.close_outputs();
        self.control.close();
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
