//! Keeps every board of the rig read: opens it, hands it to a thread of its own, waits for it to come back.
//!
//! Looking for boards costs tens of milliseconds, so it is done when a device node changed and never on a
//! timer, but for the second after a change in which udev may still be setting rights. The device manager also keeps
//! the time for outputs that failed; while all is well it sleeps without a timer.

mod channel;
mod opener;
mod slot;

pub use channel::{DeviceReceiver, DeviceSender, channel};
pub use opener::{HidOpener, Opened, Opener};

use crate::clock::Clock;
use crate::devwatch::{DevWatch, Node};
use crate::events::{BoardEvent, EventSender};
use crate::pipeline::ReaderCommand;
use crate::reader::Reader;
use crate::runtime_config::BoardConfig;
use crate::shared::SharedState;
use crate::slots::BoardChange;
use channel::{DeviceEvent, ReaderId};
use crossbeam_channel::RecvTimeoutError;
use slot::{DeviceSlot, SlotState};
use std::sync::Arc;
use std::thread;
use std::time::Duration;
use tallywheel_hid_reader::{BoardMatch, OpenRetry, RetryDecision, SourceError};
use tallywheel_units::Timestamp;

/// How often boards are looked for where the system cannot tell of changes, and only while one is missing.
const LOOK_STEP: Duration = Duration::from_secs(2);

/// Keeps the boards of the rig open.
pub struct DeviceManager<O = HidOpener> {
    slots: Vec<DeviceSlot>,
    shared: Arc<SharedState>,
    events: EventSender,
    clock: Clock,
    sender: DeviceSender,
    receiver: DeviceReceiver,
    opener: O,
    watch: Option<DevWatch>,
    next_id: ReaderId,
}

impl<O: Opener> DeviceManager<O> {
    /// Takes the boards of `boards` in. Nothing is opened before [`Self::keep`].
    #[must_use]
    pub fn new(
        boards: Vec<BoardConfig>,
        shared: Arc<SharedState>,
        events: EventSender,
        clock: Clock,
        (sender, receiver): (DeviceSender, DeviceReceiver),
        opener: O,
    ) -> Self {
        let slots = boards.into_iter().map(DeviceSlot::new).collect();
        Self { slots, shared, events, clock, sender, receiver, opener, watch: None, next_id: 0 }
    }

    /// Starts a thread that keeps the boards for as long as the program runs.
    ///
    /// # Errors
    /// Where the system gives no thread.
    pub fn keep(mut self) -> std::io::Result<()> {
        let sender = self.sender.clone();
        self.watch = DevWatch::new(move |node| sender.node(node)).ok();
        thread::Builder::new().name("devices".into()).spawn(move || self.run())?;
        Ok(())
    }

    fn run(mut self) {
        self.shared.publish_now(self.clock.now());
        self.look();
        loop {
            self.watch_if_needed();
            let event = match self.next_deadline() {
                None => self.receiver.0.recv().map_err(|_| RecvTimeoutError::Disconnected),
                Some(at) => self.receiver.0.recv_timeout(at.since(self.clock.now())),
            };
            match event {
                Ok(event) => self.woken(event),
                Err(RecvTimeoutError::Timeout) => self.due(),
                Err(RecvTimeoutError::Disconnected) => return,
            }
        }
    }

    fn next_deadline(&self) -> Option<Timestamp> {
        let settling = self.slots.iter().filter_map(|slot| match slot.state {
            SlotState::RetryingPermission { next, .. } => Some(next),
            _ => None,
        });
        let away = self.slots.iter().any(|slot| matches!(slot.state, SlotState::Disconnected));
        let look = (away && !self.watched()).then(|| self.clock.now().after(LOOK_STEP));
        settling.chain(look).chain(self.shared.deadline()).min()
    }

    /// Watches /dev for as long as a board or an output is awaited.
    fn watch_if_needed(&mut self) {
        let awaited = self.slots.iter().any(|slot| !matches!(slot.state, SlotState::Reading { .. }));
        let needed = awaited || self.shared.output_awaited();
        if self.watch.as_mut().is_some_and(|watch| watch.switch(needed)) {
            // Changes before the watch was on are found by looking once.
            self.shared.retry_outputs(self.clock.now());
            self.look();
        }
    }

    fn woken(&mut self, first: DeviceEvent) {
        // One plug makes several changes; they are looked at together.
        let mut events = vec![first];
        events.extend(self.receiver.0.try_iter());
        let (mut look, mut retry) = (false, false);
        for event in events {
            match event {
                DeviceEvent::Node(Node::Hidraw) => look = true,
                DeviceEvent::Node(Node::Uinput) => retry = true,
                DeviceEvent::OutputDeadline => {}
                DeviceEvent::Gone(reader) => {
                    // A reader that was sent away is not among them.
                    let of = |slot: &&mut DeviceSlot| matches!(slot.state, SlotState::Reading { id, .. } if id == reader);
                    if let Some(slot) = self.slots.iter_mut().find(of) {
                        slot.state = SlotState::Disconnected;
                        slot.hiding = None;
                        self.events.board(slot.config.board(), BoardChange::Gone);
                        look = true;
                    }
                }
                DeviceEvent::Rig(boards) => {
                    self.refit(boards);
                    look = true;
                }
                DeviceEvent::Confirm { wheel, turned } => {
                    let slot = self.slots.iter().find(|slot| slot.config.has(wheel));
                    if let Some(SlotState::Reading { commands, .. }) = slot.map(|slot| &slot.state) {
                        commands.give(ReaderCommand::Confirm { wheel, turned });
                    }
                }
            }
        }
        if retry {
            self.shared.retry_outputs(self.clock.now());
            self.slots.iter_mut().for_each(|slot| slot.hide_again(&self.events));
        }
        if look {
            self.look();
        }
    }

