//! The running program with a board that does as it is told.

#![allow(clippy::disallowed_methods, reason = "a test of the running program lives in real time")]
#![allow(dead_code, unreachable_pub, reason = "each test uses its part")]

use crossbeam_channel::{Receiver, Sender, bounded};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tallywheel::run::{Running, Settings};
use tallywheel_engine::clock::Clock;
use tallywheel_engine::commands::{Answer, Command, Commands, Origin};
use tallywheel_engine::config_files::Watch;
use tallywheel_engine::device_manager::{Opened, Opener};
use tallywheel_engine::main_loop;
use tallywheel_engine::shared::SharedState;
use tallywheel_hid_reader::{BoardMatch, RecordedDevice, ReportSource, SourceError};
use tallywheel_units::WheelIndex;

/// Joystick with 32 one-bit buttons.
const DESCRIPTOR: [u8; 23] = [
    0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x20, 0x15, 0x00, 0x25, 0x01, 0x75,
    0x01, 0x95, 0x20, 0x81, 0x02, 0xC0,
];

pub const RIG: &str = "name = \"bench\"
[[board]]
name = \"main\"
usb = \"1209:7a11\"
[[wheel]]
name = \"rudder\"
wiring = \"pulses\"
forward = 1
backward = 2
counts_per_turn = 24
[[wheel]]
name = \"elevator\"
wiring = \"pulses\"
forward = 3
backward = 4
counts_per_turn = 24
";

pub const AIRCRAFT: &str = "aircraft/kettrin.toml";

/// An aircraft with a rudder trim of so many degrees and `keys`.
pub fn aircraft(travel: i64, keys: &str) -> String {
    format!("name = \"Kettrin\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = {travel}\n{keys}")
}

