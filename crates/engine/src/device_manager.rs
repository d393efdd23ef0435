//! Keeps every board of the rig read: opens it, hands it to a thread of its own, waits for it to come back.
//!
//! Looking for boards costs tens of milliseconds, so it is done when a device node changed and never on a
//! timer, but for the second after a change in which udev may still be setting rights. The dock also keeps
//! the time for outputs that failed; while all is well it sleeps without a timer.

use crate::clock::Clock;
use crate::devwatch::{DevWatch, Node};
use crate::events::{BoardChange, BoardEvent, EventSender};
use crate::orders::{ReaderCommand, ReaderCommands};
use crate::runtime_config::{BoardConfig, Pipeline};
use crate::shared::SharedState;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender};
use std::sync::Arc;
use std::thread;
use std::time::Duration;
use tallywheel_hid_reader::{
    BoardMatch, Hid, OpenBoard, OpenRetry, REPORT_BYTES_MAX, RecordedDevice, ReportSource, RetryDecision,
    SourceError,
};
use tallywheel_output::{HiddenBoard, OutputError};
use tallywheel_units::{Counts, Timestamp, WheelIndex};

/// How often boards are looked for where the system cannot tell of changes, and only while one is missing.
const LOOK_STEP: Duration = Duration::from_secs(2);
/// The most wake-ups that wait; more would tell nothing new.
const QUEUE_WAKES: usize = 64;

/// What wakes the dock.
#[derive(Debug)]
enum DeviceEvent {
    /// A device node changed.
    Node(Node),
    /// A reader ended because its board is gone.
    Gone(ReaderId),
    /// An output failed or recovered.
    Output,
    /// The rig has these boards now.
    Rig(Vec<BoardConfig>),
    /// Somebody knows how far a wheel turned.
    Confirm { wheel: WheelIndex, turned: Counts },
}

/// Tells one reading of a board from the next.
type ReaderId = u64;

/// Wakes the dock.
#[derive(Debug, Clone)]
pub struct DeviceSender(Sender<DeviceEvent>);

/// The dock's end of the bell.
#[derive(Debug)]
pub struct DeviceReceiver(Receiver<DeviceEvent>);

/// A bell and its door.
#[must_use]
pub fn channel() -> (DeviceSender, DeviceReceiver) {
    let (send, receive) = crossbeam_channel::bounded(QUEUE_WAKES);
    (DeviceSender(send), DeviceReceiver(receive))
}

impl DeviceSender {
    /// An output's deadline may have changed. Never waits; a full queue wakes the dock anyway.
    pub fn output_changed(&self) {
        let _ = self.0.try_send(DeviceEvent::Output);
    }

    /// The rig file changed. Waits for a place in the queue: a reader's thread must not call it.
    pub fn rig_changed(&self, plans: Vec<BoardConfig>) {
        let _ = self.0.send(DeviceEvent::Rig(plans));
    }

    /// Somebody knows that a wheel turned by so many counts, in its decoder's direction, since the last time.
    /// Waits for a place in the queue.
    pub fn confirm(&self, wheel: WheelIndex, turned: Counts) {
        let _ = self.0.send(DeviceEvent::Confirm { wheel, turned });
    }
}

/// One board's place at the dock.
struct DeviceSlot {
    plan: BoardConfig,
    state: State,
    said: Option<BoardChange>,
    hiding: Option<Hiding>,
}

/// A board whose wheels are hidden, or shall be when the rig file says so.
struct Hiding {
    path: String,
    board: Option<HiddenBoard>,
}

#[derive(Debug, Clone)]
enum State {
    /// Not here; to be looked for when something changes.
    Away,
    /// Refused; udev may still be at work.
    Settling { retry: OpenRetry, next: Timestamp },
    /// A thread reads it.
    Reading { id: ReaderId, orders: Arc<ReaderCommands>, descriptor: Vec<u8>, path: String },
}

/// Opens boards.
pub trait Opener: Send + 'static {
    /// What reports are read from.
    type Board: ReportSource + 'static;

    /// Opens the board that `find` means.
    ///
    /// # Errors
    /// [`SourceError`]
    fn open(&mut self, find: &BoardMatch) -> Result<(Self::Board, Opened), SourceError>;
}

/// What an opened board says of itself.
#[derive(Debug, Clone)]
pub struct Opened {
    /// Where the system has it.
    pub path: String,
    /// What it is called.
    pub name: String,
    /// All of it that a recording holds, its report descriptor among it.
    pub device: RecordedDevice,
}

/// Opens real boards. The library is loaded when the first is looked for.
#[derive(Default)]
pub struct HidOpener(Option<Hid>);

impl Opener for HidOpener {
    type Board = OpenBoard;

