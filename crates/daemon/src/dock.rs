//! Keeps every board of the rig read: opens it, hands it to a thread of its own, waits for it to come back.
//!
//! Looking for boards costs tens of milliseconds, so it is done when a device node changed and never on a
//! timer, but for the second after a change in which udev may still be setting rights. The dock also keeps
//! the time for outputs that failed; while all is well it sleeps without a timer.

use crate::clock::Clock;
use crate::devwatch::{DevWatch, Node};
use crate::note::{BoardChange, Note, Notes};
use crate::plan::{BoardPath, BoardPlan};
use crate::station::Station;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender};
use std::sync::Arc;
use std::thread;
use std::time::Duration;
use tallywheel_hid_reader::{
    Hid, OpenBoard, OpenRetry, REPORT_BYTES_MAX, Refusal, ReportSource, SourceError,
};
use tallywheel_units::{BoardIndex, Timestamp};

/// How often boards are looked for where the system cannot tell of changes, and only while one is missing.
const LOOK_STEP: Duration = Duration::from_secs(2);
/// The most wake-ups that wait; more would tell nothing new.
const QUEUE_WAKES: usize = 64;

/// What wakes the dock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wake {
    /// A device node changed.
    Node(Node),
    /// A board's reader ended because the board is gone.
    Gone(BoardIndex),
    /// An output failed or recovered.
    Output,
}

/// Wakes the dock.
#[derive(Debug, Clone)]
pub struct DockBell(Sender<Wake>);

/// The dock's end of the bell.
#[derive(Debug)]
pub struct DockDoor(Receiver<Wake>);

/// A bell and its door.
#[must_use]
pub fn bell() -> (DockBell, DockDoor) {
    let (send, receive) = crossbeam_channel::bounded(QUEUE_WAKES);
    (DockBell(send), DockDoor(receive))
}

impl DockBell {
    /// An output's deadline may have changed. Never waits; a full queue wakes the dock anyway.
    pub fn output_changed(&self) {
        let _ = self.0.try_send(Wake::Output);
    }
}

/// One board's place at the dock.
struct Berth {
    plan: BoardPlan,
    state: State,
    said: Option<BoardChange>,
}

#[derive(Debug, Clone, Copy)]
enum State {
    /// Not here; to be looked for when something changes.
    Away,
    /// Refused; udev may still be at work.
    Settling { retry: OpenRetry, next: Timestamp },
    /// A thread reads it.
    Reading,
}

/// The dock.
pub struct Dock {
    berths: Vec<Berth>,
    station: Arc<Station>,
    notes: Notes,
    clock: Clock,
    bell: DockBell,
    door: DockDoor,
    hid: Option<Hid>,
    watch: Option<DevWatch>,
}

impl Dock {
    /// Takes the boards of `plans` in. Nothing is opened before [`Self::keep`].
    #[must_use]
    pub fn new(
        plans: Vec<BoardPlan>,
        station: Arc<Station>,
        notes: Notes,
        clock: Clock,
        (bell, door): (DockBell, DockDoor),
    ) -> Self {
        let berths = plans.into_iter().map(|plan| Berth { plan, state: State::Away, said: None }).collect();
        Self { berths, station, notes, clock, bell, door, hid: None, watch: None }
    }

    /// Starts a thread that keeps the boards for as long as the program runs.
    ///
    /// # Errors
    /// Where the system gives no thread.
    pub fn keep(mut self) -> std::io::Result<()> {
        let bell = self.bell.clone();
        // The watch has a thread of its own, so it can wait for a place in the queue: no change is missed.
        self.watch = DevWatch::new(move |node| bell.0.send(Wake::Node(node)).is_ok()).ok();
        thread::Builder::new().name("dock".into()).spawn(move || self.run())?;
        Ok(())
    }

    fn run(mut self) {
        self.station.publish_now(self.clock.now());
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
        let settling = self.berths.iter().filter_map(|berth| match berth.state {
            State::Settling { next, .. } => Some(next),
            _ => None,
        });
        let away = self.berths.iter().any(|berth| matches!(berth.state, State::Away));
        let look = (away && !self.watched()).then(|| self.clock.now().after(LOOK_STEP));
        settling.chain(look).chain(self.station.deadline()).min()
    }

    /// Watches /dev for as long as a board or an output is awaited.
    fn watch_if_needed(&mut self) {
        let awaited = self.berths.iter().any(|berth| !matches!(berth.state, State::Reading));
        let needed = awaited || self.station.output_awaited();
        if self.watch.as_mut().is_some_and(|watch| watch.switch(needed)) {
            // Changes before the watch was on are found by looking once.
            self.station.retry_outputs(self.clock.now());
            self.look();
        }
    }

