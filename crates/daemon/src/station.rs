//! Where board threads, outputs and the rest of the program meet.
//!
//! The tally's lock is never held across I/O. The outputs have a lock of their own; a frame that was
//! overtaken by a newer one while waiting for it is dropped, since the newer one holds all it had to say.

use crate::note::{Note, Notes};
use crate::plan::BoardPath;
use crate::tally::{Effect, TRIMS_MAX, Tally};
use arrayvec::ArrayVec;
use std::sync::{Mutex, MutexGuard, PoisonError};
use tallywheel_output::{Frame, Notice, State, Supervised, TrimReading};
use tallywheel_units::{Timestamp, WheelIndex};

/// Effects of one report that are noted together; more than any report of real boards has.
const EFFECTS_MAX: usize = 32;

/// The shared state of a running daemon.
pub struct Station {
    tally: Mutex<Tally>,
    outputs: Mutex<Outputs>,
    notes: Notes,
    output_changed: Box<dyn Fn() + Send + Sync>,
}

struct Outputs {
    list: Vec<Supervised>,
    published: u64,
    /// The deadline that the dock was last told to look at.
    told_deadline: Option<Timestamp>,
}

impl Outputs {
    fn deadline(&self) -> Option<Timestamp> {
        self.list.iter().filter_map(Supervised::deadline).min()
    }
}

/// What is published of a tally, taken out of it so that its lock can go before the outputs are written.
#[derive(Default)]
struct Step {
    sequence: u64,
    trims: ArrayVec<TrimReading, TRIMS_MAX>,
}

impl Step {
    fn take(&mut self, tally: &Tally) {
        self.sequence = tally.sequence();
        self.trims.clear();
        // The tally has no more trims than fit.
        let _ = self.trims.try_extend_from_slice(tally.readings());
    }
}

impl Station {
    /// Of a tally, the outputs that publish it, the channel that is told what happens, and whom to tell
    /// that [`Self::deadline`] may have changed.
    #[must_use]
    pub fn new(
        tally: Tally,
        outputs: Vec<Supervised>,
        notes: Notes,
        output_changed: Box<dyn Fn() + Send + Sync>,
    ) -> Self {
        let outputs = Mutex::new(Outputs { list: outputs, published: 0, told_deadline: None });
        Self { tally: Mutex::new(tally), outputs, notes, output_changed }
    }

    /// Publishes where the trims are now, opening outputs that are not open and due to be tried.
    pub fn publish_now(&self, at: Timestamp) {
        let mut step = Step::default();
        step.take(&lock(&self.tally));
        self.publish(&mut lock(&self.outputs), at, &step);
    }

    /// The same after something on the machine changed that may cure a failed output.
    pub fn retry_outputs(&self, at: Timestamp) {
        let mut step = Step::default();
        step.take(&lock(&self.tally));
        let mut outputs = lock(&self.outputs);
        outputs.list.iter_mut().for_each(Supervised::reopen);
        self.publish(&mut outputs, at, &step);
    }

    /// When [`Self::publish_now`] is wanted although nothing moves; `None` while all outputs are well.
    #[must_use]
    pub fn deadline(&self) -> Option<Timestamp> {
        lock(&self.outputs).deadline()
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
    pub fn report(&self, path: &mut BoardPath, at: Timestamp, report: &[u8]) {
        // The outputs do not wait for what only the times of the reports can tell.
        let counted = self.update(path, at, |path, tally, effect| path.count(at, report, tally, effect));
        let settled = self.update(path, at, |path, tally, effect| path.settle(at, tally, effect));
        let happened = counted || settled;
        let board = path.board();
        path.glimpse(at, report, happened, &mut |glimpse| self.notes.post(Note::Report { board, glimpse }));
    }

    /// No report of `path` has come until `at`.
    pub fn rest(&self, path: &mut BoardPath, at: Timestamp) {
        self.update(path, at, |path, tally, effect| path.rest(at, tally, effect));
    }

    /// The board of `path` is gone.
    pub fn unplugged(&self, path: &mut BoardPath, at: Timestamp) {
        self.update(path, at, |path, tally, effect| path.unplugged(at, tally, effect));
        self.notes.post(Note::Unplugged { board: path.board(), at });
    }

    /// Says whether anything happened.
    fn update(
        &self,
        path: &mut BoardPath,
        at: Timestamp,
        work: impl FnOnce(&mut BoardPath, &mut Tally, &mut dyn FnMut(WheelIndex, Effect)),
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
            step.take(&tally);
        }
        self.publish(&mut lock(&self.outputs), at, &step);
        for effect in &effects {
            note(board, at, *effect).into_iter().for_each(|note| self.notes.post(note));
        }
        true
    }

    fn publish(&self, outputs: &mut Outputs, at: Timestamp, step: &Step) {
        if step.sequence < outputs.published {
            return;
        }
        outputs.published = step.sequence;
        let frame = Frame { at, sequence: step.sequence, trims: &step.trims };
        for output in &mut outputs.list {
            if let Some(notice) = output.publish(&frame) {
                let bad = matches!(notice, Notice::Failed { .. } | Notice::Trouble { .. });
                self.notes.post(Note::Output {
                    output: output.name().to_owned(),
                    change: notice.to_string(),
                    bad,
                });
            }
        }
        let deadline = outputs.deadline();
        if deadline != outputs.told_deadline {
            outputs.told_deadline = deadline;
            // The dock keeps the time of what failed, and may be asleep without a timer.
            (self.output_changed)();
        }
    }
}

fn note(
    board: tallywheel_units::BoardIndex,
    at: Timestamp,
    (wheel, effect): (WheelIndex, Effect),
) -> Option<Note> {
    match effect {
        Effect::Counted(counts) => Some(Note::Counted { at, wheel, counts }),
        Effect::Lost(loss) => Some(Note::Lost { board, wheel, loss }),
        // What stays of it is a loss.
        Effect::Doubted(_) => None,
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
