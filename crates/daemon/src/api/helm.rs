//! What the interface asks of the daemon.

use std::pin::Pin;
use tallywheel_engine::state::status::{Hangar, Losses, Status};
use tokio::sync::watch;

/// An answer that may take a moment.
pub type Answer<T> = Pin<Box<dyn Future<Output = Result<T, Refused>> + Send>>;

/// Why a command was not done, by what the asker does next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// Asks for something else: there is nothing of that name.
    Unknown,
    /// Asks in another way: the words cannot mean anything.
    Senseless,
    /// Cures something first: it cannot be done as things stand.
    NotNow,
}

/// A command that was not done.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what}; {cure}")]
pub struct Refused {
    /// What kind.
    pub refusal: Refusal,
    /// Why, one clause.
    pub what: String,
    /// What to do, one clause.
    pub cure: String,
}

impl Refused {
    /// There is nothing of that name.
    pub fn unknown(what: impl Into<String>, cure: impl Into<String>) -> Self {
        Self { refusal: Refusal::Unknown, what: what.into(), cure: cure.into() }
    }

    /// The words cannot mean anything.
    pub fn senseless(what: impl Into<String>, cure: impl Into<String>) -> Self {
        Self { refusal: Refusal::Senseless, what: what.into(), cure: cure.into() }
    }

    /// It cannot be done as things stand.
    pub fn not_now(what: impl Into<String>, cure: impl Into<String>) -> Self {
        Self { refusal: Refusal::NotNow, what: what.into(), cure: cure.into() }
    }
}

/// The daemon, as the interface sees it. Nothing here may wait for a wheel or a simulator.
pub trait Helm: Send + Sync + 'static {
    /// How everything stands.
    fn status(&self) -> Answer<Status>;

    /// Rises with every change of [`Self::status`] that is worth showing.
    fn changes(&self) -> watch::Receiver<u64>;

    /// The last losses.
    fn losses(&self) -> Answer<Losses>;

    /// The aircraft files there are.
    fn hangar(&self) -> Answer<Hangar>;

    /// Says where a trim really is: a reference. `trim` is a trim's or its wheel's name, `to` a position's
    /// name or degrees above the low stop.
    fn align(&self, trim: String, to: String) -> Answer<()>;

    /// Flies another aircraft: its name, or its file's without `.toml`.
    fn fly(&self, aircraft: String) -> Answer<()>;

    /// Holds the outputs, or lets them go.
    fn hold(&self, on: bool) -> Answer<()>;

    /// Reads all files again.
    fn reload(&self) -> Answer<()>;

    /// How much is logged from now on.
    ///
    /// # Errors
    /// Where there is no such level.
    fn set_log_level(&self, level: &str) -> Result<(), Refused>;
}
