//! The icon in the desktop's tray, its menu, and messages to the desktop. All of it may be missing.
//!
//! Whenever the program has done something it lets the tray look ([`sight`]); the tray decides whether anything looks
//! different ([`tender`]) and hands the new [`Face`] to its host. What is chosen in the menu goes the way of all
//! commands. At rest nothing runs.

pub mod brief;
pub mod bulletin;
#[cfg(target_os = "linux")]
pub mod bus;
pub mod desk;
pub mod icon;
pub mod menu;
pub mod sight;
pub mod tender;
pub mod turns;
#[cfg(windows)]
pub mod windows;

use bulletin::Bulletin;
use desk::Desk;
use sight::{Sight, Wish};
use std::sync::Arc;
use tallywheel_engine::clock::Clock;
use tallywheel_engine::commands::{Command, Commands, Origin};
use tallywheel_engine::control::Control;
use tallywheel_engine::notifications::{Message, Subject};
use tender::{Face, Tender};
use tokio::sync::Notify;
use tokio::sync::mpsc::{self, Receiver, Sender};

/// Clicks that wait to be done.
const WISHES_MAX: usize = 16;
/// Failures that wait to be told.
const FAILURES_MAX: usize = 16;

/// Where the tray is shown. Neither function waits, and where nothing can be shown they do nothing.
pub trait TrayHost: Send {
    /// Shows this face instead of the one before.
    fn show(&self, face: Face);

    /// Tells the user something, in place of what was told on the same subject before.
    fn tell(&self, message: Message);
}

/// The tray of a running daemon.
pub struct Tray {
    host: Box<dyn TrayHost>,
    wishes: Receiver<Wish>,
    commands: Commands,
    desk: Desk,
    failures: (Sender<Message>, Receiver<Message>),
    clock: Clock,
    tender: Tender,
    bulletin: Bulletin,
    quit: Arc<Notify>,
}

impl std::fmt::Debug for Tray {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Tray").field("tender", &self.tender).finish_non_exhaustive()
    }
}

impl Tray {
    /// The tray of this platform, on the running tokio runtime. `quit` is told when the user ends the program.
    #[must_use]
    pub fn start(commands: Commands, desk: Desk, clock: Clock, quit: Arc<Notify>) -> Self {
        let (send, wishes) = mpsc::channel(WISHES_MAX);
        let (tender, bulletin) = Default::default();
        let failures = mpsc::channel(FAILURES_MAX);
        Self { host: host(send), wishes, commands, desk, failures, clock, tender, bulletin, quit }
    }

    /// Shows how everything stands and tells what is news, if that is due.
    pub fn look(&mut self, control: &mut Control) {
        let now = self.clock.now();
        let news = control.event_log().notifications().take_news();
        news.into_iter().for_each(|message| self.bulletin.take(message));
        while let Some(message) = self.bulletin.due(now) {
            self.host.tell(message);
        }
        if self.tender.is_due(now)
            && let Some(face) = self.tender.look(now, &Sight::of(control))
        {
            self.host.show(face);
        }
    }

    /// Returns when a look is due that nothing else calls for. Nothing is lost where the caller gives up waiting.
    pub async fn woken(&mut self) {
        let now = self.clock.now();
        let due = self.tender.deadline().into_iter().chain(self.bulletin.deadline()).min();
        let due = async {
            match due {
                Some(at) => tokio::time::sleep(at.since(now)).await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            // Without a host nobody wishes for anything.
            Some(wish) = self.wishes.recv() => self.grant(wish),
            Some(message) = self.failures.1.recv() => self.bulletin.take(message),
            () = due => {}
        }
    }

    fn grant(&mut self, wish: Wish) {
        let done = match wish {
            Wish::Do(command) => {
                self.command(command);
                Ok(())
            }
            Wish::Seen => {
                self.tender.seen();
                Ok(())
            }
            Wish::OpenLog => self.desk.open_log(&self.failures.0),
            Wish::OpenFolder => self.desk.open_folder(&self.failures.0),
            Wish::Quit => {
                self.quit.notify_one();
                Ok(())
            }
        };
        if let Err(message) = done {
            self.bulletin.take(message);
        }
    }

    /// Has a command done; a refusal is told.
    fn command(&self, command: Command) {
        let (commands, failures) = (self.commands.clone(), self.failures.0.clone());
        tokio::spawn(async move {
            if let Err(refusal) = commands.ask(command, Origin::User).await {
                // As many wait as a user can click; the log has all of them.
                let _ = failures.try_send(Message {
                    subject: Subject::Wish,
                    title: "That was not done".to_owned(),
                    body: refusal.to_string(),
                    bad: true,
                });
            }
        });
    }
}

/// Waits for a tray that may not be there.
pub async fn woken(tray: Option<&mut Tray>) {
    match tray {
        Some(tray) => tray.woken().await,
        None => std::future::pending().await,
    }
}

#[cfg(target_os = "linux")]
fn host(wishes: Sender<Wish>) -> Box<dyn TrayHost> {
    Box::new(bus::BusHost::start(wishes))
}

#[cfg(windows)]
fn host(wishes: Sender<Wish>) -> Box<dyn TrayHost> {
    Box::new(windows::AreaHost::start(wishes))
}

/// No tray is known for this platform.
#[cfg(not(any(target_os = "linux", windows)))]
fn host(_wishes: Sender<Wish>) -> Box<dyn TrayHost> {
    struct Nowhere;
    impl TrayHost for Nowhere {
        fn show(&self, _face: Face) {}
        fn tell(&self, _message: Message) {}
    }
    Box::new(Nowhere)
}
