//! What the simulator reports: its aircraft's title, where its trim is, whether it is paused.
//!
//! UDP datagrams, one JSON object each ([`Message`] has the keys). [`socket`](Socket) reads them, at a bounded rate
//! and from allowed senders only; [`Link`] drops late and repeated ones and notices that the simulator is gone;
//! [`Follower`] decides for each trim what a report does. All but the socket is without I/O and without a clock.

mod bucket;
mod counters;
mod follower;
mod link;
mod message;
mod socket;

pub use counters::Counters;
pub use follower::{Action, Follower};
pub use link::{Link, Verdict};
pub use message::{Garbage, LONGEST_BYTES, Message};
pub use socket::{Arrival, Socket};