    fn open(&mut self, find: &BoardMatch) -> Result<(OpenBoard, Opened), SourceError> {
        let opened = match &mut self.0 {
            Some(hid) => hid.open(find),
            None => Hid::new().and_then(|new| self.0.insert(new).open(find)),
        };
        if matches!(opened, Err(SourceError::GiveUp { .. })) {
            self.0 = None;
        }
        opened.map(|board| {
            let (path, name) = (board.path().to_owned(), board.name().to_owned());
            let opened = Opened { path, name, device: board.recorded() };
            (board, opened)
        })
    }
}

/// The dock.
pub struct DeviceManager<O = HidOpener> {
    slots: Vec<DeviceSlot>,
    shared: Arc<SharedState>,
    notes: EventSender,
    clock: Clock,
    bell: DeviceSender,
    door: DeviceReceiver,
    opener: O,
    watch: Option<DevWatch>,
    next_id: ReaderId,
}

impl<O: Opener> DeviceManager<O> {
    /// Takes the boards of `plans` in. Nothing is opened before [`Self::keep`].
    #[must_use]
    pub fn new(
        plans: Vec<BoardConfig>,
        shared: Arc<SharedState>,
        notes: EventSender,
        clock: Clock,
        (bell, door): (DeviceSender, DeviceReceiver),
        opener: O,
    ) -> Self {
        let slots = plans.into_iter().map(DeviceSlot::new).collect();
        Self { slots, shared, notes, clock, bell, door, opener, watch: None, next_id: 0 }
    }

    /// Starts a thread that keeps the boards for as long as the program runs.
    ///
    /// # Errors
    /// Where the system gives no thread.
    pub fn keep(mut self) -> std::io::Result<()> {
        let bell = self.bell.clone();
        // The watch has a thread of its own, so it can wait for a place in the queue: no change is missed.
        self.watch = DevWatch::new(move |node| bell.0.send(DeviceEvent::Node(node)).is_ok()).ok();
        thread::Builder::new().name("dock".into()).spawn(move || self.run())?;
        Ok(())
    }

    fn run(mut self) {
        self.shared.publish_now(self.clock.now());
        self.look();
        loop {
            self.watch_if_needed();
            let wake = match self.next_deadline() {
                None => self.door.0.recv().map_err(|_| RecvTimeoutError::Disconnected),
                Some(at) => self.door.0.recv_timeout(at.since(self.clock.now())),
            };
            match wake {
                Ok(wake) => self.woken(wake),
                Err(RecvTimeoutError::Timeout) => self.due(),
                Err(RecvTimeoutError::Disconnected) => return,
            }
        }
    }

    fn next_deadline(&self) -> Option<Timestamp> {
        let settling = self.slots.iter().filter_map(|slot| match slot.state {
            State::Settling { next, .. } => Some(next),
            _ => None,
        });
        let away = self.slots.iter().any(|slot| matches!(slot.state, State::Away));
        let look = (away && !self.watched()).then(|| self.clock.now().after(LOOK_STEP));
        settling.chain(look).chain(self.shared.deadline()).min()
    }

    /// Watches /dev for as long as a board or an output is awaited.
    fn watch_if_needed(&mut self) {
        let awaited = self.slots.iter().any(|slot| !matches!(slot.state, State::Reading { .. }));
        let needed = awaited || self.shared.output_awaited();
        if self.watch.as_mut().is_some_and(|watch| watch.switch(needed)) {
            // Changes before the watch was on are found by looking once.
            self.shared.retry_outputs(self.clock.now());
            self.look();
        }
    }

    fn woken(&mut self, first: DeviceEvent) {
        // One plug makes several changes; they are looked at together.
        let mut wakes = vec![first];
        wakes.extend(self.door.0.try_iter());
        let (mut look, mut retry) = (false, false);
        for wake in wakes {
            match wake {
                DeviceEvent::Node(Node::Hidraw) => look = true,
                DeviceEvent::Node(Node::Uinput) => retry = true,
                DeviceEvent::Output => {}
                DeviceEvent::Gone(reader) => {
                    // A reader that was sent away is not among them.
                    let of = |slot: &&mut DeviceSlot| matches!(slot.state, State::Reading { id, .. } if id == reader);
                    if let Some(slot) = self.slots.iter_mut().find(of) {
                        slot.state = State::Away;
                        slot.hiding = None;
                        slot.say(&self.notes, BoardChange::Gone);
                        look = true;
                    }
                }
                DeviceEvent::Rig(plans) => {
                    self.refit(plans);
                    look = true;
                }
                DeviceEvent::Confirm { wheel, turned } => {
                    let slot = self.slots.iter().find(|slot| slot.plan.has(wheel));
                    if let Some(State::Reading { orders, .. }) = slot.map(|slot| &slot.state) {
                        orders.give(ReaderCommand::Confirm { wheel, turned });
                    }
                }
            }
        }
        if retry {
            self.shared.retry_outputs(self.clock.now());
            self.slots.iter_mut().for_each(|slot| slot.hide_again(&self.notes));
        }
        if look {
            self.look();
        }
    }

