//! The tray on Linux: an item on the session bus for whatever panel shows such items (the `StatusNotifierItem`
//! protocol), and messages for whatever shows those (`org.freedesktop.Notifications`). None of it is needed: with no
//! bus, no panel or no message server the rest goes on, and each may come, die and come back.

mod item;
mod message;

use super::TrayHost;
use super::presenter::TrayView;
use super::snapshot::MenuAction;
use item::Item;
use std::collections::BTreeMap;
use std::time::Duration;
use tallywheel_engine::notifications::{Message, Subject};
use tokio::sync::mpsc::{Receiver, Sender};
use tokio::sync::{mpsc, watch};
use tokio::time::Instant;

/// The most messages that wait for a bus; more are dropped, since they are old by then.
const MESSAGES_MAX: usize = 8;
/// The least time between two attempts at a bus or an item; an attempt is made only when the view changes.
const RETRY_INTERVAL: Duration = Duration::from_secs(20);

/// The tray on a session bus.
#[derive(Debug)]
pub struct BusHost {
    view: watch::Sender<TrayView>,
    messages: Sender<Message>,
}

impl BusHost {
    /// Starts to serve the tray on the running tokio runtime; what users choose in the menu goes to `actions`.
    #[must_use]
    pub fn start(actions: Sender<MenuAction>) -> Self {
        let (view, views) = watch::channel(TrayView::default());
        let (messages, receive) = mpsc::channel(MESSAGES_MAX);
        tokio::spawn(Server { views, messages: receive, actions }.serve());
        Self { view, messages }
    }
}

impl TrayHost for BusHost {
    fn show(&self, view: TrayView) {
        self.view.send_replace(view);
    }

    fn notify(&self, message: Message) {
        if let Err(error) = self.messages.try_send(message) {
            tracing::debug!(%error, "a message for the desktop was dropped");
        }
    }
}

struct Server {
    views: watch::Receiver<TrayView>,
    messages: Receiver<Message>,
    actions: Sender<MenuAction>,
}

impl Server {
    /// Serves one bus after the other for as long as there is a tray.
    async fn serve(mut self) {
        // Nothing is offered before there is something to show.
        if self.views.changed().await.is_err() {
            return;
        }
        let mut said = false;
        loop {
            match tallywheel_tools::session_bus::connect().await {
                Ok(bus) => {
                    said = false;
                    if self.serve_on(&bus).await.is_none() {
                        return;
                    }
                    tracing::info!("the session bus is gone, and the tray with it; waiting for another");
                }
                Err(reason) => {
                    if !said {
                        tracing::info!(reason, "no session bus, so no tray; waiting for one");
                    }
                    said = true;
                }
            }
            let next = Instant::now() + RETRY_INTERVAL;
            if self.changed_after(next).await.is_none() {
                return;
            }
        }
    }

    /// Serves until this bus is gone; `None` when the tray has ended.
    async fn serve_on(&mut self, bus: &zbus::Connection) -> Option<()> {
        let gone = message::end_of(bus);
        tokio::pin!(gone);
        let mut numbers = BTreeMap::<Subject, u32>::new();
        let mut item = Item::new(self.actions.clone());
        let view = self.views.borrow_and_update().clone();
        item.offer(view).await;
        let mut tried = Instant::now();
        loop {
            tokio::select! {
                () = &mut gone => {
                    item.end().await;
                    return Some(());
                }
                changed = self.views.changed() => {
                    if changed.is_err() {
                        item.end().await;
                        return None;
                    }
                    let view = self.views.borrow_and_update().clone();
                    if item.is_offered() {
                        item.show(view).await;
                    } else if tried.elapsed() >= RETRY_INTERVAL {
                        item.offer(view).await;
                        tried = Instant::now();
                    }
                }
                Some(message) = self.messages.recv() => {
                    let number = numbers.get(&message.subject).copied().unwrap_or(0);
                    match message::send(bus, &message, number).await {
                        Ok(number) => {
                            numbers.insert(message.subject, number);
                        }
                        Err(error) => tracing::debug!(%error, message.title, "no desktop notification"),
                    }
                }
            }
        }
    }

    /// Sleeps until the view changes after `next`; `None` when the tray has ended. There is no timer: on a machine
    /// without a bus nothing wakes the program while nothing moves.
    async fn changed_after(&mut self, next: Instant) -> Option<()> {
        loop {
            self.views.changed().await.ok()?;
            // No server was there to show these.
            while self.messages.try_recv().is_ok() {}
            if Instant::now() >= next {
                return Some(());
            }
        }
    }
}
