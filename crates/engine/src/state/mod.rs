//! How everything stands, for those who ask: what the main loop keeps ([`BridgeState`]), and what is handed out
//! ([`status`]), which the control puts together.

mod bridge_state;
pub mod status;

pub use bridge_state::{BridgeState, Changes};
pub use status::Status;

use status::{Hangar, Losses};
use tokio::sync::oneshot;

/// Something to be looked up, and who wants to know.
#[derive(Debug)]
pub enum Question {
    /// How everything stands.
    Status(oneshot::Sender<Status>),
    /// The last losses.
    Losses(oneshot::Sender<Losses>),
    /// Which aircraft there are.
    Hangar(oneshot::Sender<Hangar>),
}
