//! What board threads, outputs and the rest of the program share, under one lock.
//!
//! A reader takes the lock once for a report: it counts, writes the outputs and judges. Outputs are opened and closed
//! without it where the configuration changes, since both can take long.

use crate::commands::Commands;
use crate::events::EventSender;
use crate::invariants::invariant;
use crate::tally::{Tally, TrimTally};
use output_hold::{OutputHold, Readings};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tallywheel_accumulator::{Change, Place};
use tallywheel_output::{Epoch, Frame, Notice, State, Supervised};
use tallywheel_profile::OutputConfig;
use tallywheel_units::{Counts, Normalized, Timestamp, TrimIndex};

mod output_hold;

/// The shared state of a running bridge.
pub struct SharedState {
    bridge: Mutex<Bridge>,
    events: EventSender,
    epoch: Epoch,
    commands: Option<Commands>,
}

/// What the lock guards: the tally, and the outputs that it is published by.
pub struct Bridge {
    pub(crate) tally: Tally,
    outputs: Vec<Supervised>,
    /// The tally's sequence that was published last.
    published: u64,
    /// When the device manager wakes by itself, as far as it has asked or been told.
    awake_at: Option<Timestamp>,
    /// There while some trim's outputs do not follow it.
    hold: Option<Box<OutputHold>>,
    /// When the trims are elsewhere than published although nothing moves them.
    gliding: Option<Timestamp>,
    /// Rises whenever somebody puts a trim elsewhere, or asks where the trims are.
    placements: u64,
    /// Nothing is published at all.
    silent: bool,
    events: EventSender,
    deadline_changed: Box<dyn Fn() + Send + Sync>,
}

/// What is to be used from now on.
#[derive(Debug)]
pub struct ConfigUpdate {
    /// The trims of the aircraft.
    pub trims: Vec<TrimTally>,
    /// For each of them the place of the trim before that goes on as this one.
    pub kept: Vec<Option<usize>>,
    /// Which wheels of the rig count backwards.
    pub reversed: Vec<bool>,
    /// Where the trims are published.
    pub outputs: Vec<OutputConfig>,
}

impl SharedState {
    /// Of a tally, what publishes it, the queue that is told what happens, and whom to tell that
    /// [`Self::deadline`] may have changed. `epoch` is when the clock of all times given here started.
    #[must_use]
    pub fn new(
        tally: Tally,
        outputs: Vec<OutputConfig>,
        events: EventSender,
        epoch: Epoch,
        deadline_changed: Box<dyn Fn() + Send + Sync>,
    ) -> Self {
        let outputs = outputs.into_iter().map(|config| Supervised::new(config, epoch)).collect();
        let bridge = Bridge {
            tally,
            outputs,
            published: 0,
            awake_at: None,
            hold: None,
            gliding: None,
            placements: 0,
            silent: false,
            events: events.clone(),
            deadline_changed,
        };
        Self { bridge: Mutex::new(bridge), events, epoch, commands: None }
    }

    /// With somebody to tell which buttons are pressed.
    #[must_use]
    pub fn with_commands(self, commands: Commands) -> Self {
        Self { commands: Some(commands), ..self }
    }

    /// The one lock. Readers wait while it is held.
    #[inline]
    pub(crate) fn lock(&self) -> MutexGuard<'_, Bridge> {
        self.bridge.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The queue to the main loop.
    pub(crate) const fn events(&self) -> &EventSender {
        &self.events
    }

    /// Whom to tell which buttons are pressed.
    pub(crate) const fn commands(&self) -> Option<&Commands> {
        self.commands.as_ref()
    }

    /// Publishes where the trims are now, opening outputs that are not open and due to be tried.
    pub fn publish_now(&self, at: Timestamp) {
        self.lock().publish(at);
    }

    /// Shows the tally to `look`, which must be quick: readers wait meanwhile.
    pub fn look<T>(&self, look: impl FnOnce(&Tally) -> T) -> T {
        look(&self.lock().tally)
    }

    /// Shows the outputs to `look`, which must be quick: readers wait meanwhile.
    pub fn look_at_outputs<T>(&self, look: impl FnOnce(&[Supervised]) -> T) -> T {
        look(&self.lock().outputs)
    }

    /// Puts a trim to a place that is certain and publishes it; `None` where there is no such trim.
    pub fn align(&self, trim: usize, place: Place, at: Timestamp) -> Option<Change> {
        let mut bridge = self.lock();
        let change = bridge.tally.align(trim, place)?;
        bridge.placements += 1;
        if let Some(hold) = &mut bridge.hold {
            hold.follow(trim);
        }
        bridge.publish(at);
        Some(change)
    }

