//! Opens the interface and closes it.

use super::claim::{Claim, ClaimError};
use super::guard::{Guard, Token};
use super::pilot::Pilot;
use super::{routes, serve};
use crate::failure::CommandFailure;
use std::path::Path;
use std::sync::Arc;
use tallywheel_engine::folders;

/// Why the door stays shut.
const SHUT: &str = "no commands are taken: `tallywheel status` and the others find no daemon";

/// The daemon's door; while there is one, no other daemon runs for the same files.
#[derive(Debug)]
pub struct Door(Result<Claim, String>);

impl Door {
    /// Takes the user's folder. Where nobody can tell whether another daemon has it, that is no reason not to
    /// run; it is said when the door is to be opened.
    ///
    /// # Errors
    /// [`ClaimError::Taken`]
    pub fn claim(config: &Path) -> Result<Self, CommandFailure> {
        match Claim::take(&folders::runtime()?, config) {
            Ok(claim) => Ok(Self(Ok(claim))),
            Err(ClaimError::System { path, source }) => {
                Ok(Self(Err(format!("{}: {source}", path.display()))))
            }
            Err(taken @ ClaimError::Taken { .. }) => Err(taken.into()),
        }
    }

    /// Takes questions and commands from now on and hands them to `pilot`, if the machine allows it; if not,
    /// that is logged. To be called on the runtime that is to answer.
    #[must_use]
    pub fn open(mut self, pilot: Pilot) -> Self {
        if let Err(reason) = self.try_open(pilot) {
            tracing::warn!(reason, "{SHUT}");
        }
        self
    }

    fn try_open(&mut self, pilot: Pilot) -> Result<(), String> {
        let claim = self.0.as_mut().map_err(|reason| reason.clone())?;
        let said = |error: std::io::Error| error.to_string();
        let (listener, at) = serve::listen().map_err(said)?;
        let token = Token::new().map_err(said)?;
        claim.publish(at, &token).map_err(said)?;
        let router = routes::router(Arc::new(pilot), Guard::new(at, token));
        tracing::debug!(address = %at, "commands are taken");
        tokio::spawn(async move {
            if let Err(error) = serve::serve(listener, router).await {
                tracing::warn!(reason = %error, "{SHUT}");
            }
        });
        Ok(())
    }
}
