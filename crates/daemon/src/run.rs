//! `tallywheel run`: the daemon.
//!
//! [`prepare`] reads the files, [`Ready::start`] starts the threads, [`Running::keep`] does the rest; a test takes
//! the same steps with boards of its own.

use crate::api::handle::{self, Questions};
use crate::api::{ApiHandle, ApiServer};
use crate::args::RunArgs;
use crate::failure::CommandFailure;
use crate::logging;
use crate::logging::LogLevelHandle;
use crate::tray::opener::DesktopOpener;
use crate::tray::{self, Tray};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tallywheel_engine::clock::Clock;
use tallywheel_engine::commands::{self, Commands, Requests};
use tallywheel_engine::config_files::{Config, Debouncer, Watch};
use tallywheel_engine::control::{self, Control, Flying};
use tallywheel_engine::device_manager::{self, DeviceManager, HidOpener, Opener};
use tallywheel_engine::event_log::EventLog;
use tallywheel_engine::files::AircraftFile;
use tallywheel_engine::inbound::Socket;
use tallywheel_engine::recorder::Recorder;
use tallywheel_engine::replay_device::ReplayDevices;
use tallywheel_engine::runtime_config::{self, IndexRegistry, RuntimeConfig};
use tallywheel_engine::saved::{Saved, Store};
use tallywheel_engine::shared::SharedState;
use tallywheel_engine::state::{Ledger, Question};
use tallywheel_engine::{events, files, folders};
use tallywheel_profile::Simulator;
use tallywheel_units::Timestamp;
use tokio::sync::{Notify, mpsc};

/// How often the folder of the user's files is looked for while it is not there.
const LOOK_STEP: Duration = Duration::from_secs(2);
/// How often a port that is in use is tried again.
const LISTEN_STEP: Duration = Duration::from_secs(10);

/// Reads the boards and keeps the trim until it is told to stop.
///
/// # Errors
/// Where files are wrong or the system gives no threads. A missing board, a missing permission or a failed
/// output is none: it is logged, and the program waits for it to be cured.
pub fn run(args: &RunArgs) -> Result<(), CommandFailure> {
    run_with(args, HidOpener::default())
}

