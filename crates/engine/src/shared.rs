//! Where board threads, outputs and the rest of the program meet.
//!
//! The tally's lock is never held across I/O. The outputs have a lock of their own; a frame that was
//! overtaken by a newer one while waiting for it is dropped, since the newer one holds all it had to say.

use crate::commands::{Command, Commands, Origin};
use crate::events::{BoardEvent, EventSender};
use crate::orders::ReaderCommand;
use crate::runtime_config::Pipeline;
use crate::tally::{Effect, Tally, TrimTally};
use arrayvec::ArrayVec;
use output_hold::{OutputHold, Readings};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tallywheel_accumulator::{Change, Place};
use tallywheel_output::{Epoch, Frame, Notice, State, Supervised};
use tallywheel_profile::OutputConfig;
use tallywheel_units::{
    BoardIndex, ButtonNumber, Buttons, Counts, Normalized, Timestamp, TrimIndex, WheelIndex,
};

mod output_hold;

/// Effects of one report that are noted together; more than any report of real boards has.
const EFFECTS_MAX: usize = 32;

/// The shared state of a running daemon.
pub struct SharedState {
    tally: Mutex<Tally>,
    outputs: Mutex<Outputs>,
    notes: EventSender,
    epoch: Epoch,
    output_changed: Box<dyn Fn() + Send + Sync>,
    commands: Option<Commands>,
}

struct Outputs {
    list: Vec<Supervised>,
    published: u64,
    /// When the dock wakes by itself, as far as it has asked or been told.
    awake_at: Option<Timestamp>,
    /// There while some trim's outputs do not follow it.
    gate: Option<Box<OutputHold>>,
    /// When the trims are elsewhere than published although nothing moves them.
    gliding: Option<Timestamp>,
    /// Nothing is published at all.
    silent: bool,
}

impl Outputs {
    fn deadline(&self) -> Option<Timestamp> {
        if self.silent {
            return None;
        }
        self.list.iter().filter_map(Supervised::deadline).chain(self.gliding).min()
    }
}

/// What is published of a tally, taken out of it so that its lock can go before the outputs are written.
#[derive(Default)]
struct Step {
    sequence: u64,
    trims: Readings,
    /// When the trims are elsewhere although nothing moves them.
    deadline: Option<Timestamp>,
}

/// What is to be flown from now on.
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

impl Step {
    fn of(tally: &mut Tally, at: Timestamp) -> Self {
        let mut step = Self::default();
        step.take(tally, at);
        step
    }

    #[inline]
    fn take(&mut self, tally: &mut Tally, at: Timestamp) {
        tally.glide(at);
        self.deadline = tally.deadline(at);
        self.sequence = tally.sequence();
        self.trims.clear();
        // The tally has no more trims than fit.
        let _ = self.trims.try_extend_from_slice(tally.readings());
    }

    fn frame(&self, at: Timestamp) -> Frame<'_> {
        Frame { at, sequence: self.sequence, trims: &self.trims }
    }
}

impl SharedState {
    /// Of a tally, what publishes it, the channel that is told what happens, and whom to tell that
    /// [`Self::deadline`] may have changed. `epoch` is when the clock of all times given here started.
    #[must_use]
    pub fn new(
        tally: Tally,
        outputs: Vec<OutputConfig>,
        notes: EventSender,
        epoch: Epoch,
        output_changed: Box<dyn Fn() + Send + Sync>,
    ) -> Self {
        let outputs = outputs.into_iter().map(|config| Supervised::new(config, epoch)).collect();
        let outputs =
            Outputs { list: outputs, published: 0, awake_at: None, gate: None, gliding: None, silent: false };
        let outputs = Mutex::new(outputs);
        Self { tally: Mutex::new(tally), outputs, notes, epoch, output_changed, commands: None }
    }

    /// With somebody to tell which buttons are pressed.
    #[must_use]
    pub fn with_commands(self, commands: Commands) -> Self {
        Self { commands: Some(commands), ..self }
    }

    /// Publishes where the trims are now, opening outputs that are not open and due to be tried.
    pub fn publish_now(&self, at: Timestamp) {
        let step = Step::of(&mut lock(&self.tally), at);
        self.publish(&mut lock(&self.outputs), at, &step);
    }

    /// Shows the tally to `look`, which must be quick: readers wait meanwhile.
    pub fn look<T>(&self, look: impl FnOnce(&Tally) -> T) -> T {
        look(&lock(&self.tally))
    }