    /// Changes a trim to one of its ratios and publishes it; `None` where there is no such trim or ratio.
    pub fn ratio(&self, trim: usize, ratio: usize, at: Timestamp) -> Option<Change> {
        let mut bridge = self.lock();
        let change = bridge.tally.ratio(trim, ratio)?;
        bridge.placements += 1;
        bridge.publish(at);
        Some(change)
    }

    /// Has each board say with its next sample where its trims are, for the recording of the last hour.
    pub fn tell_positions(&self) {
        self.lock().placements += 1;
    }

    /// Lets the outputs stay where they are (`true`) or follow the trims again; says whether that is new.
    pub fn hold(&self, held: bool, at: Timestamp) -> bool {
        let mut bridge = self.lock();
        let now = bridge.readings(at);
        let hold = bridge.hold.get_or_insert_default();
        let new = hold.is_held() != held;
        if held {
            hold.hold(&now);
        } else {
            hold.release();
        }
        bridge.drop_open_hold();
        bridge.publish(at);
        new
    }

    /// Whether the outputs are held.
    #[must_use]
    pub fn is_held(&self) -> bool {
        self.lock().hold.as_ref().is_some_and(|hold| hold.is_held())
    }

    /// Shows the outputs `place` of a trim until the trim comes there by itself: a soft takeover. Says whether it is
    /// awaited: not if the trim is there already.
    pub fn await_at(&self, trim: usize, place: Place, at: Timestamp) -> bool {
        let mut bridge = self.lock();
        let now = bridge.readings(at);
        let there = bridge.tally.reading_at(trim, place);
        let (Some(there), Some(now)) = (there, now.get(trim)) else { return false };
        let hold = bridge.hold.get_or_insert_default();
        hold.await_at(trim, now, there);
        let awaited = hold.is_awaiting(trim);
        bridge.drop_open_hold();
        bridge.publish(at);
        awaited
    }

    /// Whether the outputs wait for a trim to come to a place.
    #[must_use]
    pub fn is_awaiting(&self, trim: usize) -> bool {
        self.lock().hold.as_ref().is_some_and(|hold| hold.is_awaiting(trim))
    }

    /// Publishes nothing (`true`) or everything again.
    pub fn silence(&self, silent: bool, at: Timestamp) {
        let mut bridge = self.lock();
        if std::mem::replace(&mut bridge.silent, silent) && !silent {
            bridge.publish(at);
        }
    }

    /// What the outputs are made from.
    #[must_use]
    pub fn outputs(&self) -> Vec<OutputConfig> {
        self.lock().outputs.iter().map(|output| output.config().clone()).collect()
    }

    /// For each trim what the outputs say of it, and what its wheel was turned in sum.
    #[must_use]
    pub fn seen(&self, at: Timestamp) -> Vec<(Normalized, Counts)> {
        let mut bridge = self.lock();
        let shown = bridge.shown(at);
        let tally = &bridge.tally;
        let turned = |trim: &TrimTally| tally.wheel(trim.wheel).map_or(Counts::ZERO, |wheel| wheel.turned);
        shown.iter().zip(tally.trims()).map(|(shown, trim)| (shown.normalized, turned(trim))).collect()
    }

    /// Tells the outputs where the simulator has a trim.
    pub fn told(&self, trim: usize, value: Normalized, at: Timestamp) {
        let Ok(trim) = u8::try_from(trim).map(TrimIndex::new) else { return };
        let mut bridge = self.lock();
        bridge.outputs.iter_mut().for_each(|output| output.told(at, trim, value));
        bridge.tell_deadline();
    }

    /// Uses what `update` says, while boards go on being read. Outputs that are the same before and after stay open;
    /// readers never wait for one to be opened or closed. Answers what became of the trims that were kept.
    pub fn apply(&self, update: ConfigUpdate, at: Timestamp) -> Vec<Option<Change>> {
        let ConfigUpdate { trims, kept, reversed, outputs: wanted } = update;
        let (changes, closing, opening) = {
            // Both at once: a frame of the old trims must not reach an output that knows the new ones.
            let mut bridge = self.lock();
            let changes = bridge.tally.adopt(trims, &kept, reversed);
            bridge.placements += 1;
            let mut closing = std::mem::take(&mut bridge.outputs);
            let mut opening = Vec::new();
            for config in wanted {
                let equal = closing.iter().position(|output| *output.config() == config);
                match equal.or_else(|| closing.iter_mut().position(|output| output.remap(&config))) {
                    Some(same) => bridge.outputs.push(closing.swap_remove(same)),
                    None => opening.push(Supervised::new(config, self.epoch)),
                }
            }
            let now = bridge.readings(at);
            if let Some(hold) = &mut bridge.hold {
                hold.moved(&kept, &now);
            }
            bridge.drop_open_hold();
            bridge.publish(at);
            (changes, closing, opening)
        };
        // The old ones first: a new joystick must not appear beside the old one of its name.
        drop(closing);
        self.open(opening, at);
        changes
    }

