//! The thread that reads one board.

use crate::clock::Clock;
use crate::pipeline::{Ended, Pipeline, ReaderCommands};
use crate::shared::SharedState;
use std::sync::Arc;
use std::thread;
use tallywheel_hid_reader::ReportSource;

/// What a reader's thread is given.
pub(crate) struct Reader {
    pub(crate) commands: Arc<ReaderCommands>,
    pub(crate) shared: Arc<SharedState>,
    pub(crate) clock: Clock,
}

impl Reader {
    /// Reads `board` on a thread of its own until it is gone; then `gone` is called there.
    ///
    /// # Errors
    /// Where the system gives no thread.
    pub(crate) fn start(
        self,
        mut board: impl ReportSource + 'static,
        mut pipeline: Pipeline,
        gone: impl FnOnce() + Send + 'static,
    ) -> std::io::Result<()> {
        let Self { commands, shared, clock } = self;
        thread::Builder::new().name("reader".into()).spawn(move || {
            let ended = pipeline.run(&mut board, &shared, clock, &commands);
            // The handle goes first: while it is open, the board comes back under another name.
            drop(board);
            if ended == Ended::Told || commands.end() {
                // Its wheels are another board's by now, and nobody waits for it to come back.
                return;
            }
            pipeline.take_unplugging(clock.now(), &shared);
            gone();
        })?;
        Ok(())
    }
}
