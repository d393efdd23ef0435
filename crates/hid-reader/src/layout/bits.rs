//! Bits of a report. A report is one long number, least significant bit first (HID 1.11, section 5.8).

/// Up to 128 bits from bit `first` on, as a number; bits past the end of the report read as 0.
pub(super) fn run(report: &[u8], first: usize, bits: u8) -> u128 {
    let tail = report.get(first / 8..).unwrap_or_default();
    let skip = first % 8;
    // Nearly every board: few buttons, in a report of a few bytes. It saves a hundred instructions a report.
    if skip + usize::from(bits) <= 32
        && let Some(four) = tail.first_chunk()
    {
        let all = u64::from(u32::from_le_bytes(*four));
        return u128::from(all >> skip & ((1 << bits) - 1));
    }
    let low = match tail.first_chunk() {
        Some(sixteen) => u128::from_le_bytes(*sixteen),
        None => {
            let mut padded = [0; 16];
            padded.iter_mut().zip(tail).for_each(|(to, from)| *to = *from);
            u128::from_le_bytes(padded)
        }
    };
    let high = match (skip, tail.get(16)) {
        (1.., Some(&byte)) => u128::from(byte) << (128 - skip),
        _ => 0,
    };
    ((low >> skip) | high) & mask(bits)
}

/// Up to 32 bits from bit `first` on. A wider field gives its lowest 32 bits, as the kernel's
/// `hid_field_extract` does.
pub(super) fn value(report: &[u8], first: usize, bits: u8) -> u32 {
    u32::try_from(run(report, first, bits.min(32))).unwrap_or(u32::MAX)
}

/// The same with the sign bit of a two's complement number of `bits` bits carried up.
pub(super) fn signed(raw: u32, bits: u8) -> i32 {
    match bits.min(32) {
        0 => 0,
        bits => {
            let spare = 32 - u32::from(bits);
            (raw << spare).cast_signed() >> spare
        }
    }
}

/// The lowest `bits` bits set.
pub(super) fn mask(bits: u8) -> u128 {
    match bits {
        0 => 0,
        1..128 => (1 << bits) - 1,
        128.. => u128::MAX,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// HID 1.11, section 5.8: after a report ID a 12-bit X and then a 12-bit Y cross the bytes.
    #[test]
    fn two_twelve_bit_fields_share_a_byte() {
        let report = [1, 0xBC, 0x3A, 0x12];
        assert_eq!(value(&report, 8, 12), 0xABC);
        assert_eq!(value(&report, 20, 12), 0x123);
        assert_eq!(signed(0xABC, 12), -0x544);
        assert_eq!(signed(0x123, 12), 0x123);
    }

    #[test]
    fn every_offset_and_length_agrees_with_bit_by_bit_reading() {
        let report: Vec<u8> = (0..48_u32).map(|i| i.wrapping_mul(2_654_435_761).to_le_bytes()[3]).collect();
        for first in 0..200 {
            for bits in 0..=128_u8 {
                let slow = (0..usize::from(bits)).fold(0_u128, |sum, i| {
                    let bit = first + i;
                    sum | u128::from(report[bit / 8] >> (bit % 8) & 1) << i
                });
                assert_eq!(run(&report, first, bits), slow, "{bits} bits from {first}");
            }
        }
    }

    #[test]
    fn past_the_end_there_are_zeros() {
        assert_eq!(run(&[0xFF], 4, 128), 0xF);
        assert_eq!(run(&[0xFF], 800, 8), 0);
        assert_eq!(value(&[0xFF; 8], 0, 255), u32::MAX);
    }

    #[test]
    fn signs_reach_up_from_any_width() {
        assert_eq!(signed(0, 0), 0);
        assert_eq!(signed(1, 1), -1);
        assert_eq!(signed(0x80, 8), -128);
        assert_eq!(signed(0x7F, 8), 127);
        assert_eq!(signed(u32::MAX, 32), -1);
    }
}
