//! How every board and output stands: the newest of each is kept here, whatever becomes of the queue.
//!
//! The device manager and the outputs write, everybody else reads. What led to the newest state waits here until the main
//! loop has logged and told it; of more than eight changes of one board or output the oldest are counted and left out.

use std::collections::{BTreeMap, VecDeque};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tallywheel_units::{BoardIndex, Timestamp};

/// Changes of one board or output that wait to be logged.
const UNREAD: usize = 8;
/// Outputs whose last trouble is remembered; no aircraft file has so many.
const TROUBLES_KEPT: usize = 64;

/// What can change about a board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BoardChange {
    /// It is being read.
    Reading {
        /// The path of the device.
        path: String,
        /// The name that the device gives itself.
        name: String,
    },
    /// It is not plugged in.
    Missing,
    /// It was unplugged.
    Gone,
    /// It is there but cannot be read.
    Refused {
        /// Why, for people.
        reason: String,
        /// What the user can do about it.
        cure: String,
    },
    /// Its wheels are hidden; the rest of it is on a device of this name.
    Hidden {
        /// The name of the device that has all but the wheels.
        twin: String,
    },
    /// Its wheels are not hidden, or no longer, although the rig file asks for that.
    NotHidden {
        /// Why, for people.
        reason: String,
    },
}

/// One change of state, to be logged and told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum StateChange {
    /// A board stands so now.
    Board {
        /// Which.
        board: BoardIndex,
        /// How it stands.
        change: BoardChange,
        /// So many changes before this one had no place to wait in.
        left_out: u64,
    },
    /// An output opened, failed, or has trouble.
    Output {
        /// Its name.
        output: String,
        /// What happened, for people.
        change: String,
        /// Whether something has to be done.
        bad: bool,
        /// So many changes before this one had no place to wait in.
        left_out: u64,
    },
}

/// How one board stands.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct BoardSlot {
    /// Whether it is read; `None` before it was looked for.
    pub reading: Option<BoardChange>,
    /// Whether its wheels are hidden, where that is asked for and it is read.
    pub hiding: Option<BoardChange>,
}

/// All slots.
#[derive(Debug, Default)]
pub struct StateSlots(Mutex<Slots>);

#[derive(Debug, Default)]
struct Slots {
    boards: BTreeMap<BoardIndex, BoardSlot>,
    unread_boards: BTreeMap<BoardIndex, Unread<BoardChange>>,
    troubles: BTreeMap<String, (Timestamp, String)>,
    unread_outputs: BTreeMap<String, Unread<(String, bool)>>,
}

#[derive(Debug)]
struct Unread<T> {
    changes: VecDeque<T>,
    left_out: u64,
}

impl<T> Default for Unread<T> {
    fn default() -> Self {
        Self { changes: VecDeque::new(), left_out: 0 }
    }
}

impl<T> Unread<T> {
    fn push(&mut self, change: T) {
        if self.changes.len() == UNREAD {
            self.changes.pop_front();
            self.left_out = self.left_out.saturating_add(1);
        }
        self.changes.push_back(change);
    }
}

impl StateSlots {
    /// A board stands so from now on; says whether that is new.
    pub fn set_board(&self, board: BoardIndex, change: BoardChange) -> bool {
        let mut slots = self.lock();
        let slot = slots.boards.entry(board).or_default();
        let hides = matches!(change, BoardChange::Hidden { .. } | BoardChange::NotHidden { .. });
        let before = if hides { &mut slot.hiding } else { &mut slot.reading };
        if before.as_ref() == Some(&change) {
            return false;
        }
        *before = Some(change.clone());
        if !hides {
            // Whether its wheels are hidden goes with how it is read, and ends with that.
            slot.hiding = None;
        }
        slots.unread_boards.entry(board).or_default().push(change);
        true
    }

    /// Another board takes this one's place in the rig: nothing is known of it.
    pub fn forget_board(&self, board: BoardIndex) {
        self.lock().boards.remove(&board);
    }

    /// Something happened to an output at `at`.
    pub fn set_output(&self, at: Timestamp, output: &str, change: String, bad: bool) {
        let mut slots = self.lock();
        if bad && (slots.troubles.len() < TROUBLES_KEPT || slots.troubles.contains_key(output)) {
            slots.troubles.insert(output.to_owned(), (at, change.clone()));
        }
        slots.unread_outputs.entry(output.to_owned()).or_default().push((change, bad));
    }