    fn woken(&mut self, first: Wake) {
        // One plug makes several changes; they are looked at together.
        let mut wakes = vec![first];
        wakes.extend(self.door.0.try_iter());
        for wake in &wakes {
            if let Wake::Gone(board) = wake
                && let Some(berth) = self.berths.get_mut(board.get())
            {
                berth.state = State::Away;
                berth.say(&self.notes, BoardChange::Gone);
            }
        }
        if wakes.contains(&Wake::Node(Node::Uinput)) {
            self.station.retry_outputs(self.clock.now());
        }
        if wakes.iter().any(|wake| matches!(wake, Wake::Node(Node::Hidraw) | Wake::Gone(_))) {
            self.look();
        }
    }

    fn due(&mut self) {
        let now = self.clock.now();
        if self.station.deadline().is_some_and(|at| at <= now) {
            self.station.publish_now(now);
        }
        // An output that is tried again by the clock is no reason to look through all of sysfs.
        let watched = self.watched();
        for place in 0..self.berths.len() {
            let due = self.berths.get(place).is_some_and(|berth| match berth.state {
                State::Settling { next, .. } => next <= now,
                State::Away => !watched,
                State::Reading => false,
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
        for place in 0..self.berths.len() {
            self.look_for(place);
        }
    }

    fn look_for(&mut self, place: usize) {
        let Self { berths, station, notes, clock, bell, hid, .. } = self;
        let Some(berth) = berths.get_mut(place) else { return };
        if matches!(berth.state, State::Reading) {
            return;
        }
        let opened = match hid {
            Some(hid) => hid.open(berth.plan.find()),
            None => Hid::new().and_then(|new| hid.insert(new).open(berth.plan.find())),
        };
        let now = clock.now();
        match opened {
            Ok(board) => {
                let from = (board.path().to_owned(), board.name().to_owned());
                let device = Box::new(board.recorded());
                match berth.plan.path(board.descriptor()) {
                    Ok(path) => {
                        // Before the first report, which the reader's thread may post at once.
                        notes.post(Note::Device { board: berth.plan.board(), device });
                        match read(board, path, station, clock, bell) {
                            Ok(()) => {
                                berth.state = State::Reading;
                                berth.say(notes, BoardChange::Reading { path: from.0, name: from.1 });
                            }
                            Err(error) => berth.refuse(
                                notes,
                                format!("no thread to read it: {error}"),
                                "close other programs",
                            ),
                        }
                    }
                    Err(error) => berth.refuse(notes, error.to_string(), "correct the rig file"),
                }
            }
            Err(SourceError::AskPermission { reason, cure, .. }) => {
                let mut retry = match berth.state {
                    State::Settling { retry, .. } => retry,
                    _ => OpenRetry::default(),
                };
                match retry.refused(now) {
                    Refusal::TryAgain(pause) => {
                        berth.state = State::Settling { retry, next: now.after(pause) };
                    }
                    Refusal::Final => berth.refuse(notes, reason, &cure),
                }
            }
            Err(SourceError::AwaitPlug | SourceError::Reopen { .. } | SourceError::Finish) => {
                berth.state = State::Away;
                if !matches!(berth.said, Some(BoardChange::Gone)) {
                    berth.say(notes, BoardChange::Missing);
                }
            }
            Err(error @ SourceError::AskWhich { .. }) => {
                berth.refuse(notes, error.to_string(), "name it by serial or path in the rig file");
            }
            Err(SourceError::GiveUp { reason }) => {
                *hid = None;
                berth.refuse(notes, reason, "connect a board, or look at the system's log");
            }
        }
    }
}

impl Berth {
    /// Says it once, not again while nothing else happened.
    fn say(&mut self, notes: &Notes, change: BoardChange) {
        if self.said.as_ref() != Some(&change) {
            notes.post(Note::Board { board: self.plan.board(), change: change.clone() });
            self.said = Some(change);
        }
    }

    fn refuse(&mut self, notes: &Notes, reason: String, cure: &str) {
        self.state = State::Away;
        self.say(notes, BoardChange::Refused { reason, cure: cure.to_owned() });
    }
}

/// Reads `board` on a thread of its own until it is gone: the fast path.
fn read(
    mut board: OpenBoard,
    mut path: BoardPath,
    station: &Arc<Station>,
    clock: &Clock,
    bell: &DockBell,
) -> std::io::Result<()> {
    let (station, clock, bell) = (Arc::clone(station), *clock, bell.clone());
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
                        station.rest(&mut path, now);
                    }
                }
                Ok(length) => {
                    station.report(&mut path, clock.now(), buffer.get(..length).unwrap_or_default())
                }
                Err(_) => break,
            }
        }
        // The handle goes first: while it is open, the board comes back under another name.
        drop(board);
        station.unplugged(&mut path, clock.now());
        // Gone must not be lost, so this waits for a place in the queue; nothing is left to delay.
        let _ = bell.0.send(Wake::Gone(path.board()));
    })?;
    Ok(())
}
