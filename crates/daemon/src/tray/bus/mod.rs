//! The tray on Linux: an item on the session bus for whatever panel shows such items (the `StatusNotifierItem`
//! protocol), and messages for whatever shows those (`org.freedesktop.Notifications`). None of it is needed: with no
//! bus, no panel or no message server the rest goes on, and each may come, die and come back.

mod item;
mod message;

use super::TrayHost;
use super::sight::Wish;
use super::tender::Face;
use item::Item;
use std::collections::BTreeMap;
use std::time::Duration;
use tallywheel_engine::notifications::{Message, Subject};
use tokio::sync::mpsc::{Receiver, Sender};
use tokio::sync::{mpsc, watch};
use tokio::time::Instant;

/// Messages that wait for a bus; older ones are news to nobody.
const MESSAGES_MAX: usize = 8;
/// A bus or an item that could not be had is tried for again when something stirs, at most this often.
const TRY_EVERY: Duration = Duration::from_secs(20);

/// What the tray hands to the bus.
#[derive(Debug)]
pub struct BusHost {
    face: watch::Sender<Face>,
    messages: Sender<Message>,
}

impl BusHost {
    /// Starts to serve the tray on the running tokio runtime; what users wish for goes to `wishes`.
    #[must_use]
    pub fn start(wishes: Sender<Wish>) -> Self {
        let (face, faces) = watch::channel(Face::default());
        let (messages, receive) = mpsc::channel(MESSAGES_MAX);
        tokio::spawn(Server { faces, messages: receive, wishes }.serve());
        Self { face, messages }
    }
}

impl TrayHost for BusHost {
    fn show(&self, face: Face) {
        self.face.send_replace(face);
    }

    fn tell(&self, message: Message) {
        if let Err(error) = self.messages.try_send(message) {
            tracing::debug!(%error, "a message for the desktop was dropped");
        }
    }
}

struct Server {
    faces: watch::Receiver<Face>,
    messages: Receiver<Message>,
    wishes: Sender<Wish>,
}

impl Server {
    /// Serves one bus after the other for as long as the tray is tended.
    async fn serve(mut self) {
        // Nothing is offered before there is something to show.
        if self.faces.changed().await.is_err() {
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
            let next = Instant::now() + TRY_EVERY;
            if self.stirred_after(next).await.is_none() {
                return;
            }
        }
    }

    /// Until this bus is gone; `None` when the tray is no longer tended.
    async fn serve_on(&mut self, bus: &zbus::Connection) -> Option<()> {
        let gone = message::end_of(bus);
        tokio::pin!(gone);
        let mut numbers = BTreeMap::<Subject, u32>::new();
        let mut item = Item::new(self.wishes.clone());
        let face = self.faces.borrow_and_update().clone();
        item.offer(face).await;
        let mut tried = Instant::now();
        loop {
            tokio::select! {
                () = &mut gone => {
                    item.end().await;
                    return Some(());
                }
                changed = self.faces.changed() => {
                    if changed.is_err() {
                        item.end().await;
                        return None;
                    }
                    let face = self.faces.borrow_and_update().clone();
                    if item.is_offered() {
                        item.show(face).await;
                    } else if tried.elapsed() >= TRY_EVERY {
                        item.offer(face).await;
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

    /// Sleeps until something stirs after `next`; `None` when the tray is no longer tended. No timer: on a machine
    /// without a bus nothing wakes the program while nothing moves.
    async fn stirred_after(&mut self, next: Instant) -> Option<()> {
        loop {
            self.faces.changed().await.ok()?;
            // Nobody was there to be told.
            while self.messages.try_recv().is_ok() {}
            if Instant::now() >= next {
                return Some(());
            }
        }
    }
}