    /// Shows the outputs to `look`, which must be quick: readers wait meanwhile.
    pub fn look_at_outputs<T>(&self, look: impl FnOnce(&[Supervised]) -> T) -> T {
        look(&lock(&self.outputs).list)
    }

    /// Puts a trim to a place that is certain and publishes it; `None` where there is no such trim.
    pub fn align(&self, trim: usize, place: Place, at: Timestamp) -> Option<Change> {
        let (change, step) = {
            let mut tally = lock(&self.tally);
            (tally.align(trim, place)?, Step::of(&mut tally, at))
        };
        let mut outputs = lock(&self.outputs);
        if let Some(gate) = &mut outputs.gate {
            gate.follow(trim);
        }
        self.publish(&mut outputs, at, &step);
        Some(change)
    }

    /// Changes a trim to one of its ratios and publishes it; `None` where there is no such trim or ratio.
    pub fn ratio(&self, trim: usize, ratio: usize, at: Timestamp) -> Option<Change> {
        let (change, step) = {
            let mut tally = lock(&self.tally);
            (tally.ratio(trim, ratio)?, Step::of(&mut tally, at))
        };
        self.publish(&mut lock(&self.outputs), at, &step);
        Some(change)
    }

    /// Lets the outputs stay where they are (`true`) or follow the trims again; says whether that is new.
    pub fn hold(&self, hold: bool, at: Timestamp) -> bool {
        let mut outputs = lock(&self.outputs);
        let step = Step::of(&mut lock(&self.tally), at);
        let gate = outputs.gate.get_or_insert_default();
        let new = gate.is_held() != hold;
        if hold {
            gate.hold(&step.trims);
        } else {
            gate.release();
        }
        outputs.drop_open_gate();
        self.publish(&mut outputs, at, &step);
        new
    }

    /// Whether the outputs are held.
    #[must_use]
    pub fn is_held(&self) -> bool {
        lock(&self.outputs).gate.as_ref().is_some_and(|gate| gate.is_held())
    }

    /// Shows the outputs `place` of a trim until the trim comes there by itself. Says whether it is awaited:
    /// not if the trim is there already.
    pub fn await_at(&self, trim: usize, place: Place, at: Timestamp) -> bool {
        let mut outputs = lock(&self.outputs);
        let (step, shown) = {
            let mut tally = lock(&self.tally);
            (Step::of(&mut tally, at), tally.reading_at(trim, place))
        };
        let (Some(there), Some(now)) = (shown, step.trims.get(trim)) else { return false };
        let gate = outputs.gate.get_or_insert_default();
        gate.await_at(trim, now, there);
        let awaited = gate.is_awaiting(trim);
        outputs.drop_open_gate();
        self.publish(&mut outputs, at, &step);
        awaited
    }

    /// Whether the outputs wait for a trim to come to a place.
    #[must_use]
    pub fn is_awaiting(&self, trim: usize) -> bool {
        lock(&self.outputs).gate.as_ref().is_some_and(|gate| gate.is_awaiting(trim))
    }

    /// Publishes nothing (`true`) or everything again.
    pub fn silence(&self, silent: bool, at: Timestamp) {
        let mut outputs = lock(&self.outputs);
        if std::mem::replace(&mut outputs.silent, silent) && !silent {
            let step = Step::of(&mut lock(&self.tally), at);
            self.publish(&mut outputs, at, &step);
        }
    }

    /// What the outputs are made from.
    #[must_use]
    pub fn outputs(&self) -> Vec<OutputConfig> {
        lock(&self.outputs).list.iter().map(|output| output.config().clone()).collect()
    }

    /// For each trim what the outputs say of it, and what its wheel was turned in sum.
    #[must_use]
    pub fn seen(&self, at: Timestamp) -> Vec<(Normalized, Counts)> {
        let mut outputs = lock(&self.outputs);
        let mut tally = lock(&self.tally);
        let step = Step::of(&mut tally, at);
        let shown = match &mut outputs.gate {
            Some(gate) => gate.clone().pass(&step.trims),
            None => step.trims,
        };
        let turned = |trim: &TrimTally| tally.wheel(trim.wheel).map_or(Counts::ZERO, |wheel| wheel.turned);
        shown.iter().zip(tally.trims()).map(|(shown, trim)| (shown.normalized, turned(trim))).collect()
    }