    /// The rig has these boards from now on. A board that is found as before, or is the one meant by other words,
    /// goes on being read.
    fn refit(&mut self, plans: Vec<BoardConfig>) {
        let mut before = std::mem::take(&mut self.slots);
        for plan in plans {
            let place = before.iter().position(|slot| slot.plan.board() == plan.board());
            let slot = match place.map(|place| before.swap_remove(place)) {
                Some(slot) if slot.plan.find() == plan.find() || self.is_still(&slot, plan.find()) => {
                    slot.refitted(plan, &self.notes)
                }
                Some(slot) => {
                    self.exchange(&slot);
                    DeviceSlot::new(plan)
                }
                None => DeviceSlot::new(plan),
            };
            self.slots.push(slot);
        }
        before.iter().for_each(DeviceSlot::end);
    }

    /// Whether the board that is read is also the one that `find` means.
    fn is_still(&mut self, slot: &DeviceSlot, find: &BoardMatch) -> bool {
        let State::Reading { path: read, .. } = &slot.state else { return false };
        self.opener.open(find).is_ok_and(|(_, Opened { path, .. })| path == *read)
    }

    /// Another board takes the place of this one.
    fn exchange(&self, slot: &DeviceSlot) {
        slot.end();
        // What its wheels do until the other one is read nobody counts, as when it is unplugged.
        if let State::Reading { descriptor, .. } = &slot.state
            && let Ok(mut path) = slot.plan.pipeline(descriptor)
        {
            self.shared.unplugged(&mut path, self.clock.now());
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
                State::Settling { next, .. } => next <= now,
                State::Away => !watched,
                State::Reading { .. } => false,
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
        let Self { slots, shared, notes, clock, bell, opener, next_id, .. } = self;
        let Some(slot) = slots.get_mut(place) else { return };
        if matches!(slot.state, State::Reading { .. }) {
            return;
        }
        let opened = opener.open(slot.plan.find());
        let now = clock.now();
        match opened {
            Ok((board, Opened { path: from, name, device })) => {
                match slot.plan.pipeline(&device.descriptor) {
                    Ok(path) => {
                        *next_id += 1;
                        let (id, orders, descriptor) =
                            (*next_id, Arc::new(ReaderCommands::default()), device.descriptor.clone());
                        // Before the first report, which the reader's thread may post at once.
                        notes.post(BoardEvent::Device { board: slot.plan.board(), device: Box::new(device) });
                        let reader = Reader { id, orders: Arc::clone(&orders), shared, clock, bell };
                        match reader.read(board, path) {
                            Ok(()) => {
                                slot.state = State::Reading { id, orders, descriptor, path: from.clone() };
                                slot.hide(from.clone(), notes);
                                slot.say(notes, BoardChange::Reading { path: from, name });
                            }
                            Err(error) => slot.refuse(
                                notes,
                                format!("no thread to read it: {error}"),
                                "close other programs",
                            ),
                        }
                    }
                    Err(error) => slot.refuse(notes, error.to_string(), "correct the rig file"),
                }
            }
            Err(SourceError::AskPermission { reason, cure, .. }) => {
                let mut retry = match slot.state {
                    State::Settling { retry, .. } => retry,
                    _ => OpenRetry::default(),
                };
                match retry.refused(now) {
                    RetryDecision::TryAgain(pause) => {
                        slot.state = State::Settling { retry, next: now.after(pause) };
                    }
                    RetryDecision::Final => slot.refuse(notes, reason, &cure),
                }
            }
            Err(SourceError::AwaitPlug | SourceError::Reopen { .. } | SourceError::Finish) => {
                slot.state = State::Away;
                if !matches!(slot.said, Some(BoardChange::Gone)) {
                    slot.say(notes, BoardChange::Missing);
                }
            }
            Err(error @ SourceError::AskWhich { .. }) => {
                slot.refuse(notes, error.to_string(), "name it by serial or path in the rig file");
            }
            Err(SourceError::GiveUp { reason }) => {
                slot.refuse(notes, reason, "connect a board, or look at the system's log");
            }
        }
    }
}

impl DeviceSlot {
    const fn new(plan: BoardConfig) -> Self {
        Self { plan, state: State::Away, said: None, hiding: None }
    }