    /// Opens outputs and takes them in.
    fn open(&self, mut opening: Vec<Supervised>, at: Timestamp) {
        let (sequence, shown, silent) = {
            let mut bridge = self.lock();
            let shown = bridge.shown(at);
            (bridge.tally.sequence(), shown, bridge.silent)
        };
        if !silent {
            give(&mut opening, &Frame { at, sequence, trims: &shown }, &self.events);
        }
        let mut bridge = self.lock();
        bridge.outputs.append(&mut opening);
        bridge.publish(at);
    }

    /// [`Self::publish_now`] after something on the machine changed that may cure a failed output.
    pub fn retry_outputs(&self, at: Timestamp) {
        let mut bridge = self.lock();
        bridge.outputs.iter_mut().for_each(Supervised::reopen);
        bridge.publish(at);
    }

    /// When [`Self::publish_now`] is wanted although nothing moves; `None` while all outputs are well.
    #[must_use]
    pub fn deadline(&self) -> Option<Timestamp> {
        let mut bridge = self.lock();
        bridge.awake_at = bridge.deadline();
        bridge.awake_at
    }

    /// Whether an output is down that a change on the machine may cure.
    #[must_use]
    pub fn output_awaited(&self) -> bool {
        self.lock().outputs.iter().any(|output| output.state() == State::Failed)
    }

    /// Closes all outputs: the virtual joystick goes, and with it any simulator's doubt where it went.
    pub fn close_outputs(&self) {
        self.lock().outputs.clear();
    }
}

impl Bridge {
    /// A number that is another one whenever somebody has put a trim elsewhere since.
    pub(crate) const fn placements(&self) -> u64 {
        self.placements
    }

    /// Publishes the tally if it has changed since it was published last.
    #[inline]
    pub(crate) fn publish_changes(&mut self, at: Timestamp) {
        if self.tally.sequence() != self.published {
            self.publish(at);
        }
    }

    fn publish(&mut self, at: Timestamp) {
        if self.silent {
            return;
        }
        invariant!(self.tally.sequence() >= self.published, "the sequence never goes back");
        self.tally.glide(at);
        self.gliding = self.tally.deadline(at);
        self.published = self.tally.sequence();
        let Self { tally, outputs, hold, events, .. } = self;
        let sequence = tally.sequence();
        match hold {
            None => give(outputs, &Frame { at, sequence, trims: tally.readings() }, events),
            Some(hold) => {
                let shown = hold.pass(tally.readings());
                give(outputs, &Frame { at, sequence, trims: &shown }, events);
                self.drop_open_hold();
            }
        }
        self.tally.check();
        self.tell_deadline();
    }

    /// Where the trims are, as they are published while nothing is held.
    fn readings(&mut self, at: Timestamp) -> Readings {
        self.tally.glide(at);
        self.tally.readings().iter().copied().collect()
    }

    /// What the outputs say where the trims are now.
    fn shown(&mut self, at: Timestamp) -> Readings {
        let now = self.readings(at);
        match &self.hold {
            Some(hold) => hold.clone().pass(&now),
            None => now,
        }
    }

    fn deadline(&self) -> Option<Timestamp> {
        if self.silent {
            return None;
        }
        self.outputs.iter().filter_map(Supervised::deadline).chain(self.gliding).min()
    }

    fn tell_deadline(&mut self) {
        // The device manager keeps the time of what is still to be sent, and may be asleep without a timer, or for
        // longer. A deadline that only moved away, as a keep-alive does with every datagram, is no reason to wake it: it
        // asks again when it wakes.
        if let Some(deadline) = self.deadline()
            && self.awake_at.is_none_or(|awake_at| deadline < awake_at)
        {
            self.awake_at = Some(deadline);
            (self.deadline_changed)();
        }
    }

    /// While all outputs follow, nothing stands in the way of a report.
    fn drop_open_hold(&mut self) {
        self.hold = self.hold.take().filter(|hold| !hold.is_open());
    }
}

fn give(outputs: &mut [Supervised], frame: &Frame<'_>, events: &EventSender) {
    for output in outputs {
        if let Some(notice) = output.publish(frame) {
            let bad = matches!(notice, Notice::Failed { .. } | Notice::Trouble { .. });
            events.output(frame.at, output.name(), notice.to_string(), bad);
        }
    }
}