    /// Tells the outputs where the simulator has a trim.
    pub fn told(&self, trim: usize, value: Normalized, at: Timestamp) {
        let Ok(trim) = u8::try_from(trim).map(TrimIndex::new) else { return };
        let mut outputs = lock(&self.outputs);
        outputs.list.iter_mut().for_each(|output| output.told(at, trim, value));
        self.tell_deadline(&mut outputs);
    }

    /// Flies what `adoption` says, while boards go on being read. Outputs that are the same before and after
    /// stay open; readers never wait for one to be opened or closed. Answers what became of the trims that
    /// were kept.
    pub fn adopt(&self, adoption: ConfigUpdate, at: Timestamp) -> Vec<Option<Change>> {
        let ConfigUpdate { trims, kept, reversed, outputs: wanted } = adoption;
        let (changes, closing, opening) = {
            let mut outputs = lock(&self.outputs);
            // Both at once: a frame of the old trims must not reach an output that knows the new ones.
            let (changes, step) = {
                let mut tally = lock(&self.tally);
                (tally.adopt(trims, &kept, reversed), Step::of(&mut tally, at))
            };
            let mut closing = std::mem::take(&mut outputs.list);
            let mut opening = Vec::new();
            for config in wanted {
                let equal = closing.iter().position(|output| *output.config() == config);
                match equal.or_else(|| closing.iter_mut().position(|output| output.remap(&config))) {
                    Some(same) => outputs.list.push(closing.swap_remove(same)),
                    None => opening.push(Supervised::new(config, self.epoch)),
                }
            }
            if let Some(gate) = &mut outputs.gate {
                gate.moved(&kept, &step.trims);
            }
            outputs.drop_open_gate();
            self.publish(&mut outputs, at, &step);
            (changes, closing, opening)
        };
        // The old ones first: a new joystick must not appear beside the old one of its name.
        drop(closing);
        self.open(opening, at);
        changes
    }

    /// Opens outputs and takes them in.
    fn open(&self, mut opening: Vec<Supervised>, at: Timestamp) {
        let mut step = Step::of(&mut lock(&self.tally), at);
        if let Some(gate) = &mut lock(&self.outputs).gate {
            step.trims = gate.pass(&step.trims);
        }
        if !lock(&self.outputs).silent {
            self.give(&mut opening, &step.frame(at));
        }
        let mut outputs = lock(&self.outputs);
        outputs.list.append(&mut opening);
        let step = Step::of(&mut lock(&self.tally), at);
        self.publish(&mut outputs, at, &step);
    }

    /// The same after something on the machine changed that may cure a failed output.
    pub fn retry_outputs(&self, at: Timestamp) {
        let step = Step::of(&mut lock(&self.tally), at);
        let mut outputs = lock(&self.outputs);
        outputs.list.iter_mut().for_each(Supervised::reopen);
        self.publish(&mut outputs, at, &step);
    }

    /// When [`Self::publish_now`] is wanted although nothing moves; `None` while all outputs are well.
    #[must_use]
    pub fn deadline(&self) -> Option<Timestamp> {
        let mut outputs = lock(&self.outputs);
        outputs.awake_at = outputs.deadline();
        outputs.awake_at
    }

    /// Whether an output is down that a change on the machine may cure.
    #[must_use]
    pub fn output_awaited(&self) -> bool {
        lock(&self.outputs).list.iter().any(|output| output.state() == State::Failed)
    }

    /// Closes all outputs: the virtual joystick goes, and with it any simulator's doubt where it went.
    pub fn close_outputs(&self) {
        lock(&self.outputs).list.clear();
    }

    /// One report's way from bytes to the outputs, on the calling thread.
    pub fn report(&self, path: &mut Pipeline, at: Timestamp, report: &[u8]) {
        // The outputs do not wait for what only the times of the reports can tell.
        let counted = self.update(path, at, |path, tally, effect| path.count(at, report, tally, effect));
        let settled = self.update(path, at, |path, tally, effect| path.settle(at, tally, effect));
        let happened = counted || settled;
        let board = path.board();
        let pressed = path.pressed(at);
        if pressed.bits() != 0 {
            self.pressed(board, pressed);
        }
        path.sample(at, report, happened, &mut |sample| {
            self.notes.post(BoardEvent::Report { board, sample })
        });
    }

    #[cold]
    fn pressed(&self, board: BoardIndex, pressed: Buttons) {
        let Some(commands) = &self.commands else { return };
        let all = 1..=ButtonNumber::LAST.get();
        for button in all.filter_map(ButtonNumber::new).filter(|button| pressed.pressed(*button)) {
            // Where too many wait, somebody leans on the button.
            let _ = commands.post(Command::Press { board, button }, Origin::Button);
        }
    }