/// The same with boards that `opener` opens.
///
/// # Errors
/// As [`run`].
pub fn run_with(args: &RunArgs, opener: impl Opener) -> Result<(), CommandFailure> {
    let log_folder = args.log_dir.clone().map_or_else(folders::logs, Ok)?;
    let settings = Settings {
        folder: args.folder.config.clone().map_or_else(folders::config, Ok)?,
        state_folder: args.state_dir.clone().unwrap_or_else(|| log_folder.clone()),
        log_folder,
        aircraft: args.aircraft.clone(),
    };
    // Before anything is read or written that another daemon may be at work on.
    let server = ApiServer::lock(&settings.folder)?;
    let clock = Clock::start();
    let ready = prepare(settings, clock)?;
    let recording = args.recording.as_deref().map(tallywheel_engine::player::read).transpose()?;
    let (log, log_level) = logging::start(&args.log, &ready.settings.log_folder)?;
    tracing::info!(
        version = env!("CARGO_PKG_VERSION"),
        rig = ready.flying.rig.name,
        aircraft = ready.flying.aircraft.name,
        log = %log.display(),
        "started; for simulators only, never for real aircraft"
    );
    let mut running = match recording {
        None => ready.start(opener)?,
        Some(recording) => ready.start(ReplayDevices::new(recording, clock))?,
    };
    let handle = running.api_handle(log_level);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let (signal, _server) = runtime.block_on(async {
        // Before anything is said or sent that somebody may answer with a signal.
        let stopped = tallywheel_engine::signals::signals()?;
        let server = if running.control.flying().rig.control { server.open(handle) } else { server };
        let quit = Arc::new(Notify::new());
        if !args.no_tray {
            running.show_tray(log, &quit);
        }
        let ended = async {
            tokio::select! {
                signal = stopped => signal,
                () = quit.notified() => Ok("the tray's menu"),
            }
        };
        running.keep(ended).await.map(|signal| (signal, server))
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
    plan: RuntimeConfig,
    last_hour: RuntimeConfig,
    saved: Saved,
    config: Config,
}

/// Reads the files and puts rig and aircraft together.
///
/// # Errors
/// Where they are wrong.
pub fn prepare(settings: Settings, clock: Clock) -> Result<Ready, CommandFailure> {
    let rig = Arc::new(files::rig_in(&settings.folder)?);
    let mut saved = Saved::new(Store::new(&settings.state_folder));
    let file = choose(&settings, &saved)?;
    let mut places = IndexRegistry::default();
    let mut config = Config::new(&settings.folder);
    config.read();
    let all_aircraft: Vec<_> = config.to_fly().map(|(_, file)| &**file).chain([&file.aircraft]).collect();
    let (aircraft, left_out) = tallywheel_profile::reduce(&rig, &file.aircraft);
    let mut plan = runtime_config::build_in(&rig, &aircraft, &mut places, &all_aircraft)?;
    left_out.iter().for_each(|part| tracing::warn!("{part}"));
    control::start_where_saved(&mut plan, &file.stem, &aircraft, &mut saved);
    let last_hour = plan.clone();
    let flying = Flying { stem: file.stem, aircraft: Arc::new(aircraft), rig, places };
    Ok(Ready { settings, clock, flying, plan, last_hour, saved, config })
}

/// The aircraft that the user names, or the last one flown if it is there, or the only one.
fn choose(settings: &Settings, saved: &Saved) -> Result<AircraftFile, CommandFailure> {
    let folder = &settings.folder;
    let last = || saved.last_aircraft().filter(|stem| files::is_aircraft(folder, stem));
    let name = settings.aircraft.clone().or_else(last);
    Ok(files::choose_aircraft(folder, name.as_deref())?)
}

/// The running program, but for the thread that keeps it.
pub struct Running {
    control: Control,
    shared: Arc<SharedState>,
    commands: Commands,
    requests: Requests,
    watch: Watch,
    clock: Clock,
    questions: Questions,
    asker: mpsc::Sender<Question>,
    log: PathBuf,
    tray: Option<Tray>,
}

impl Ready {
    /// Starts to read the boards.
    ///
    /// # Errors
    /// Where the system gives no thread.
    pub fn start(self, opener: impl Opener) -> std::io::Result<Running> {
        let watch = Watch::new(&self.settings.folder);
        self.start_watching(opener, watch)
    }

    /// The same with a watch on the folder of files that the caller has made.
    ///
    /// # Errors
    /// As [`Self::start`].
    pub fn start_watching(self, opener: impl Opener, watch: Watch) -> std::io::Result<Running> {
        let Self { settings, clock, flying, plan, last_hour, saved, config } = self;
        let (notes, listener) = events::channel();
        let (commands, requests) = commands::channel();
        let (bell, door) = device_manager::channel();
        let (output_bell, control_bell) = (bell.clone(), bell.clone());
        let RuntimeConfig { names, boards, tally, outputs } = plan;
        let changed = Box::new(move || output_bell.output_changed());
        let shared = SharedState::new(tally, outputs, notes.clone(), clock.epoch(), changed);
        let shared = Arc::new(shared.with_commands(commands.clone()));
        let (asker, questions) = handle::questions();
        let recorder = Recorder::new(&settings.log_folder, last_hour);
        let event_log = EventLog::new(listener, names, recorder, Arc::new(Ledger::new(clock)));
        let control =
            Control::new(config, flying, Arc::clone(&shared), control_bell, clock, event_log, saved);
        // Last: the first frame goes out at once, unless the control wants silence.
        DeviceManager::new(boards, Arc::clone(&shared), notes, clock, (bell, door), opener).keep()?;
        let log = logging::file_in(&settings.log_folder);
        Ok(Running { control, shared, commands, requests, watch, clock, questions, asker, log, tray: None })
    }
}

impl Running {
    /// Where commands are handed in.
    #[must_use]
    pub fn commands(&self) -> Commands {
        self.commands.clone()
    }

    /// Where the interface hands in what it is asked and told; `log_level` sets the level of the log.
    #[must_use]
    pub fn api_handle(&self, log_level: LogLevelHandle) -> ApiHandle {
        ApiHandle::new(self.commands(), self.asker.clone(), Arc::clone(self.control.ledger()), log_level)
    }

    /// What the readers' threads share.
    #[must_use]
    pub fn shared(&self) -> Arc<SharedState> {
        Arc::clone(&self.shared)
    }

    /// What is flown, and by which files.
    #[must_use]
    pub const fn control(&self) -> &Control {
        &self.control
    }

    /// Shows a tray on the running tokio runtime; `log` is the log file, and `quit` is told when the user has had
    /// enough.
    pub fn show_tray(&mut self, log: PathBuf, quit: &Arc<Notify>) {
        let opener = DesktopOpener::new(log, self.control.config().folder().to_owned());
        self.tray = Some(Tray::start(self.commands.clone(), opener, self.clock, Arc::clone(quit)));
    }

    /// Everything beside the readers' threads, until `stopped` says why it is to end. Sleeps without a timer
    /// while nothing happens.
    ///
    /// # Errors
    /// Those of `stopped`.
    pub async fn keep<S>(&mut self, stopped: impl Future<Output = std::io::Result<S>>) -> std::io::Result<S> {
        let Self { control, requests, watch, clock, questions, log, tray, .. } = self;
        tokio::pin!(stopped);
        if let Some(reason) = watch.polling() {
            tracing::info!(reason, "saved files are looked for once a second");
        }
        control.begin();
        let mut settle = Debouncer::default();
        let mut listener = SimulatorListener::default();
        loop {
            control.tick();
            if let Some(tray) = tray {
                tray.update(control);
            }
            listener.open(control, clock.now());
            let absent = (!watch.is_on()).then(|| clock.now().after(LOOK_STEP));
            let read = settle.due().or(absent);
            let next = [read, control.deadline(), listener.deadline()].into_iter().flatten().min();
            let due = async {
                match next {
                    Some(at) => tokio::time::sleep(at.since(clock.now())).await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                why = &mut stopped => return why,
                () = control.event_log().wait() => {}
                Some(request) = requests.recv() => control.serve(request),
                Some(question) = questions.recv() => control.answer(question, log),
                () = tray::woken(tray.as_mut()) => {}
                touch = watch.touched() => settle.touch(clock.now(), touch),
                () = listener.readable() => listener.read(control, clock.now()),
                () = due => {
                    control.due();
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
        self.shared.close_outputs();
        self.control.close();
    }
}

/// The socket for the simulator's reports, as far as it can be had.
#[derive(Default)]
struct SimulatorListener {
    socket: Option<Socket>,
    /// What could not be opened, and when it is tried again.
    failed: Option<(Simulator, Timestamp)>,
}

impl SimulatorListener {
    /// Listens where the rig file says now.
    fn open(&mut self, control: &mut Control, now: Timestamp) {
        let Some(wanted) = control.simulator() else {
            if std::mem::take(self).socket.is_some() {
                tracing::info!("no longer listening to the simulator");
            }
            return;
        };
        if self.socket.as_ref().is_some_and(|socket| socket.simulator() == wanted) {
            return;
        }
        let again = match &self.failed {
            Some((failed, retry)) if failed == wanted => {
                if *retry > now {
                    return;
                }
                true
            }
            _ => false,
        };
        // The old one first: the new one may want its address.
        self.socket = None;
        self.failed = None;
        let wanted = wanted.clone();
        match Socket::open(&wanted) {
            Ok(socket) => {
                tracing::info!(address = %wanted.listen, "listening to the simulator");
                self.socket = Some(socket);
                control.set_deaf(None);
            }
            Err(error) => {
                if !again {
                    let cure = "end what uses the port, or name another one in the rig file";
                    tracing::error!(address = %wanted.listen, cure, "the simulator cannot be listened to: {error}");
                }
                control.set_deaf(Some(error.to_string()));
                self.failed = Some((wanted, now.after(LISTEN_STEP)));
            }
        }
    }

    fn deadline(&self) -> Option<Timestamp> {
        self.failed.as_ref().map(|(_, retry)| *retry)
    }

    async fn readable(&self) {
        match &self.socket {
            Some(socket) => socket.readable().await,
            None => std::future::pending().await,
        }
    }

    fn read(&mut self, control: &mut Control, now: Timestamp) {
        if let Some(socket) = &mut self.socket {
            socket.read(now, |arrival| control.hear(arrival));
        }
    }
}
