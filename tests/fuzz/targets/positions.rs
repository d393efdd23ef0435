//! Any bytes are a saved position or damage; what is read can be written and read again.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tallywheel_engine::saved::Positions;

fuzz_target!(|data: &[u8]| {
    // The checksum keeps noise out, so half of the inputs get a right one.
    let summed = format!("\ncrc32 {:08x}\n", crc32fast::hash(data));
    for text in [data.to_vec(), [data, summed.as_bytes()].concat()] {
        if let Ok(positions) = Positions::from_text(&text) {
            let again = Positions::from_text(positions.to_text().as_bytes());
            let again = again.expect("what was written is read");
            assert_eq!(again.sequence, positions.sequence);
            // Numbers are written to the last digit and read to all but that.
            for (one, other) in again.trims.iter().zip(&positions.trims) {
                assert_eq!((one.0, one.1.margin), (other.0, other.1.margin));
                let (one, other) = (one.1.degrees.get(), other.1.degrees.get());
                assert!((one - other).abs() <= other.abs() * 1e-15, "{one} {other}");
            }
            assert_eq!(again.trims.len(), positions.trims.len());
        }
    }
});
