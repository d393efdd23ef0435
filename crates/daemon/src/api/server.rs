//! Opens the interface and closes it.

use super::authentication::{Authentication, Token};
use super::handle::ApiHandle;
use super::instance::{InstanceError, InstanceLock};
use super::{connections, routes};
use crate::failure::CommandFailure;
use std::path::Path;
use std::sync::Arc;
use tallywheel_engine::folders;

/// The log's words for an interface that could not be opened or has ended.
const NOT_LISTENING: &str = "no commands are taken: `tallywheel status` and the others find no daemon";

/// The daemon's server for commands. It holds the lock of the configuration folder, so while there is one no other
/// daemon runs for the same files.
#[derive(Debug)]
pub struct ApiServer(Result<InstanceLock, String>);

impl ApiServer {
    /// Locks the configuration folder `config`. Where the system does not let anybody tell whether another daemon has
    /// it, the daemon runs all the same; [`Self::open`] logs the reason.
    ///
    /// # Errors
    /// [`InstanceError::Taken`] where another daemon runs for the folder.
    pub fn lock(config: &Path) -> Result<Self, CommandFailure> {
        match InstanceLock::acquire(&folders::runtime()?, config) {
            Ok(lock) => Ok(Self(Ok(lock))),
            Err(InstanceError::System { path, source }) => {
                Ok(Self(Err(format!("{}: {source}", path.display()))))
            }
            Err(taken @ InstanceError::Taken { .. }) => Err(taken.into()),
        }
    }

    /// Listens from now on and hands questions and commands to `handle`. Where the machine does not allow it, the
    /// reason is logged. It has to be called on the tokio runtime that is to answer.
    #[must_use]
    pub fn open(mut self, handle: ApiHandle) -> Self {
        if let Err(reason) = self.try_open(handle) {
            tracing::warn!(reason, "{NOT_LISTENING}");
        }
        self
    }

    fn try_open(&mut self, handle: ApiHandle) -> Result<(), String> {
        let lock = self.0.as_mut().map_err(|reason| reason.clone())?;
        let said = |error: std::io::Error| error.to_string();
        let (listener, address) = connections::listen().map_err(said)?;
        let token = Token::new().map_err(said)?;
        lock.publish(address, &token).map_err(said)?;
        let router = routes::router(Arc::new(handle), Authentication::new(address, token));
        tracing::debug!(%address, "commands are taken");
        tokio::spawn(async move {
            if let Err(error) = connections::serve(listener, router).await {
                tracing::warn!(reason = %error, "{NOT_LISTENING}");
            }
        });
        Ok(())
    }
}
