//! The thread that reads one board, and what the rest of the program tells it.
//!
//! The thread looks at one flag before each report; nothing else of this is on the report's way. A board that
//! says nothing has nothing to be decoded either, so a command may wait for its next report.

use crate::clock::Clock;
use crate::device_manager::DeviceSender;
use crate::pipeline::{Ended, Pipeline};
use crate::shared::SharedState;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use tallywheel_hid_reader::ReportSource;
use tallywheel_units::{Counts, WheelIndex};

/// The number that tells one reading of a board from the next.
pub(crate) type ReaderId = u64;

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
    fn end(&self) -> bool {
        self.list().iter().any(|command| matches!(command, ReaderCommand::End))
    }

    fn list(&self) -> MutexGuard<'_, Vec<ReaderCommand>> {
        self.list.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What a reader's thread is given.
pub(crate) struct Reader {
    pub(crate) id: ReaderId,
    pub(crate) commands: Arc<ReaderCommands>,
    pub(crate) shared: Arc<SharedState>,
    pub(crate) clock: Clock,
    pub(crate) devices: DeviceSender,
}

impl Reader {
    /// Reads `board` on a thread of its own until it is gone, which `devices` is told then.
    ///
    /// # Errors
    /// Where the system gives no thread.
    pub(crate) fn start(
        self,
        mut board: impl ReportSource + 'static,
        mut pipeline: Pipeline,
    ) -> std::io::Result<()> {
        let Self { id, commands, shared, clock, devices } = self;
        thread::Builder::new().name("reader".into()).spawn(move || {
            let ended = pipeline.run(&mut board, &shared, clock, &commands);
            // The handle goes first: while it is open, the board comes back under another name.
            drop(board);
            if ended == Ended::Told || commands.end() {
                // Its wheels are another board's by now, and nobody waits for it to come back.
                return;
            }
            pipeline.take_unplugging(clock.now(), &shared);
            devices.gone(id);
        })?;
        Ok(())
    }
}
