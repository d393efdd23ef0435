//! The daemon's own door for commands: a small HTTP interface that only this user's programs can use.
//!
//! It listens on loopback, at a port that the system chose. Port and a random token stand in a file that only
//! the user can read ([`claim`]); [`guard`] turns everybody else away, a web page in the user's own browser
//! among them. [`serve`] holds connections within limits, [`routes`] answers, and all that it asks of the
//! daemon is the trait [`Helm`]. `openapi.json` describes it; a test holds that against the server.
//!
//! Nothing here runs while nobody asks: a listener that waits costs no wake-up, and a stream is written only
//! when something changed.

pub mod ask;
pub mod claim;
pub mod client;
pub mod door;
pub mod guard;
pub mod helm;
pub mod pilot;
pub mod routes;
pub mod serve;
pub mod show;
pub mod stream;

pub use claim::Claim;
pub use door::Door;
pub use helm::{Answer, Helm, Refusal, Refused};
pub use pilot::Pilot;

/// The description of the interface, an OpenAPI 3.1 document.
pub const OPENAPI: &str = include_str!("openapi.json");
