//! Nothing is allocated per report, whatever the report holds and whatever comes of it.

use std::time::Duration;
use tallywheel_hid_reader::{BoardDecoder, Event, Layout, WheelConfig, WheelFacts, WheelInputs};
use tallywheel_units::{ButtonNumber, CountsPerCycle, CountsPerTurn, LossKind, Timestamp};

/// Buttons 1 to 32 as bits, 33 to 40 as bytes with a null state, 41 to 56 in an array.
const DESCRIPTOR: [u8; 58] = [
    0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x20, 0x15, 0x00, 0x25, 0x01, 0x75,
    0x01, 0x95, 0x20, 0x81, 0x02, 0x19, 0x21, 0x29, 0x28, 0x25, 0x64, 0x75, 0x08, 0x95, 0x08, 0x81, 0x42,
    0x19, 0x29, 0x29, 0x38, 0x15, 0x01, 0x25, 0x10, 0x75, 0x08, 0x95, 0x04, 0x81, 0x40, 0x05, 0x01, 0x09,
    0x30, 0x75, 0x10, 0x95, 0x01, 0x81, 0x02,
];

#[test]
fn no_report_allocates() {
    let descriptor = [DESCRIPTOR.as_slice(), &[0xC0]].concat();
    let layout = Layout::from_descriptor(&descriptor).unwrap();
    assert_eq!(layout.buttons().bits(), (1 << 56) - 1);
    let button = |number| ButtonNumber::new(number).unwrap();
    let wheel = |inputs, pressed_at_rest| WheelConfig { inputs, pressed_at_rest, index: None };
    let marked = |config, number| WheelConfig { index: Some(button(number)), ..config };
    let wheels = [
        marked(wheel(WheelInputs::Pulses { forward: button(1), backward: button(2) }, false), 5),
        marked(
            wheel(
                WheelInputs::Quadrature { a: button(3), b: button(4), per_cycle: CountsPerCycle::X4 },
                true,
            ),
            6,
        ),
        wheel(WheelInputs::Quadrature { a: button(33), b: button(34), per_cycle: CountsPerCycle::X1 }, false),
        wheel(WheelInputs::Pulses { forward: button(41), backward: button(42) }, true),
    ];
    for interval in [None, Some(Duration::from_millis(1))] {
        let mut decoder = BoardDecoder::new(layout.clone(), &wheels, interval).unwrap();
        let facts = WheelFacts { counts_per_turn: CountsPerTurn::new(24), ..WheelFacts::default() };
        (0..2).for_each(|wheel| decoder.know(wheel, &facts));
        let (mut counts, mut losses, mut doubts, mut marks, mut kinds) =
            (0_u64, 0_u64, 0_u64, 0_u64, [0_u64; LossKind::ALL.len()]);
        let mut noise = 0x9E37_79B9_7F4A_7C15_u64;
        let allocations = allocation_counter::measure(|| {
            let mut sink = |_, event| match event {
                Event::Counts(_) => counts += 1,
                Event::Doubt(_) | Event::Undecided(_) => doubts += 1,
                Event::Index(_) => marks += 1,
                Event::Loss(loss) => {
                    losses += 1;
                    let place = LossKind::ALL.iter().position(|kind| *kind == loss.kind);
                    kinds[place.unwrap()] += 1;
                }
            };
            let mut now = Timestamp::START;
            let mut last = [0; 24];
            for i in 0..100_000_u64 {
                noise ^= noise << 13;
                noise ^= noise >> 7;
                noise ^= noise << 17;
                // Now and then it says the same for a while, as a board does that reports steadily.
                let repeats = (200..240).contains(&(i % 5_000));
                let mut report = if repeats { last } else { [0; 24] };
                if !repeats {
                    report[..8].copy_from_slice(&noise.to_le_bytes());
                    report[8..16].copy_from_slice(&noise.rotate_left(23).to_le_bytes());
                }
                last = report;
                // Every 10,000 reports a stall, every 1,000 a short report, and once a board that went.
                let stalled = i % 10_000 < 64;
                let gap = match (stalled, i % 10_000) {
                    (true, 0) => 500_000,
                    (true, _) => 10,
                    (false, _) => 1000,
                };
                now = now.after(Duration::from_micros(gap));
                let length = if i % 1000 == 999 { 3 } else { report.len() };
                decoder.report(now, &report[..length], &mut sink);
                if let Some(deadline) = decoder.deadline().filter(|_| i % 500 == 0) {
                    now = now.max(deadline);
                    decoder.rest(deadline, &mut sink);
                }
                if i == 50_000 {
                    decoder.unplugged(now, &mut sink);
                }
            }
        });
        assert_eq!(allocations.count_total, 0, "{interval:?}");
        assert!(counts > 50_000 && losses > 10_000, "{counts} counts, {losses} losses");
        assert!(doubts > 1000, "{doubts} doubts");
        // Noise has no beat, and a mark is taken only while nothing is in doubt.
        assert!(marks > 0, "{marks} marks");
        // Noise is no spin and no stroke, but what noise can be taken for was there.
        let seen = |kind| kinds[LossKind::ALL.iter().position(|k| *k == kind).unwrap()] > 0;
        for kind in [
            LossKind::TurnedTooHard,
            LossKind::PulsesOverlap,
            LossKind::BadReport,
            LossKind::ReaderStalled,
            LossKind::BoardGone,
            LossKind::PulsesMerged,
        ] {
            assert!(seen(kind), "{}: {kinds:?}", kind.name());
        }
    }
}