    /// How a board stands.
    #[must_use]
    pub fn board(&self, board: BoardIndex) -> BoardSlot {
        self.lock().boards.get(&board).cloned().unwrap_or_default()
    }

    /// Whether a board is being read.
    #[must_use]
    pub fn reads(&self, board: BoardIndex) -> bool {
        matches!(self.board(board).reading, Some(BoardChange::Reading { .. }))
    }

    /// What went wrong last with an output, and when.
    #[must_use]
    pub fn trouble(&self, output: &str) -> Option<(Timestamp, String)> {
        self.lock().troubles.get(output).cloned()
    }

    /// The changes since the last call, each board's and each output's in their order.
    pub(crate) fn take_unread(&self) -> Vec<StateChange> {
        let mut slots = self.lock();
        let mut taken = Vec::new();
        for (board, Unread { changes, mut left_out }) in std::mem::take(&mut slots.unread_boards) {
            for change in changes {
                taken.push(StateChange::Board { board, change, left_out: std::mem::take(&mut left_out) });
            }
        }
        for (output, Unread { changes, mut left_out }) in std::mem::take(&mut slots.unread_outputs) {
            for (change, bad) in changes {
                let (output, left_out) = (output.clone(), std::mem::take(&mut left_out));
                taken.push(StateChange::Output { output, change, bad, left_out });
            }
        }
        taken
    }

    /// Whether [`Self::take_unread`] has something to give.
    pub(crate) fn has_unread(&self) -> bool {
        let slots = self.lock();
        !slots.unread_boards.is_empty() || !slots.unread_outputs.is_empty()
    }

    fn lock(&self) -> MutexGuard<'_, Slots> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(path: &str) -> BoardChange {
        BoardChange::Reading { path: path.into(), name: "Bench board".into() }
    }

    #[test]
    fn a_board_is_as_it_was_last_said_to_be() {
        let (slots, board) = (StateSlots::default(), BoardIndex::new(3));
        assert_eq!(slots.board(board), BoardSlot::default());
        assert!(
            slots.set_board(board, BoardChange::Missing) && !slots.set_board(board, BoardChange::Missing)
        );
        assert!(slots.set_board(board, reading("/dev/hidraw3")) && slots.reads(board));
        slots.set_board(board, BoardChange::Hidden { twin: "Bench twin".into() });
        assert!(slots.reads(board) && slots.board(board).hiding.is_some());
        slots.set_board(board, BoardChange::Gone);
        assert_eq!(slots.board(board), BoardSlot { reading: Some(BoardChange::Gone), hiding: None });
        assert!(!slots.reads(board));
        slots.forget_board(board);
        assert_eq!(slots.board(board).reading, None);
        assert_eq!(slots.take_unread().len(), 4, "each was told once");
        assert!(!slots.has_unread() && slots.take_unread().is_empty());
    }

    #[test]
    fn of_many_changes_the_newest_stay_and_the_others_are_counted() {
        let (slots, board) = (StateSlots::default(), BoardIndex::new(0));
        for n in 0..50 {
            slots.set_board(board, reading(&n.to_string()));
            slots.set_board(board, BoardChange::Gone);
        }
        slots.set_board(board, reading("last"));
        let unread = slots.take_unread();
        assert_eq!(unread.len(), UNREAD);
        let left_out: u64 = unread
            .iter()
            .map(|change| match change {
                StateChange::Board { left_out, .. } | StateChange::Output { left_out, .. } => *left_out,
            })
            .sum();
        assert_eq!(left_out, 101 - 8);
        let newest = StateChange::Board { board, change: reading("last"), left_out: 0 };
        assert_eq!(unread.last(), Some(&newest));
        assert!(slots.reads(board));
    }

    #[test]
    fn an_output_keeps_its_last_trouble_and_good_news_is_none() {
        let (slots, at) = (StateSlots::default(), Timestamp::from_micros(7));
        slots.set_output(Timestamp::START, "axis", "open".into(), false);
        assert_eq!(slots.trouble("axis"), None);
        slots.set_output(at, "axis", "no module: load it".into(), true);
        slots.set_output(at, "axis", "open again".into(), false);
        assert_eq!(slots.trouble("axis"), Some((at, "no module: load it".into())));
        assert_eq!(slots.trouble("other"), None);
        assert_eq!(slots.take_unread().len(), 3);
    }
}
