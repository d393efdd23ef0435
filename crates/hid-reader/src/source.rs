//! Where reports come from: a board, a recording, a script.

mod hid;
mod recorded;
mod retry;
mod scripted;

pub use hid::{Access, BoardMatch, FoundBoard, Hid, OpenBoard};
pub use recorded::RecordedSource;
pub use retry::{OpenRetry, RetryDecision};
pub use scripted::{ScriptStep, ScriptedSource};

use std::time::Duration;
use thiserror::Error;

/// Something that reports can be read from, one at a time.
pub trait ReportSource: Send {
    /// Waits for a report, at most `wait` (`None`: for ever), and puts it into `buffer`. Returns its length;
    /// 0 when there was none in time or a signal came, so that the caller can look whether it is to end.
    ///
    /// A report longer than `buffer` is cut off; 16,384 bytes hold every one.
    ///
    /// # Errors
    /// Whatever the variant of [`SourceError`] says has to be done; there is no report until it is.
    fn read(&mut self, buffer: &mut [u8], wait: Option<Duration>) -> Result<usize, SourceError>;
}

/// Why there are no reports, named by what the caller does next.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum SourceError {
    /// The board is gone or went while it was being opened. Drop the handle and open again; if that says
    /// [`Self::AwaitPlug`], it is really gone.
    #[error("the board does not answer: {reason}")]
    Reopen {
        /// What the system said.
        reason: String,
    },
    /// No board matches. Wait until one is plugged in; don't ask on a timer.
    #[error("no board that matches is plugged in")]
    AwaitPlug,
    /// The system does not let this user open the board. Right after plugging in that passes within about
    /// a second (see [`OpenRetry`]); after that tell the user the cure.
    #[error("{path} may not be opened: {reason}; {cure}")]
    AskPermission {
        /// The board's path.
        path: String,
        /// What the system said.
        reason: String,
        /// What the user has to do, one clause.
        cure: String,
    },
    /// Several boards match. Have the user name the serial number or the path.
    #[error("{} boards match: {}; give the serial number or the path", paths.len(), paths.join(", "))]
    AskWhich {
        /// The paths of all that match.
        paths: Vec<String>,
    },
    /// There will be no more reports: the recording or the script is over.
    #[error("there are no more reports")]
    Finish,
    /// Boards cannot be read on this machine at all; nothing that this program can do helps.
    #[error("boards cannot be read here: {reason}")]
    GiveUp {
        /// What the system said.
        reason: String,
    },
}

/// Copies as much of a report as fits, and returns how much.
fn copy(report: &[u8], buffer: &mut [u8]) -> usize {
    buffer.iter_mut().zip(report).map(|(to, from)| *to = *from).count()
}
