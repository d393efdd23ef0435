//! How many datagrams came in, and what became of them.

/// Datagrams since the start of the program; each is counted once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counters {
    /// Taken for what the simulator says.
    pub accepted: u64,
    /// Late, repeated or of a session that is over.
    pub late: u64,
    /// Nothing that the simulator would send.
    pub malformed: u64,
    /// From senders that are not allowed.
    pub strangers: u64,
    /// Beyond what is looked at in a second.
    pub flooded: u64,
}
