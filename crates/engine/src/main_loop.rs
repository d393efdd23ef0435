//! Everything beside the readers' threads: one loop that takes one event after the other.
//!
//! [`prepare`] reads the files, [`Ready::start`] starts the threads. Then the caller repeats [`MainLoop::update`],
//! [`MainLoop::next`] and [`MainLoop::handle`]; a test takes the same steps with boards, files and a clock of its own,
//! and needs no thread and no runtime for that.

use crate::clock::Clock;
use crate::commands::{self, Commands, Request, Requests};
use crate::config_files::{Config, Debouncer, FileEvent, Watch};
use crate::control::{self, Control, Flying, SimulatorListener};
use crate::device_manager::{self, DeviceManager, Opener};
use crate::event_log::EventLog;
use crate::events::{self, EventSender};
use crate::failure::Failure;
use crate::files::{self, AircraftFile};
use crate::recorder::Recorder;
use crate::runtime_config::{self, IndexRegistry, RuntimeConfig};
use crate::saved::{Saved, Store};
use crate::shared::SharedState;
use crate::state::Question;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tallywheel_units::Timestamp;
use tokio::sync::mpsc;

/// How often the folder of the user's files is looked for while it is not there.
const LOOK_STEP: Duration = Duration::from_secs(2);
/// The most questions that wait to be answered; as many as there are connections.
const QUEUE_QUESTIONS: usize = 64;
/// How long events gather while they come: the readers ring once for a burst of them, which costs a system call, and then
/// the loop looks by itself until no more come. The positions on disk are not older than this and the time to write them:
/// 250 ms are promised, and each time more is a dozen system calls.
const GATHER: Duration = Duration::from_millis(200);

/// Everything that can happen to the main loop.
#[derive(Debug)]
pub enum LoopEvent {
    /// Readers, boards or outputs have something to say.
    Bridge,
    /// Somebody asks for something to be done.
    Command(Request),
    /// Somebody wants to know something.
    Question(Question),
    /// A file of the user's changed.
    File(FileEvent),
    /// Datagrams came in at the simulator's port.
    Datagrams,
    /// The time of [`MainLoop::deadline`] has come.
    Due,
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
    config: RuntimeConfig,
    saved: Saved,
    files: Config,
}

/// Reads the files and puts rig and aircraft together.
///
/// # Errors
/// Where they are not valid, or do not go together.
pub fn prepare(settings: Settings, clock: Clock) -> Result<Ready, Failure> {
    let rig = Arc::new(files::rig_in(&settings.folder)?);
    let mut saved = Saved::new(Store::new(&settings.state_folder));
    let file = choose(&settings, &saved)?;
    let mut places = IndexRegistry::default();
    let mut files = Config::new(&settings.folder);
    files.read();
    let all_aircraft: Vec<_> = files.to_fly().map(|(_, file)| &**file).chain([&file.aircraft]).collect();
    let (aircraft, left_out) = tallywheel_profile::reduce(&rig, &file.aircraft);
    let mut config = runtime_config::build_in(&rig, &aircraft, &mut places, &all_aircraft)?;
    left_out.iter().for_each(|part| tracing::warn!("{part}"));
    control::start_where_saved(&mut config, &file.stem, &aircraft, &mut saved);
    let flying = Flying { stem: file.stem, aircraft: Arc::new(aircraft), rig, places };
    Ok(Ready { settings, clock, flying, config, saved, files })
}

/// The aircraft that the user names, or the last one flown if it is there, or the only one.
fn choose(settings: &Settings, saved: &Saved) -> Result<AircraftFile, Failure> {
    let folder = &settings.folder;
    let last = || saved.last_aircraft().filter(|stem| files::is_aircraft(folder, stem));
    let name = settings.aircraft.clone().or_else(last);
    Ok(files::choose_aircraft(folder, name.as_deref())?)
}

impl Ready {
    /// The rig's name.
    #[must_use]
    pub fn rig(&self) -> &str {
        &self.flying.rig.name
    }

    /// The aircraft's name.
    #[must_use]
    pub fn aircraft(&self) -> &str {
        &self.flying.aircraft.name
    }

    /// The folder of the log and the last hour.
    #[must_use]
    pub const fn log_folder(&self) -> &PathBuf {
        &self.settings.log_folder
    }

    /// Starts to read the boards that `opener` opens; `log` is the log file.
    ///
    /// # Errors
    /// Where the system gives no thread.
    pub fn start(self, opener: impl Opener, log: PathBuf) -> std::io::Result<MainLoop> {
        let watch = Watch::new(&self.settings.folder);
        self.start_watching(opener, watch, log)
    }

    /// [`Self::start`] with a watch on the folder of files that the caller has made.
    ///
    /// # Errors
    /// Where the system gives no thread.
    pub fn start_watching(
        self,
        opener: impl Opener,
        watch: Watch,
        log: PathBuf,
    ) -> std::io::Result<MainLoop> {
        let (clock, devices) = (self.clock, device_manager::channel());
        let output_devices = devices.0.clone();
        let deadline_changed = Box::new(move || output_devices.output_changed());
        let (main, boards, events) = self.assemble(devices.0.clone(), watch, log, deadline_changed);
        // Last: the first frame goes out at once, unless the control wants silence.
        DeviceManager::new(boards, Arc::clone(&main.shared), events, clock, devices, opener).keep()?;
        Ok(main)
    }

