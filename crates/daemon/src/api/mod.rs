//! The control API: a small HTTP interface that only this user's programs can use.
//!
//! It listens on loopback, at a port that the system chose. Port and a random token stand in a file that only
//! the user can read ([`instance`]); [`authentication`] refuses everybody else, a web page in the user's own browser
//! among them. [`connections`] holds connections within limits, [`routes`] answers, and all that it asks of the
//! daemon is the trait [`DaemonApi`]. `openapi.json` describes it; a test holds that against the server.
//!
//! Nothing here runs while nobody asks: a listener that waits costs no wake-up, and a stream is written only
//! when something changed.

pub mod authentication;
pub mod client;
pub mod client_commands;
pub mod connections;
pub mod daemon_api;
pub mod handle;
pub mod instance;
pub mod routes;
pub mod server;
pub mod stream;
pub mod text;

pub use daemon_api::{ApiFuture, DaemonApi};
pub use handle::ApiHandle;
pub use server::ApiServer;

/// The description of the interface, an OpenAPI 3.1 document.
pub const OPENAPI: &str = include_str!("openapi.json");
