//! Why a command of the program ended without doing its job.

use crate::api::claim::ClaimError;
use crate::api::client::ClientError;
use crate::logging::LoggingError;
use tallywheel_engine::failure::Failure;
use tallywheel_engine::files::FilesError;
use tallywheel_engine::folders::NoHome;
use tallywheel_engine::runtime_config::RuntimeConfigError;

/// What `main` prints before it ends with a code other than 0.
#[derive(Debug, thiserror::Error)]
pub enum CommandFailure {
    /// What the bridge or a tool needs is wrong or missing.
    #[error(transparent)]
    Failed(#[from] Failure),
    /// Logs cannot be written.
    #[error(transparent)]
    Logging(#[from] LoggingError),
    /// Another daemon has the configuration folder.
    #[error(transparent)]
    Claim(#[from] ClaimError),
    /// The daemon does not do it, or there is none.
    #[error(transparent)]
    Daemon(#[from] ClientError),
}

impl From<std::io::Error> for CommandFailure {
    fn from(error: std::io::Error) -> Self {
        Self::Failed(error.into())
    }
}

impl From<NoHome> for CommandFailure {
    fn from(error: NoHome) -> Self {
        Self::Failed(error.into())
    }
}

impl From<RuntimeConfigError> for CommandFailure {
    fn from(error: RuntimeConfigError) -> Self {
        Self::Failed(error.into())
    }
}

impl From<FilesError> for CommandFailure {
    fn from(error: FilesError) -> Self {
        Self::Failed(error.into())
    }
}

impl CommandFailure {
    /// What the program ends with: 1, or 3 if there is no daemon to talk to. (2 is for a command line that
    /// means nothing.)
    #[must_use]
    pub const fn code(&self) -> u8 {
        match self {
            Self::Daemon(error) if error.is_nobody() => 3,
            _ => 1,
        }
    }

    /// Whether nobody is left to read what this command prints; not worth a message.
    #[must_use]
    pub fn is_closed_pipe(&self) -> bool {
        matches!(self, Self::Failed(failure) if failure.is_closed_pipe())
    }
}
