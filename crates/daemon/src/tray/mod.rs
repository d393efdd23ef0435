//! The icon in the desktop's tray, its menu, and messages to the desktop. All of it may be missing.
//!
//! [`Tray::tend`] runs beside the journal: whenever notes were written it looks ([`sight`]), decides whether anything
//! looks different ([`tender`]) and hands the new [`Face`] to the host. At rest nothing runs.

pub mod bulletin;
#[cfg(target_os = "linux")]
pub mod bus;
pub mod cockpit;
pub mod desk;
pub mod ear;
pub mod icon;
pub mod menu;
pub mod sight;
pub mod tender;

use crate::clock::Clock;
use bulletin::{Bulletin, Message, Subject};
use desk::Desk;
use ear::Ear;
use sight::{Cockpit, Wish};
use tender::{Face, Tender};
use tokio::sync::mpsc::{self, Receiver};

/// Clicks that wait to be done.
const WISHES_MAX: usize = 16;

/// Where the tray is shown. Neither function waits, and where nothing can be shown they do nothing.
pub trait TrayHost {
    /// Shows this face instead of the one before.
    fn show(&self, face: Face);

    /// Tells the user something, in place of what was told on the same subject before.
    fn tell(&self, message: Message);
}

/// The tray of a running daemon.
pub struct Tray {
    host: Box<dyn TrayHost>,
    wishes: Receiver<Wish>,
    desk: Desk,
    failures: Receiver<Message>,
    clock: Clock,
    tender: Tender,
    bulletin: Bulletin,
}

impl std::fmt::Debug for Tray {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Tray").field("tender", &self.tender).finish_non_exhaustive()
    }
}

/// What woke the tray.
enum Woken {
    Stirred,
    Wish(Wish),
    Failed(Message),
    Due,
}

impl Tray {
    /// The tray of this platform, on the running tokio runtime.
    #[must_use]
    pub fn start(desk: (Desk, Receiver<Message>), clock: Clock) -> Self {
        let (send, wishes) = mpsc::channel(WISHES_MAX);
        Self::on(host(send), wishes, desk, clock)
    }

    /// A tray on `host`, which sends what users wish for to `wishes`.
    #[must_use]
    pub fn on(
        host: Box<dyn TrayHost>,
        wishes: Receiver<Wish>,
        (desk, failures): (Desk, Receiver<Message>),
        clock: Clock,
    ) -> Self {
        Self { host, wishes, desk, failures, clock, tender: Tender::default(), bulletin: Bulletin::default() }
    }

    /// Keeps the tray up to date until the user quits by its menu.
    pub async fn tend(&mut self, cockpit: &impl Cockpit, ear: &Ear) {
        loop {
            self.look(cockpit, ear);
            let quit = match self.woken(ear).await {
                Woken::Stirred => {
                    // What comes in the meantime is in the same look.
                    tokio::time::sleep(self.tender.pause(self.clock.now())).await;
                    false
                }
                Woken::Wish(wish) => self.grant(&wish, cockpit),
                Woken::Failed(message) => {
                    self.bulletin.take(message);
                    false
                }
                Woken::Due => false,
            };
            if quit {
                return;
            }
        }
    }

    fn look(&mut self, cockpit: &impl Cockpit, ear: &Ear) {
        let now = self.clock.now();
        ear.take_news().into_iter().for_each(|message| self.bulletin.take(message));
        while let Some(message) = self.bulletin.due(now) {
            self.host.tell(message);
        }
        if let Some(face) = self.tender.look(now, &cockpit.sight()) {
            self.host.show(face);
        }
    }

    async fn woken(&mut self, ear: &Ear) -> Woken {
        let (now, deadline) = (self.clock.now(), self.bulletin.deadline());
        let due = async {
            match deadline {
                Some(at) => tokio::time::sleep(at.since(now)).await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            () = ear.stirred() => Woken::Stirred,
            // Without a host nobody wishes for anything.
            Some(wish) = self.wishes.recv() => Woken::Wish(wish),
            Some(message) = self.failures.recv() => Woken::Failed(message),
            () = due => Woken::Due,
        }
    }

    /// Says whether the program is to end.
    fn grant(&mut self, wish: &Wish, cockpit: &impl Cockpit) -> bool {
        let done = match wish {
            Wish::Quit => return true,
            Wish::Seen => {
                self.tender.seen();
                Ok(())
            }
            Wish::OpenLog => self.desk.open_log(),
            Wish::OpenFolder => self.desk.open_folder(),
            Wish::Align { .. } | Wish::Fly(_) | Wish::Hold(_) => cockpit.grant(wish),
        };
        match done {
            Ok(()) => tracing::info!(?wish, "done, as the tray's menu was asked"),
            Err(reason) => {
                tracing::warn!(?wish, reason, "the tray's menu was asked for what cannot be done");
                self.bulletin.take(refusal(reason));
            }
        }
        false
    }
}

fn refusal(reason: String) -> Message {
    Message { subject: Subject::Wish, title: "That could not be done".to_owned(), body: reason, bad: true }
}

#[cfg(target_os = "linux")]
fn host(wishes: mpsc::Sender<Wish>) -> Box<dyn TrayHost> {
    Box::new(bus::BusHost::start(wishes))
}

/// No tray is known for this platform.
#[cfg(not(target_os = "linux"))]
fn host(_wishes: mpsc::Sender<Wish>) -> Box<dyn TrayHost> {
    struct Nowhere;
    impl TrayHost for Nowhere {
        fn show(&self, _face: Face) {}
        fn tell(&self, _message: Message) {}
    }
    Box::new(Nowhere)
}