/// Far longer than anything here takes, for machines that are busy with something else.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// Waits until something is so.
pub fn until(what: &str, is_so: impl Fn() -> bool) {
    let end = Instant::now() + PATIENCE;
    while !is_so() {
        assert!(Instant::now() < end, "it never came: {what}");
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// A folder of files, the program that uses it, and its board.
pub struct Bench {
    pub folder: PathBuf,
    pub shared: Arc<SharedState>,
    pub commands: Commands,
    log: Log,
    reports: Sender<[u8; 4]>,
    stop: tokio::sync::oneshot::Sender<()>,
    thread: JoinHandle<()>,
}

impl Bench {
    pub fn start(test: &str) -> Self {
        Self::start_with(new_settings(test))
    }

    /// With the files that are in `folder`.
    pub fn start_in(folder: PathBuf) -> Self {
        Self::start_with(settings(&folder))
    }

    pub fn start_with(settings: Settings) -> Self {
        let watch = Watch::new(&settings.folder);
        Self::start_watching(settings, watch)
    }

    /// With what tells of saved files.
    pub fn start_watching(settings: Settings, watch: Watch) -> Self {
        let (reports, fed) = bounded(1000);
        Self::start_reading(settings, watch, Plug(Some(fed)), reports)
    }

    /// With boards of the test's own; `reports` goes nowhere then.
    pub fn start_opening(settings: Settings, opener: impl Opener) -> Self {
        let watch = Watch::new(&settings.folder);
        Self::start_reading(settings, watch, opener, bounded(0).0)
    }

    fn start_reading(
        settings: Settings,
        watch: Watch,
        opener: impl Opener,
        reports: Sender<[u8; 4]>,
    ) -> Self {
        let folder = settings.folder.clone();
        let ready = main_loop::prepare(settings, Clock::start()).unwrap();
        let log = folder.join("tallywheel.log");
        let mut running = Running::new(ready.start_watching(opener, watch, log).unwrap());
        let (shared, commands) = (running.shared(), running.commands());
        let (stop, stopped) = tokio::sync::oneshot::channel();
        let log = Log::default();
        let written = log.clone();
        let thread = std::thread::spawn(move || {
            let lines = tracing_subscriber::fmt().with_ansi(false).with_writer(written).finish();
            let _lines = tracing::subscriber::set_default(lines);
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
            let ended = async { stopped.await.map_err(std::io::Error::other) };
            runtime.block_on(running.keep(ended)).unwrap();
            running.close();
        });
        Self { folder, shared, commands, log, reports, stop, thread }
    }

    /// What the program has logged so far.
    pub fn log(&self) -> String {
        self.log.text()
    }

    /// The board reports that exactly these buttons are pressed.
    pub fn press(&self, buttons: u32) {
        self.reports.send(buttons.to_le_bytes()).unwrap();
    }

    /// A wheel of the rig turns by so many counts. Wheel 0 is on buttons 1 and 2, and so on.
    pub fn turn(&self, wheel: u32, counts: i64) {
        for _ in 0..counts.abs() {
            self.press(1 << (2 * wheel + u32::from(counts < 0)));
            self.press(0);
        }
    }

    /// Waits until every report was taken.
    pub fn settled(&self) {
        until("all reports are read", || self.reports.is_empty());
    }

    /// What a wheel counted.
    pub fn counts(&self, wheel: u8) -> i64 {
        self.shared.look(|tally| tally.wheel(WheelIndex::new(wheel)).map_or(0, |wheel| wheel.counts.get()))
    }

    /// Where the first trim is.
    pub fn degrees(&self) -> f64 {
        self.shared.look(|tally| tally.readings()[0].degrees.get())
    }

    pub fn ask(&self, command: Command) -> Answer {
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        runtime.block_on(self.commands.ask(command, Origin::User))
    }

    /// Returns when everything saved before was looked at.
    pub fn mark(&self) {
        self.ask(Command::Reload).unwrap();
    }

    /// Ends the program and leaves the files.
    pub fn end(self) -> PathBuf {
        self.stop.send(()).unwrap();
        self.thread.join().unwrap();
        self.folder
    }

    pub fn stop(self) {
        let folder = self.end();
        for ending in ["log", "state"] {
            let _ = fs::remove_dir_all(folder.with_extension(ending));
        }
        let _ = fs::remove_dir_all(folder);
    }
}

/// A folder with the rig and one aircraft, log and state elsewhere, so that the folder is the test's alone.
pub fn new_settings(test: &str) -> Settings {
    let folder = std::env::temp_dir().join(format!("tallywheel-{test}-{}", std::process::id()));
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(folder.join("aircraft")).unwrap();
    fs::write(folder.join("rig.toml"), RIG).unwrap();
    fs::write(folder.join(AIRCRAFT), aircraft(720, "")).unwrap();
    let (log_folder, state_folder) = (folder.with_extension("log"), folder.with_extension("state"));
    Settings { log_folder, state_folder, ..settings(&folder) }
}

/// Everything in the folder itself.
pub fn settings(folder: &Path) -> Settings {
    Settings {
        folder: folder.to_owned(),
        log_folder: folder.join("log"),
        state_folder: folder.join("state"),
        aircraft: None,
    }
}

/// Lines of the program's log.
#[derive(Clone, Default)]
pub struct Log(Arc<Mutex<Vec<u8>>>);

impl Log {
    fn text(&self) -> String {
        String::from_utf8_lossy(&self.0.lock().unwrap()).into_owned()
    }
}

impl std::io::Write for Log {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl tracing_subscriber::fmt::MakeWriter<'_> for Log {
    type Writer = Self;

    fn make_writer(&self) -> Self {
        self.clone()
    }
}

/// Has one board, once.
struct Plug(Option<Receiver<[u8; 4]>>);

impl Opener for Plug {
    type Board = Fed;

    fn open(&mut self, _find: &BoardMatch) -> Result<(Fed, Opened), SourceError> {
        let board = Fed(self.0.take().ok_or(SourceError::AwaitPlug)?);
        Ok((board, opened("script", 0x7a11)))
    }
}

/// A board with 32 buttons at `path`.
pub fn opened(path: &str, product: u16) -> Opened {
    let device = RecordedDevice {
        name: "bench board".into(),
        phys: None,
        bus: 3,
        vendor: 0x1209,
        product,
        descriptor: DESCRIPTOR.to_vec(),
    };
    Opened { path: path.into(), name: "bench board".into(), device }
}

/// A board's reports.
pub struct Fed(pub Receiver<[u8; 4]>);

impl ReportSource for Fed {
    fn read(&mut self, buffer: &mut [u8], _wait: Option<Duration>) -> Result<usize, SourceError> {
        let report = self.0.recv().map_err(|_| SourceError::Reopen { reason: "unplugged".into() })?;
        Ok(buffer.iter_mut().zip(report).map(|(to, from)| *to = from).count())
    }
}
