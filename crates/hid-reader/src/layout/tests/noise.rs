//! Nothing that a board can send may panic, and nothing but its own buttons may change.

use super::*;
use proptest::prelude::*;

/// Items rather than bytes, so that noise gets past the first item.
fn items() -> impl Strategy<Value = Vec<u8>> {
    let data = prop_oneof![Just(0_u32), 0..40_u32, any::<u32>(), Just(0xFFFF), Just(u32::MAX)];
    let prefix = prop_oneof![
        Just(0x80_u8),
        Just(0x80),
        Just(0xA0),
        Just(0xC0),
        Just(0x04),
        Just(0x14),
        Just(0x24),
        Just(0x74),
        Just(0x84),
        Just(0x94),
        Just(0xA4),
        Just(0xB4),
        Just(0x08),
        Just(0x18),
        Just(0x28),
        Just(0xA8),
        any::<u8>().prop_map(|b| b & 0xFC),
    ];
    prop::collection::vec((prefix, 0..4_u8, data), 0..200).prop_map(|items| {
        let item = |(prefix, size, data): (u8, u8, u32)| {
            let length = [0, 1, 2, 4][usize::from(size)];
            let mut bytes = vec![prefix | size];
            bytes.extend(&data.to_le_bytes()[..length]);
            bytes
        };
        items.into_iter().flat_map(item).collect()
    })
}

fn reports() -> impl Strategy<Value = Vec<Vec<u8>>> {
    prop::collection::vec(prop::collection::vec(any::<u8>(), 0..80), 0..20)
}

fn hold(layout: &Layout, reports: &[Vec<u8>]) {
    let foreign = !layout.buttons().bits();
    let mut state = Buttons::from_bits(foreign);
    for report in reports {
        let before = state;
        match layout.apply(report, &mut state) {
            Ok(()) => assert_eq!(state.bits() & foreign, foreign),
            Err(_) => assert_eq!(state, before),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]

    #[test]
    fn noise_for_a_descriptor(descriptor in prop::collection::vec(any::<u8>(), 0..300), reports in reports()) {
        if let Ok(layout) = Layout::from_descriptor(&descriptor) {
            hold(&layout, &reports);
        }
    }

    #[test]
    fn items_in_any_order(descriptor in items(), reports in reports()) {
        if let Ok(layout) = Layout::from_descriptor(&descriptor) {
            hold(&layout, &reports);
        }
    }

    /// Valid around the noise, so that most of it is taken.
    #[test]
    fn a_damaged_descriptor(
        damage in prop::collection::vec((0..46_usize, any::<u8>()), 0..4),
        reports in reports(),
    ) {
        let mut descriptor = hex(
            "05 01 09 04 A1 01 05 09 19 01 29 14 15 00 25 01 75 01 95 14 81 02 75 04 95 01 81 03 05 01 09 30 15 00 27 FF \
             FF 00 00 75 10 95 01 81 02 C0",
        );
        for (place, byte) in damage {
            descriptor[place] = byte;
        }
        if let Ok(layout) = Layout::from_descriptor(&descriptor) {
            hold(&layout, &reports);
        }
    }
}

#[test]
fn four_kilobytes_of_noise() {
    use rand::{RngCore, SeedableRng};
    let mut random = rand_pcg::Pcg64::seed_from_u64(4096);
    for _ in 0..2000 {
        let mut descriptor = vec![0; 4096];
        random.fill_bytes(&mut descriptor);
        let _ = Layout::from_descriptor(&descriptor);
    }
}

/// The most work that a descriptor of 4096 bytes can ask for: as many fields as fit, each with all usages.
#[test]
fn the_worst_descriptor_is_done_in_no_time() {
    let head = hex("05 09 15 00 25 01 75 01 96 00 01");
    let field = hex("1A 01 00 2A FF FF 81 02");
    let array = hex("1A 01 00 2A FF FF 81 00");
    for field in [field, array] {
        let fields = field.repeat((4096 - head.len()) / field.len());
        let layout = Layout::from_descriptor(&[head.clone(), fields].concat()).unwrap();
        hold(&layout, &[vec![0xFF; 16_384]]);
    }
}