    /// The rig has these boards from now on. A board that is found as before, or is the one meant by other words,
    /// goes on being read.
    fn refit(&mut self, boards: Vec<BoardConfig>) {
        let mut before = std::mem::take(&mut self.slots);
        for config in boards {
            let place = before.iter().position(|slot| slot.config.board() == config.board());
            let slot = match place.map(|place| before.swap_remove(place)) {
                Some(slot) if slot.config.find() == config.find() || self.is_still(&slot, config.find()) => {
                    slot.refitted(config, &self.events)
                }
                Some(slot) => {
                    self.exchange(&slot);
                    self.events.slots().forget_board(config.board());
                    DeviceSlot::new(config)
                }
                None => DeviceSlot::new(config),
            };
            self.slots.push(slot);
        }
        before.iter().for_each(DeviceSlot::end);
    }

    /// Whether the board that is read is also the one that `find` means.
    fn is_still(&mut self, slot: &DeviceSlot, find: &BoardMatch) -> bool {
        let SlotState::Reading { path: read, .. } = &slot.state else { return false };
        self.opener.open(find).is_ok_and(|(_, Opened { path, .. })| path == *read)
    }

    /// Another board takes the place of this one.
    fn exchange(&self, slot: &DeviceSlot) {
        slot.end();
        // What its wheels do until the other one is read nobody counts, as when it is unplugged.
        if let SlotState::Reading { descriptor, .. } = &slot.state
            && let Ok(mut pipeline) = slot.config.pipeline(descriptor)
        {
            pipeline.take_unplugging(self.clock.now(), &self.shared);
        }
    }

    fn due(&mut self) {
        let now = self.clock.now();
        if self.shared.deadline().is_some_and(|at| at <= now) {
            self.shared.publish_now(now);
        }
        // An output that is tried again by the clock is no reason to look through all of sysfs.
        let watched = self.watched();
        for place in 0..self.slots.len() {
            let due = self.slots.get(place).is_some_and(|slot| match slot.state {
                SlotState::RetryingPermission { next, .. } => next <= now,
                SlotState::Disconnected => !watched,
                SlotState::Reading { .. } => false,
            });
            if due {
                self.look_for(place);
            }
        }
    }

    fn watched(&self) -> bool {
        self.watch.as_ref().is_some_and(DevWatch::is_on)
    }

    /// Tries to open every board that is not being read.
    fn look(&mut self) {
        for place in 0..self.slots.len() {
            self.look_for(place);
        }
    }

    fn look_for(&mut self, place: usize) {
        let Self { slots, shared, events, clock, sender, opener, next_id, .. } = self;
        let Some(slot) = slots.get_mut(place) else { return };
        if matches!(slot.state, SlotState::Reading { .. }) {
            return;
        }
        let opened = opener.open(slot.config.find());
        let now = clock.now();
        match opened {
            Ok((board, Opened { path, name, device })) => match slot.config.pipeline(&device.descriptor) {
                Ok(pipeline) => {
                    *next_id += 1;
                    let (id, commands, descriptor) = (*next_id, Arc::default(), device.descriptor.clone());
                    // Before the first report, which the reader's thread may post at once.
                    events.post(BoardEvent::Device { board: slot.config.board(), device: Box::new(device) });
                    let reader =
                        Reader { commands: Arc::clone(&commands), shared: Arc::clone(shared), clock: *clock };
                    let devices = sender.clone();
                    match reader.start(board, pipeline, move || devices.gone(id)) {
                        Ok(()) => {
                            slot.state = SlotState::Reading { id, commands, descriptor, path: path.clone() };
                            slot.hide(path.clone(), events);
                            events.board(slot.config.board(), BoardChange::Reading { path, name });
                        }
                        Err(error) => slot.refuse(
                            events,
                            format!("no thread to read it: {error}"),
                            "close other programs",
                        ),
                    }
                }
                Err(error) => slot.refuse(events, error.to_string(), "correct the rig file"),
            },
            Err(SourceError::AskPermission { reason, cure, .. }) => {
                let mut retry = match slot.state {
                    SlotState::RetryingPermission { retry, .. } => retry,
                    _ => OpenRetry::default(),
                };
                match retry.refused(now) {
                    RetryDecision::TryAgain(pause) => {
                        slot.state = SlotState::RetryingPermission { retry, next: now.after(pause) };
                    }
                    RetryDecision::Final => slot.refuse(events, reason, &cure),
                }
            }
            Err(SourceError::AwaitPlug | SourceError::Reopen { .. } | SourceError::Finish) => {
                slot.state = SlotState::Disconnected;
                let known = events.slots().board(slot.config.board());
                if !matches!(known.reading, Some(BoardChange::Gone)) {
                    events.board(slot.config.board(), BoardChange::Missing);
                }
            }
            Err(error @ SourceError::AskWhich { .. }) => {
                slot.refuse(events, error.to_string(), "name it by serial or path in the rig file");
            }
            Err(SourceError::GiveUp { reason }) => {
                slot.refuse(events, reason, "connect a board, or look at the system's log");
            }
        }
    }
}
