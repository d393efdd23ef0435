//! Why a command of the program failed, and its exit code.

use crate::api::client::ClientError;
use crate::api::instance::InstanceError;
use crate::logging::LoggingError;
use tallywheel_engine::failure::Failure;
use tallywheel_engine::files::FilesError;
use tallywheel_engine::folders::NoHome;
use tallywheel_engine::runtime_config::RuntimeConfigError;

/// The error that `main` prints before it ends with a code other than 0.
#[derive(Debug, thiserror::Error)]
pub enum CommandFailure {
    /// Something that the bridge or a tool needs is not valid or missing.
    #[error(transparent)]
    Failed(#[from] Failure),
    /// The log cannot be written.
    #[error(transparent)]
    Logging(#[from] LoggingError),
    /// Another daemon runs for the configuration folder.
    #[error(transparent)]
    Instance(#[from] InstanceError),
    /// The daemon does not carry out the command, or there is none.
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
    /// The exit code: 1, or 3 if there is no daemon to talk to. (clap ends with 2 where the command line is not
    /// understood.)
    #[must_use]
    pub const fn code(&self) -> u8 {
        match self {
            Self::Daemon(error) if error.is_no_daemon() => 3,
            _ => 1,
        }
    }

    /// Tells whether the reader of standard output has gone, which is not worth a message.
    #[must_use]
    pub fn is_closed_pipe(&self) -> bool {
        matches!(self, Self::Failed(failure) if failure.is_closed_pipe())
    }
}
