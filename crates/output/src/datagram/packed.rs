use super::encoder::{Encoder, Stamp};
use crate::TrimReading;
use tallywheel_profile::Scale;
use tallywheel_units::Counts;

const MAGIC: [u8; 4] = *b"TWHL";
const VERSION: u16 = 1;
const HEAD: usize = 24;
const PER_TRIM: usize = 40;
const RESERVED: [u8; 4] = [0; 4];

/// [`Template::Packed`](crate::Template::Packed).
#[derive(Debug)]
pub(super) struct Packed {
    trims: u16,
    scale: Scale,
}

impl Packed {
    /// For so many trims; more than a datagram has room for make no difference, since [`Encoder::largest`] then
    /// says so.
    pub(super) fn new(trims: usize, scale: Scale) -> Self {
        Self { trims: u16::try_from(trims).unwrap_or(u16::MAX), scale }
    }
}

impl Encoder for Packed {
    fn largest(&self) -> usize {
        HEAD + PER_TRIM * usize::from(self.trims)
    }

    fn differs(&mut self, _place: usize, before: &TrimReading, after: &TrimReading) -> bool {
        before != after
    }

    fn encode(&self, stamp: Stamp, readings: &[TrimReading], into: &mut Vec<u8>) {
        into.extend_from_slice(&MAGIC);
        into.extend_from_slice(&VERSION.to_le_bytes());
        into.extend_from_slice(&self.trims.to_le_bytes());
        into.extend_from_slice(&stamp.sequence.to_le_bytes());
        into.extend_from_slice(&stamp.time_us.to_le_bytes());
        for reading in readings {
            // Adding 0 turns -0 into 0.
            into.extend_from_slice(&(self.scale.apply(reading.normalized) + 0.0).to_le_bytes());
            into.extend_from_slice(&reading.degrees.get().to_le_bytes());
            into.extend_from_slice(&reading.counts.get().to_le_bytes());
            into.extend_from_slice(&reading.axis.get().to_le_bytes());
            into.extend_from_slice(&side(reading.margin.low()).to_le_bytes());
            into.extend_from_slice(&side(reading.margin.high()).to_le_bytes());
            into.extend_from_slice(&RESERVED);
        }
    }
}

/// One side of a margin.
fn side(counts: Counts) -> u32 {
    u32::try_from(counts.get()).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::samples::{any_reading, any_scale};
    use proptest::prelude::*;
    use tallywheel_units::{AxisValue, Degrees, Margin, Normalized};

    /// The documented table, byte by byte, written out by hand. The floats are IEEE 754: -0.25 is BFD0..., 240.0
    /// is 406E....
    #[test]
    fn a_datagram_is_the_documented_table() {
        let reading = TrimReading {
            degrees: Degrees::new(240.0).unwrap(),
            normalized: Normalized::clamped(-0.25),
            axis: AxisValue::clamped(-8192),
            counts: Counts::new(-21),
            margin: Margin::new(Counts::new(3), Margin::UNKNOWN.high()),
        };
        let mut bytes = Vec::new();
        let stamp = Stamp { sequence: 12, time_us: 0x0102_0304_0506_0708 };
        Packed::new(1, Scale::UNIT).encode(stamp, &[reading], &mut bytes);
        let expected: [&[u8]; 12] = [
            b"TWHL",
            &[1, 0],
            &[1, 0],
            &[12, 0, 0, 0, 0, 0, 0, 0],
            &[8, 7, 6, 5, 4, 3, 2, 1],
            &[0, 0, 0, 0, 0, 0, 0xD0, 0xBF],
            &[0, 0, 0, 0, 0, 0, 0x6E, 0x40],
            &[0xEB, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF],
            &[0x00, 0xE0, 0xFF, 0xFF],
            &[3, 0, 0, 0],
            &[0xFF, 0xFF, 0xFF, 0xFF],
            &[0, 0, 0, 0],
        ];
        assert_eq!(bytes, expected.concat());
    }

    proptest! {
        #[test]
        fn every_datagram_has_its_one_length(
            readings in proptest::collection::vec(any_reading(), 0..5), scale in any_scale(),
            sequence in any::<u64>(), time_us in any::<u64>(),
        ) {
            let encoder = Packed::new(readings.len(), scale);
            let mut bytes = Vec::new();
            encoder.encode(Stamp { sequence, time_us }, &readings, &mut bytes);
            prop_assert_eq!(bytes.len(), encoder.largest());
        }
    }
}
