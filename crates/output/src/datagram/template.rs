use crate::TrimReading;
use tallywheel_units::Timestamp;

/// How the readings of an output's trims become the bytes of one datagram.
pub(super) trait Encoder: Send {
    /// Bytes of the largest datagram that can come out, whatever the readings.
    fn largest(&self) -> usize;
    /// Whether a receiver would see any difference between the two readings of one trim.
    fn differs(&self, before: &TrimReading, after: &TrimReading) -> bool;
    /// Appends the datagram to `into`, which has room for [`Self::largest`] bytes.
    /// `readings` are in the order of the trims that the encoder was made for.
    fn encode(&self, sequence: u64, at: Timestamp, readings: &[TrimReading], into: &mut Vec<u8>);
}