    /// The same board, decoded by another plan.
    fn refitted(mut self, plan: BoardConfig, notes: &EventSender) -> Self {
        if plan == self.plan {
            return self;
        }
        let hidden = self.plan.hidden();
        self.plan = plan;
        if hidden != self.plan.hidden()
            && let Some(Hiding { path, board }) = self.hiding.take()
        {
            // It can be taken again only once it has been given back.
            drop(board);
            self.hide(path, notes);
        }
        match &self.state {
            State::Reading { orders, descriptor, .. } => match self.plan.pipeline(descriptor) {
                Ok(path) => orders.give(ReaderCommand::Path(Box::new(path))),
                Err(error) => {
                    self.end();
                    self.refuse(notes, error.to_string(), "correct the rig file");
                }
            },
            // What was wrong with the old plan may not be with the new.
            State::Away | State::Settling { .. } => self.state = State::Away,
        }
        self
    }

    /// Its reader goes with the board's next report.
    fn end(&self) {
        if let State::Reading { orders, .. } = &self.state {
            orders.give(ReaderCommand::End);
        }
    }

    /// Says it once, not again while nothing else happened.
    fn say(&mut self, notes: &EventSender, change: BoardChange) {
        if self.said.as_ref() != Some(&change) {
            notes.post(BoardEvent::Board { board: self.plan.board(), change: change.clone() });
            self.said = Some(change);
        }
    }

    /// Tries again what failed: a twin cannot be made without uinput.
    fn hide_again(&mut self, notes: &EventSender) {
        let failed = |hiding: &mut Hiding| hiding.board.as_ref().is_some_and(HiddenBoard::has_ended);
        if let Some(Hiding { path, .. }) = self.hiding.take_if(failed) {
            self.hide(path, notes);
        }
    }

    /// Hides its wheels if the rig file asks for that.
    fn hide(&mut self, path: String, notes: &EventSender) {
        let (board, notes) = (self.plan.board(), notes.clone());
        let tell = move |what: Result<String, OutputError>| {
            let change = match what {
                Ok(twin) => BoardChange::Hidden { twin },
                Err(error) => BoardChange::NotHidden { reason: error.to_string() },
            };
            notes.post(BoardEvent::Board { board, change });
        };
        let hidden = self.plan.hidden().map(|wheels| HiddenBoard::start(&path, wheels, tell.clone()));
        let hidden = hidden.transpose().unwrap_or_else(|error| {
            tell.clone()(Err(OutputError::Reopen {
                reason: "the system gives no thread",
                cure: "close other programs",
                source: error,
            }));
            None
        });
        self.hiding = Some(Hiding { path, board: hidden });
    }

    fn refuse(&mut self, notes: &EventSender, reason: String, cure: &str) {
        self.state = State::Away;
        self.hiding = None;
        self.say(notes, BoardChange::Refused { reason, cure: cure.to_owned() });
    }
}

/// What a reader's thread is given.
struct Reader<'a> {
    id: ReaderId,
    orders: Arc<ReaderCommands>,
    shared: &'a Arc<SharedState>,
    clock: &'a Clock,
    bell: &'a DeviceSender,
}

impl Reader<'_> {
    /// Reads `board` on a thread of its own until it is gone: the fast path.
    fn read(self, mut board: impl ReportSource + 'static, mut path: Pipeline) -> std::io::Result<()> {
        let Self { id, orders, .. } = self;
        let (shared, clock, bell) = (Arc::clone(self.shared), *self.clock, self.bell.clone());
        thread::Builder::new().name("reader".into()).spawn(move || {
            let mut buffer = [0_u8; REPORT_BYTES_MAX];
            path.opened(clock.now());
            loop {
                // While all is certain there is no timer.
                let deadline = path.deadline();
                match board.read(&mut buffer, deadline.map(|at| at.since(clock.now()))) {
                    // The time is over, or a signal came; there is nothing to read yet.
                    Ok(0) => {
                        let now = clock.now();
                        if deadline.is_some_and(|at| at <= now) {
                            shared.rest(&mut path, now);
                        }
                    }
                    Ok(length) => {
                        let now = clock.now();
                        if orders.waiting() && !shared.obey(&mut path, now, orders.take()) {
                            return;
                        }
                        shared.report(&mut path, now, buffer.get(..length).unwrap_or_default());
                    }
                    Err(_) => break,
                }
            }
            // The handle goes first: while it is open, the board comes back under another name.
            drop(board);
            if orders.end() {
                // Its wheels are another board's by now, and nobody waits for it to come back.
                return;
            }
            shared.unplugged(&mut path, clock.now());
            // Gone must not be lost, so this waits for a place in the queue; nothing is left to delay.
            let _ = bell.0.send(DeviceEvent::Gone(id));
        })?;
        Ok(())
    }
}
