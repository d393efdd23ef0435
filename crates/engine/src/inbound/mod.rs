//! What the simulator reports: its aircraft's title, where its trim is, whether it is paused.
//!
//! UDP datagrams, one JSON object each ([`Message`] has the keys). [`socket`](Socket) reads them, at a bounded rate
//! and from allowed senders only; [`SimulatorSession`] drops late and repeated ones and notices that the simulator is gone;
//! [`EchoSuppression`] decides for each trim what a report does. All but the socket is without I/O and without a clock.

mod bucket;
mod counters;
mod echo;
mod message;
mod session;
mod socket;

pub use counters::Counters;
pub use echo::{Action, EchoSuppression};
pub use message::{Garbage, LONGEST_BYTES, Message};
pub use session::{SimulatorSession, Verdict};
pub use socket::{Arrival, Socket};
