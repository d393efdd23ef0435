//! `tallywheel run`: the daemon.
//!
//! The engine's [`main_loop`] reads the files and starts the threads; [`Running::keep`] lets it go round, with a tray
//! that looks on. A test takes the same steps with boards of its own.

use crate::api::{ApiHandle, ApiServer};
use crate::args::RunArgs;
use crate::failure::CommandFailure;
use crate::logging;
use crate::logging::LogLevelHandle;
use crate::tray::opener::DesktopOpener;
use crate::tray::{self, Tray};
use std::path::PathBuf;
use std::sync::Arc;
use tallywheel_engine::clock::Clock;
use tallywheel_engine::commands::Commands;
use tallywheel_engine::device_manager::{HidOpener, Opener};
use tallywheel_engine::folders;
use tallywheel_engine::main_loop::{self, MainLoop};
use tallywheel_engine::replay_device::ReplayDevices;
use tallywheel_engine::shared::SharedState;
use tokio::sync::Notify;

pub use tallywheel_engine::main_loop::Settings;

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
    let ready = main_loop::prepare(settings, clock)?;
    let recording = args.recording.as_deref().map(tallywheel_engine::player::read).transpose()?;
    let (log, log_level) = logging::start(&args.log, ready.log_folder())?;
    tracing::info!(
        version = env!("CARGO_PKG_VERSION"),
        rig = ready.rig(),
        aircraft = ready.aircraft(),
        log = %log.display(),
        "started; for simulators only, never for real aircraft"
    );
    let mut running = Running::new(match recording {
        None => ready.start(opener, log.clone())?,
        Some(recording) => ready.start(ReplayDevices::new(recording, clock), log.clone())?,
    });
    let handle = running.api_handle(log_level);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let (signal, _server) = runtime.block_on(async {
        // Before anything is said or sent that somebody may answer with a signal.
        let stopped = tallywheel_engine::signals::signals()?;
        let server = if running.main.control().flying().rig.control { server.open(handle) } else { server };
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

/// The running program, but for the threads that it has beside this one.
pub struct Running {
    main: MainLoop,
    tray: Option<Tray>,
}

impl Running {
    /// Without a tray.
    #[must_use]
    pub const fn new(main: MainLoop) -> Self {
        Self { main, tray: None }
    }

    /// Where commands are handed in.
    #[must_use]
    pub fn commands(&self) -> Commands {
        self.main.commands()
    }

    /// Where the interface hands in what it is asked and told; `log_level` sets the level of the log.
    #[must_use]
    pub fn api_handle(&self, log_level: LogLevelHandle) -> ApiHandle {
        let changes = Arc::clone(self.main.control().state().changes());
        ApiHandle::new(self.main.commands(), self.main.asker(), changes, log_level)
    }

    /// What the readers' threads share.
    #[must_use]
    pub fn shared(&self) -> Arc<SharedState> {
        self.main.shared()
    }

    /// Shows a tray on the running tokio runtime; `log` is the log file, and `quit` is told when the user has had
    /// enough.
    pub fn show_tray(&mut self, log: PathBuf, quit: &Arc<Notify>) {
        let opener = DesktopOpener::new(log, self.main.control().config().folder().to_owned());
        self.tray = Some(Tray::start(self.main.commands(), opener, self.main.clock(), Arc::clone(quit)));
    }

    /// Lets the main loop go round until `stopped` says why it is to end. Sleeps without a timer while nothing happens.
    ///
    /// # Errors
    /// Those of `stopped`.
    pub async fn keep<S>(&mut self, stopped: impl Future<Output = std::io::Result<S>>) -> std::io::Result<S> {
        let Self { main, tray } = self;
        tokio::pin!(stopped);
        main.begin();
        loop {
            main.update();
            if let Some(tray) = tray {
                tray.update(main.control_mut());
            }
            tokio::select! {
                why = &mut stopped => return why,
                () = tray::woken(tray.as_mut()) => {}
                event = main.next() => main.handle(event),
            }
        }
    }

    /// Closes the outputs and writes the last lines of the log.
    pub fn close(self) {
        self.main.close();
    }
}