    /// Does what a reader is ordered to, before its next report; false where it is to end.
    #[cold]
    pub fn obey(&self, path: &mut Pipeline, at: Timestamp, orders: Vec<ReaderCommand>) -> bool {
        for order in orders {
            match order {
                ReaderCommand::Confirm { wheel, turned } => {
                    self.update(path, at, |path, tally, effect| {
                        path.confirm(wheel, at, turned, tally, effect)
                    });
                }
                ReaderCommand::Path(next) => {
                    let mut next = *next;
                    next.take_over(path);
                    *path = next;
                }
                ReaderCommand::End => return false,
            }
        }
        true
    }

    /// No report of `path` has come until `at`.
    pub fn rest(&self, path: &mut Pipeline, at: Timestamp) {
        self.update(path, at, |path, tally, effect| path.rest(at, tally, effect));
    }

    /// The board of `path` is gone.
    pub fn unplugged(&self, path: &mut Pipeline, at: Timestamp) {
        self.update(path, at, |path, tally, effect| path.unplugged(at, tally, effect));
        self.notes.post(BoardEvent::Unplugged { board: path.board(), at });
    }

    /// Says whether anything happened.
    fn update(
        &self,
        path: &mut Pipeline,
        at: Timestamp,
        work: impl FnOnce(&mut Pipeline, &mut Tally, &mut dyn FnMut(WheelIndex, Effect)),
    ) -> bool {
        let mut effects = ArrayVec::<(WheelIndex, Effect), EFFECTS_MAX>::new();
        let mut step = Step::default();
        let board = path.board();
        {
            let mut tally = lock(&self.tally);
            let before = tally.sequence();
            work(path, &mut tally, &mut |wheel, effect| {
                if let Err(full) = effects.try_push((wheel, effect)) {
                    note(board, at, full.element()).into_iter().for_each(|note| self.notes.post(note));
                }
            });
            if tally.sequence() == before {
                return false;
            }
            step.take(&mut tally, at);
        }
        self.publish(&mut lock(&self.outputs), at, &step);
        for effect in &effects {
            note(board, at, *effect).into_iter().for_each(|note| self.notes.post(note));
        }
        true
    }

    fn publish(&self, outputs: &mut Outputs, at: Timestamp, step: &Step) {
        if step.sequence < outputs.published || outputs.silent {
            return;
        }
        outputs.published = step.sequence;
        outputs.gliding = step.deadline;
        let Outputs { list, gate, .. } = outputs;
        match gate {
            None => self.give(list, &step.frame(at)),
            Some(gate) => {
                let shown = Step { trims: gate.pass(&step.trims), ..*step };
                self.give(list, &shown.frame(at));
                outputs.drop_open_gate();
            }
        }
        self.tell_deadline(outputs);
    }

    fn tell_deadline(&self, outputs: &mut Outputs) {
        // The dock keeps the time of what is still to be sent, and may be asleep without a timer, or for longer. A
        // deadline that only moved away, as a keep-alive does with every datagram, is no reason to wake it: it asks
        // again when it wakes.
        if let Some(deadline) = outputs.deadline()
            && outputs.awake_at.is_none_or(|awake_at| deadline < awake_at)
        {
            outputs.awake_at = Some(deadline);
            (self.output_changed)();
        }
    }

    fn give(&self, outputs: &mut [Supervised], frame: &Frame<'_>) {
        for output in outputs {
            if let Some(notice) = output.publish(frame) {
                let bad = matches!(notice, Notice::Failed { .. } | Notice::Trouble { .. });
                self.notes.post(BoardEvent::Output {
                    output: output.name().to_owned(),
                    change: notice.to_string(),
                    bad,
                });
            }
        }
    }
}

impl Outputs {
    /// While all outputs follow, nothing stands in the way of a report.
    fn drop_open_gate(&mut self) {
        self.gate = self.gate.take().filter(|gate| !gate.is_open());
    }
}

fn note(board: BoardIndex, at: Timestamp, (wheel, effect): (WheelIndex, Effect)) -> Option<BoardEvent> {
    match effect {
        Effect::Counted(counts) => Some(BoardEvent::Counted { at, wheel, counts }),
        Effect::Lost(loss) => Some(BoardEvent::Lost { board, wheel, loss }),
        // What stays of a doubt is a loss; a mark that agrees is no news.
        Effect::Doubted(_) | Effect::Agreed => None,
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
