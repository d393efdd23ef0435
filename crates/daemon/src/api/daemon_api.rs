//! What the interface asks of the daemon.

use std::pin::Pin;
use tallywheel_engine::commands::Refusal;
use tallywheel_engine::state::status::{Hangar, Losses, Status};
use tokio::sync::watch;

/// The daemon's answer, which may take a moment, or its refusal.
pub type ApiFuture<T> = Pin<Box<dyn Future<Output = Result<T, Refusal>> + Send>>;

/// The daemon, as the interface sees it. No function waits for a wheel or a simulator. Each command gives a
/// [`Refusal`] where it cannot be carried out; nothing has changed then.
pub trait DaemonApi: Send + Sync + 'static {
    /// Returns the state of everything: trims, wheels, boards, outputs and the simulator.
    fn status(&self) -> ApiFuture<Status>;

    /// Returns a number that rises with every change of [`Self::status`] that is worth showing.
    fn changes(&self) -> watch::Receiver<u64>;

    /// Returns the last losses, the newest last.
    fn losses(&self) -> ApiFuture<Losses>;

    /// Returns all aircraft files in the user's folder.
    fn aircraft(&self) -> ApiFuture<Hangar>;

    /// Sets a trim's position, which is a reference. `trim` is the name of the trim or of its wheel, `to` the name
    /// of a position or degrees above the low stop.
    fn align(&self, trim: String, to: String) -> ApiFuture<()>;

    /// Changes to another aircraft, given by its name or by its file's name without `.toml`.
    fn set_aircraft(&self, aircraft: String) -> ApiFuture<()>;

    /// Holds the outputs where they are (`true`) or lets them follow the trims.
    fn hold(&self, on: bool) -> ApiFuture<()>;

    /// Reads all files again.
    fn reload(&self) -> ApiFuture<()>;

    /// Sets how much is logged from now on: a level, or TARGET=LEVEL pairs with commas.
    ///
    /// # Errors
    /// A [`Refusal`] where there is no such level; the level stays as it was.
    fn set_log_level(&self, level: &str) -> Result<(), Refusal>;
}
