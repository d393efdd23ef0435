//! Why a command ended without doing its job.

use crate::files::FilesError;
use crate::folders::NoHome;
use crate::runtime_config::RuntimeConfigError;
use std::path::PathBuf;
use tallywheel_hid_reader::{RecordingError, SourceError};

/// What `main` prints before it ends with a code other than 0.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// A file of the user's is wrong or missing.
    #[error(transparent)]
    Files(#[from] FilesError),
    /// Rig and aircraft do not work together.
    #[error(transparent)]
    Plan(#[from] RuntimeConfigError),
    /// There is no home folder.
    #[error(transparent)]
    NoHome(#[from] NoHome),
    /// The boards cannot be read.
    #[error(transparent)]
    Boards(#[from] SourceError),
    /// The recording is none.
    #[error("{path}: {source}")]
    Recording {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        source: RecordingError,
    },
    /// A file cannot be read or written.
    #[error("{path}: {source}")]
    File {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// The recording is of other boards than the rig's.
    #[error("the recording holds no board of the rig file: it has {recorded}, the rig file {wanted}")]
    NoCommonBoard {
        /// USB numbers of the recorded boards.
        recorded: String,
        /// Names of the boards in the rig file.
        wanted: String,
    },
    /// The command line names something that is not there.
    #[error("{0}")]
    Choice(String),
    /// The terminal, a pipe or a thread.
    #[error(transparent)]
    System(#[from] std::io::Error),
}

impl Failure {
    /// Whether nobody is left to read what this command prints; not worth a message.
    #[must_use]
    pub fn is_closed_pipe(&self) -> bool {
        matches!(self, Self::System(error) if error.kind() == std::io::ErrorKind::BrokenPipe)
    }
}