    /// Puts everything together and starts no thread: whoever calls this keeps the boards himself.
    fn assemble(
        self,
        devices: device_manager::DeviceSender,
        watch: Watch,
        log: PathBuf,
        deadline_changed: Box<dyn Fn() + Send + Sync>,
    ) -> (MainLoop, Vec<runtime_config::BoardConfig>, EventSender) {
        let Self { settings, clock, flying, config, saved, files } = self;
        let (events, receiver) = events::channel();
        let (commands, requests) = commands::channel();
        let (asker, questions) = mpsc::channel(QUEUE_QUESTIONS);
        let RuntimeConfig { names, boards, tally, outputs } = config;
        let shared = SharedState::new(tally, outputs, events.clone(), clock.epoch(), deadline_changed);
        let shared = Arc::new(shared.with_commands(commands.clone()));
        let recorder = Recorder::new(&settings.log_folder, names.clone());
        let event_log = EventLog::new(receiver, names, recorder);
        let control = Control::new(files, flying, Arc::clone(&shared), devices, clock, event_log, saved);
        let (debouncer, listener) = Default::default();
        let (gather_until, rounds) = (None, 0);
        let main = MainLoop {
            control,
            shared,
            commands,
            requests,
            watch,
            debouncer,
            listener,
            clock,
            questions,
            asker,
            log,
            gather_until,
            rounds,
        };
        (main, boards, events)
    }
}

/// The running bridge, but for the threads that read its boards.
pub struct MainLoop {
    control: Control,
    shared: Arc<SharedState>,
    commands: Commands,
    requests: Requests,
    watch: Watch,
    debouncer: Debouncer,
    listener: SimulatorListener,
    clock: Clock,
    questions: mpsc::Receiver<Question>,
    asker: mpsc::Sender<Question>,
    log: PathBuf,
    /// Events are coming, and are looked at again then.
    gather_until: Option<Timestamp>,
    rounds: u64,
}

impl MainLoop {
    /// Where commands are handed in.
    #[must_use]
    pub fn commands(&self) -> Commands {
        self.commands.clone()
    }

    /// Where questions are handed in.
    #[must_use]
    pub fn asker(&self) -> mpsc::Sender<Question> {
        self.asker.clone()
    }

    /// The clock that everything here goes by.
    #[must_use]
    pub const fn clock(&self) -> Clock {
        self.clock
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

    /// What is flown, by one who takes messages for the user.
    pub const fn control_mut(&mut self) -> &mut Control {
        &mut self.control
    }

    /// How many events were handled so far: at rest none.
    #[must_use]
    pub const fn rounds(&self) -> u64 {
        self.rounds
    }

    /// Says what is wrong with the files now; to be called once, before the first event.
    pub fn begin(&mut self) {
        if let Some(reason) = self.watch.polling() {
            tracing::info!(reason, "checking the files for changes once a second");
        }
        self.control.begin();
    }

    /// Writes down what happened so far; to be called before each wait for an event.
    pub fn update(&mut self) {
        let now = self.clock.now();
        let busy = self.control.tick();
        self.gather_until = busy.then(|| now.after(GATHER));
        self.listener.open(&mut self.control, now);
    }

    /// When [`LoopEvent::Due`] is wanted although nothing happens; `None` at rest.
    #[must_use]
    pub fn deadline(&self) -> Option<Timestamp> {
        let absent = (!self.watch.is_on()).then(|| self.clock.now().after(LOOK_STEP));
        let read = self.debouncer.due().or(absent);
        [read, self.control.deadline(), self.listener.deadline(), self.gather_until]
            .into_iter()
            .flatten()
            .min()
    }

    /// Whether readers, boards or outputs have something to say that is to be handled at once.
    #[must_use]
    pub fn is_rung(&self) -> bool {
        self.gather_until.is_none() && self.control.has_events()
    }

    /// Waits for the next event, without a timer at rest. Nothing is lost where the caller gives up waiting.
    pub async fn next(&mut self) -> LoopEvent {
        let (deadline, now) = (self.deadline(), self.clock.now());
        let Self { control, requests, watch, questions, listener, gather_until, .. } = self;
        let due = async {
            match deadline {
                Some(at) => tokio::time::sleep(at.since(now)).await,
                None => std::future::pending().await,
            }
        };
        let rung = async {
            match gather_until {
                None => control.events().await,
                Some(_) => std::future::pending().await,
            }
        };
        tokio::select! {
            () = rung => LoopEvent::Bridge,
            Some(request) = requests.recv() => LoopEvent::Command(request),
            Some(question) = questions.recv() => LoopEvent::Question(question),
            event = watch.touched() => LoopEvent::File(event),
            () = listener.readable() => LoopEvent::Datagrams,
            () = due => LoopEvent::Due,
        }
    }

    /// Does what an event asks for.
    pub fn handle(&mut self, event: LoopEvent) {
        self.rounds = self.rounds.saturating_add(1);
        let now = self.clock.now();
        match event {
            // Looked at with the next update.
            LoopEvent::Bridge => {}
            LoopEvent::Command(request) => self.control.serve(request),
            LoopEvent::Question(question) => self.control.answer(question, &self.log),
            LoopEvent::File(event) => self.debouncer.touch(now, event),
            LoopEvent::Datagrams => self.listener.read(&mut self.control, now),
            LoopEvent::Due => {
                self.control.due();
                // While events gather, that is what was due; a folder that is not there is looked for at rest.
                let gathered = self.gather_until.is_some_and(|until| until <= now);
                if self.debouncer.take(now) || !gathered && !self.watch.is_on() {
                    // Watched first, so that what is saved while the files are read is read again.
                    self.watch.refresh();
                    self.control.reload();
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

#[cfg(test)]
mod tests;
