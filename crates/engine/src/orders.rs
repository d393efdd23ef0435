//! What the thread that reads a board is told by the rest of the program.
//!
//! The thread looks at one flag before each report; nothing else of this is on the report's way. A board that
//! says nothing has nothing to be decoded either, so an order may wait for its next report.

use crate::runtime_config::Pipeline;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tallywheel_units::{Counts, WheelIndex};

/// One thing to do before the next report is decoded.
#[derive(Debug)]
pub enum ReaderCommand {
    /// Somebody knows that the wheel turned by so many counts, in the decoder's direction, since the last time.
    Confirm { wheel: WheelIndex, turned: Counts },
    /// The rig file changed: decode by this from now on.
    Path(Box<Pipeline>),
    /// The rig has this board no more: read it no longer.
    End,
}

/// The orders of one reader.
#[derive(Debug, Default)]
pub struct ReaderCommands {
    waiting: AtomicBool,
    list: Mutex<Vec<ReaderCommand>>,
}

impl ReaderCommands {
    /// Gives an order.
    pub fn give(&self, order: ReaderCommand) {
        let mut list = self.list();
        // Of several new rigs only the last one matters.
        if matches!(order, ReaderCommand::Path(_)) {
            list.retain(|order| !matches!(order, ReaderCommand::Path(_)));
        }
        list.push(order);
        self.waiting.store(true, Ordering::Release);
    }

    /// Whether there may be some.
    #[must_use]
    #[inline]
    pub fn waiting(&self) -> bool {
        self.waiting.load(Ordering::Relaxed)
    }

    /// All of them, in their order.
    #[must_use]
    pub fn take(&self) -> Vec<ReaderCommand> {
        let mut list = self.list();
        self.waiting.store(false, Ordering::Relaxed);
        std::mem::take(&mut list)
    }

    /// Whether the board is to be read no longer.
    #[must_use]
    pub fn end(&self) -> bool {
        self.list().iter().any(|order| matches!(order, ReaderCommand::End))
    }

    fn list(&self) -> MutexGuard<'_, Vec<ReaderCommand>> {
        self.list.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
