use crate::TrimReading;

/// What a datagram says of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stamp {
    /// The number of datagrams of this output before this one.
    pub(super) sequence: u64,
    /// Microseconds since 1970-01-01 UTC.
    pub(super) time_us: u64,
}

/// How the readings of an output's trims become the bytes of one datagram.
pub(super) trait Encoder: Send {
    /// Bytes of the largest datagram that can come out, whatever the readings.
    fn largest(&self) -> usize;
    /// Whether a receiver would see any difference between the two readings of one trim, the `place`th of those
    /// that the encoder was made for.
    fn differs(&mut self, place: usize, before: &TrimReading, after: &TrimReading) -> bool;
    /// Appends the datagram to `into`, which has room for [`Self::largest`] bytes.
    /// `readings` are in the order of the trims that the encoder was made for.
    fn encode(&self, stamp: Stamp, readings: &[TrimReading], into: &mut Vec<u8>);
}
