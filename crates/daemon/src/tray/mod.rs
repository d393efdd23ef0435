//! The icon in the desktop's tray, its menu and its notifications. Any of them may be missing.
//!
//! Whenever the main loop has done something, the tray takes a [`snapshot`] of the state; the [`presenter`] decides
//! whether anything would look different and hands the new [`TrayView`] to the host. What is chosen in the menu becomes
//! a command like all others. At rest nothing runs.

#[cfg(target_os = "linux")]
pub mod bus;
pub mod icon;
pub mod menu;
pub mod notification_queue;
pub mod notifications;
pub mod opener;
pub mod presenter;
pub mod snapshot;
pub mod truncate;
#[cfg(windows)]
pub mod windows;

use notifications::NotificationSchedule;
use opener::DesktopOpener;
use presenter::{Presenter, TrayView};
use snapshot::{MenuAction, TraySnapshot};
use std::sync::Arc;
use tallywheel_engine::clock::Clock;
use tallywheel_engine::commands::{Command, Commands, Origin};
use tallywheel_engine::control::Control;
use tallywheel_engine::notifications::{Message, Subject};
use tokio::sync::Notify;
use tokio::sync::mpsc::{self, Receiver, Sender};

/// The most menu actions that wait to be carried out.
const ACTIONS_MAX: usize = 16;
/// The most failures that wait to be shown.
const FAILURES_MAX: usize = 16;

/// Shows the tray on one platform. Neither function waits, and where nothing can be shown they do nothing.
pub trait TrayHost: Send {
    /// Shows this view in place of the one before.
    fn show(&self, view: TrayView);

    /// Shows a notification, in place of an earlier one on the same subject.
    fn notify(&self, message: Message);
}

/// The tray of a running daemon.
pub struct Tray {
    host: Box<dyn TrayHost>,
    actions: Receiver<MenuAction>,
    commands: Commands,
    opener: DesktopOpener,
    failures: (Sender<Message>, Receiver<Message>),
    clock: Clock,
    presenter: Presenter,
    notifications: NotificationSchedule,
    quit: Arc<Notify>,
}

impl std::fmt::Debug for Tray {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Tray").field("presenter", &self.presenter).finish_non_exhaustive()
    }
}

impl Tray {
    /// Starts the tray of this platform on the running tokio runtime. `quit` is notified when the user ends the program by
    /// the menu.
    #[must_use]
    pub fn start(commands: Commands, opener: DesktopOpener, clock: Clock, quit: Arc<Notify>) -> Self {
        let (send, actions) = mpsc::channel(ACTIONS_MAX);
        let (presenter, notifications) = Default::default();
        let failures = mpsc::channel(FAILURES_MAX);
        Self { host: host(send), actions, commands, opener, failures, clock, presenter, notifications, quit }
    }

    /// Shows the present state and the notifications that are due.
    pub fn update(&mut self, control: &mut Control) {
        let now = self.clock.now();
        let messages = control.event_log().notifications().take_news();
        messages.into_iter().for_each(|message| self.notifications.add(message));
        while let Some(message) = self.notifications.due(now) {
            self.host.notify(message);
        }
        if self.presenter.is_due(now)
            && let Some(view) = self.presenter.update(now, &TraySnapshot::of(control))
        {
            self.host.show(view);
        }
    }

    /// Returns when an update is due that nothing else calls for, or when something was chosen in the menu. Nothing is
    /// lost where the caller gives up waiting.
    pub async fn woken(&mut self) {
        let now = self.clock.now();
        let due = self.presenter.deadline().into_iter().chain(self.notifications.deadline()).min();
        let due = async {
            match due {
                Some(at) => tokio::time::sleep(at.since(now)).await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            // Without a host nobody actions for anything.
            Some(action) = self.actions.recv() => self.perform(action),
            Some(message) = self.failures.1.recv() => self.notifications.add(message),
            () = due => {}
        }
    }

    fn perform(&mut self, action: MenuAction) {
        let done = match action {
            MenuAction::Command(command) => {
                self.command(command);
                Ok(())
            }
            MenuAction::ClearMark => {
                self.presenter.clear_mark();
                Ok(())
            }
            MenuAction::OpenLog => self.opener.open_log(&self.failures.0),
            MenuAction::OpenFolder => self.opener.open_folder(&self.failures.0),
            MenuAction::Quit => {
                self.quit.notify_one();
                Ok(())
            }
        };
        if let Err(message) = done {
            self.notifications.add(message);
        }
    }

    /// Has a command carried out and shows its refusal, if it is refused.
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

/// Waits for a tray like [`Tray::woken`]; without one it waits for ever.
pub async fn woken(tray: Option<&mut Tray>) {
    match tray {
        Some(tray) => tray.woken().await,
        None => std::future::pending().await,
    }
}

#[cfg(target_os = "linux")]
fn host(actions: Sender<MenuAction>) -> Box<dyn TrayHost> {
    Box::new(bus::BusHost::start(actions))
}

#[cfg(windows)]
fn host(actions: Sender<MenuAction>) -> Box<dyn TrayHost> {
    Box::new(windows::AreaHost::start(actions))
}

/// This platform has no tray that the program knows.
#[cfg(not(any(target_os = "linux", windows)))]
fn host(_wishes: Sender<MenuAction>) -> Box<dyn TrayHost> {
    struct Nowhere;
    impl TrayHost for Nowhere {
        fn show(&self, _face: TrayView) {}
        fn notify(&self, _message: Message) {}
    }
    Box::new(Nowhere)
}
