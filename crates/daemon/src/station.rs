//! Where board threads, outputs and the rest of the program meet.
//!
//! The tally's lock is never held across I/O. The outputs have a lock of their own; a frame that was
//! overtaken by a newer one while waiting for it is dropped, since the newer one holds all it had to say.

use crate::note::{Note, Notes};
use crate::plan::BoardPath;
use crate::tally::{Effect, TRIMS_MAX, Tally};
use arrayvec::ArrayVec;
use std::sync::{Mutex, MutexGuard, PoisonError};
use tallywheel_output::{Change, Frame, Supervised, TrimReading};
use tallywheel_units::{Timestamp, WheelIndex};

/// Effects of one report that are noted together; more than any report of real boards has.
const EFFECTS_MAX: usize = 32;

/// The shared state of a running daemon.
#[derive(Debug)]
pub struct Station {
    tally: Mutex<Tally>,
    outputs: Mutex<Outputs>,
    notes: Notes,
}

#[derive(Debug)]
struct Outputs {
    list: Vec<Supervised>,
    published: u64,
}

struct Step {
    sequence: u64,
    trims: ArrayVec<TrimReading, TRIMS_MAX>,
}

impl Station {
    /// Of a tally, the outputs that publish it, and the channel that is told what happens.
    #[must_use]
    pub fn new(tally: Tally, outputs: Vec<Supervised>, notes: Notes) -> Self {
        Self {
            tally: Mutex::new(tally),
            outputs: Mutex::new(Outputs { list: outputs, published: 0 }),
            notes,
        }
    }

    /// Opens all outputs and publishes where the trims are now.
    pub fn open_outputs(&self, at: Timestamp) {
        let step = Self::step(&lock(&self.tally));
        let mut outputs = lock(&self.outputs);
        for output in &mut outputs.list {
            let change = output.reopen(at);
            self.note_output(output.name(), change);
        }
        outputs.published = 0;
        self.publish(&mut outputs, at, &step);
    }

    /// Gives outputs that are not open another try, because something changed that may cure them.
    pub fn retry_outputs(&self, at: Timestamp) {
        let step = Self::step(&lock(&self.tally));
        let mut outputs = lock(&self.outputs);
        for output in outputs.list.iter_mut().filter(|o| !o.is_open()) {
            let change = output.reopen(at);
            self.note_output(output.name(), change);
        }
        outputs.published = 0;
        self.publish(&mut outputs, at, &step);
    }

    /// One report's way from bytes to the outputs, on the calling thread.
    pub fn report(&self, path: &mut BoardPath, at: Timestamp, report: &[u8]) {
        self.update(path, at, |path, tally, effect| path.report(at, report, tally, effect));
    }

    /// The board of `path` is gone.
    pub fn unplugged(&self, path: &mut BoardPath, at: Timestamp) {
        self.update(path, at, |path, tally, effect| path.unplugged(at, tally, effect));
    }

    fn update(
        &self,
        path: &mut BoardPath,
        at: Timestamp,
        work: impl FnOnce(&mut BoardPath, &mut Tally, &mut dyn FnMut(WheelIndex, Effect)),
    ) {
        let mut effects = ArrayVec::<(WheelIndex, Effect), EFFECTS_MAX>::new();
        let board = path.board();
        let step = {
            let mut tally = lock(&self.tally);
            let before = tally.sequence();
            work(path, &mut tally, &mut |wheel, effect| {
                if let Err(full) = effects.try_push((wheel, effect)) {
                    self.notes.post(note(board, at, full.element()));
                }
            });
            if tally.sequence() == before {
                return;
            }
            Self::step(&tally)
        };
        self.publish(&mut lock(&self.outputs), at, &step);
        for effect in effects {
            self.notes.post(note(board, at, effect));
        }
    }

    fn step(tally: &Tally) -> Step {
        Step { sequence: tally.sequence(), trims: tally.readings() }
    }

    fn publish(&self, outputs: &mut Outputs, at: Timestamp, step: &Step) {
        if step.sequence < outputs.published {
            return;
        }
        outputs.published = step.sequence;
        let frame = Frame { at, sequence: step.sequence, trims: &step.trims };
        for output in &mut outputs.list {
            let change = output.publish(&frame);
            self.note_output(output.name(), change);
        }
    }

    fn note_output(&self, output: &str, change: Option<Change>) {
        if let Some(change) = change {
            self.notes.post(Note::Output {
                output: output.to_owned(),
                change: change.to_string(),
                bad: change.is_bad(),
            });
        }
    }
}

fn note(board: tallywheel_units::BoardIndex, at: Timestamp, (wheel, effect): (WheelIndex, Effect)) -> Note {
    match effect {
        Effect::Counted(counts) => Note::Counted { at, wheel, counts },
        Effect::Lost(loss) => Note::Lost { board, wheel, loss },
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
