//! What the rest of the program tells the thread that reads a board.
//!
//! The thread looks at one flag before each report; nothing else of this is on the report's way. A board that
//! says nothing has nothing to be decoded either, so a command may wait for its next report.

use super::Pipeline;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tallywheel_units::{Counts, WheelIndex};

/// One thing to do before the next report is decoded.
#[derive(Debug)]
pub(crate) enum ReaderCommand {
    /// Somebody knows that the wheel turned by so many counts, in the decoder's direction, since the last time.
    Confirm { wheel: WheelIndex, turned: Counts },
    /// The rig file changed: the reports go through this from now on.
    Exchange(Box<Pipeline>),
    /// The rig has this board no more: read it no longer.
    End,
}

/// The commands that one reader has not done yet.
#[derive(Debug, Default)]
pub(crate) struct ReaderCommands {
    waiting: AtomicBool,
    list: Mutex<Vec<ReaderCommand>>,
}

impl ReaderCommands {
    pub(crate) fn give(&self, command: ReaderCommand) {
        let mut list = self.list();
        // Of several new rigs only the last one matters.
        if matches!(command, ReaderCommand::Exchange(_)) {
            list.retain(|command| !matches!(command, ReaderCommand::Exchange(_)));
        }
        list.push(command);
        self.waiting.store(true, Ordering::Release);
    }

    /// Whether there may be some.
    #[inline]
    pub(crate) fn waiting(&self) -> bool {
        self.waiting.load(Ordering::Relaxed)
    }

    /// All of them, in their order.
    pub(crate) fn take(&self) -> Vec<ReaderCommand> {
        let mut list = self.list();
        self.waiting.store(false, Ordering::Relaxed);
        std::mem::take(&mut list)
    }

    /// Whether the board is to be read no longer.
    pub(crate) fn end(&self) -> bool {
        self.list().iter().any(|command| matches!(command, ReaderCommand::End))
    }

    fn list(&self) -> MutexGuard<'_, Vec<ReaderCommand>> {
        self.list.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
