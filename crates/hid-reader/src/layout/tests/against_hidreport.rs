//! Where a descriptor is well formed, crate hidreport 0.6's own interpretation of it finds the same bits.

use super::*;
use hidreport::{Field, Report, ReportDescriptor};
use proptest::prelude::*;

/// One main item of a well-formed descriptor.
#[derive(Debug, Clone)]
enum Part {
    /// Buttons from `first` on, one bit each.
    Buttons {
        first: u8,
        count: u8,
    },
    /// An array of `slots` bytes for 16 buttons from `first` on.
    Array {
        first: u8,
        slots: u8,
    },
    /// An axis of so many bits.
    Axis {
        bits: u8,
    },
    Padding {
        bits: u8,
    },
}

fn part() -> impl Strategy<Value = Part> {
    prop_oneof![
        (1..200_u8, 1..40_u8).prop_map(|(first, count)| Part::Buttons { first, count }),
        (1..200_u8, 1..6_u8).prop_map(|(first, slots)| Part::Array { first, slots }),
        (1..=32_u8).prop_map(|bits| Part::Axis { bits }),
        (1..=32_u8).prop_map(|bits| Part::Padding { bits }),
    ]
}

/// Parts with their report's ID; numbered boards number every part.
fn parts() -> impl Strategy<Value = Vec<(Option<u8>, Part)>> {
    prop_oneof![
        prop::collection::vec((Just(None), part()), 1..12),
        prop::collection::vec(((1..4_u8).prop_map(Some), part()), 1..12),
    ]
}

fn descriptor(parts: &[(Option<u8>, Part)]) -> Vec<u8> {
    let mut bytes = vec![0x05, 0x01, 0x09, 0x04, 0xA1, 0x01];
    for (id, part) in parts {
        bytes.extend(id.iter().flat_map(|id| [0x85, *id]));
        bytes.extend(match *part {
            Part::Buttons { first, count } => {
                let last = u16::from(first) + u16::from(count) - 1;
                let [low, high] = last.to_le_bytes();
                let usages = [0x05, 0x09, 0x1A, first, 0, 0x2A, low, high];
                [usages.as_slice(), &[0x15, 0, 0x25, 1, 0x75, 1, 0x95, count, 0x81, 0x02]].concat()
            }
            Part::Array { first, slots } => {
                let [low, high] = (u16::from(first) + 15).to_le_bytes();
                let usages = [0x05, 0x09, 0x1A, first, 0, 0x2A, low, high];
                [usages.as_slice(), &[0x15, 1, 0x25, 16, 0x75, 8, 0x95, slots, 0x81, 0x40]].concat()
            }
            Part::Axis { bits } => {
                vec![0x05, 0x01, 0x09, 0x30, 0x15, 0x81, 0x25, 0x7F, 0x75, bits, 0x95, 1, 0x81, 0x02]
            }
            Part::Padding { bits } => vec![0x75, bits, 0x95, 1, 0x81, 0x03],
        });
    }
    bytes.push(0xC0);
    bytes
}

/// The usages of the buttons that hidreport finds pressed, in the order of the fields.
fn oracle(descriptor: &ReportDescriptor, report: &[u8]) -> Vec<u16> {
    let mut pressed = Vec::new();
    for field in descriptor.find_input_report(report).unwrap().fields() {
        match field {
            Field::Variable(variable) => {
                let button = u16::from(variable.usage.usage_page) == 9;
                if button && u32::from(variable.extract(report).unwrap()) != 0 {
                    pressed.push(u16::from(variable.usage.usage_id));
                }
            }
            Field::Array(array) => {
                let slots = array.extract(report).unwrap();
                pressed.extend(slots.iter().filter_map(|slot| {
                    let index = usize::try_from(u32::from(slot)).unwrap().checked_sub(1)?;
                    array.usages().get(index).map(|usage| u16::from(usage.usage_id))
                }));
            }
            _ => {}
        }
    }
    pressed.retain(|number| *number <= 128);
    pressed.sort_unstable();
    pressed.dedup();
    pressed
}

/// Whether any usage stands there twice, in which case numbers differ from usages by design.
fn has_duplicates(parts: &[(Option<u8>, Part)]) -> bool {
    let mut seen = [false; 512];
    parts.iter().any(|(_, part)| match *part {
        Part::Buttons { first, count: length } | Part::Array { first, slots: length } => {
            let length = if matches!(part, Part::Array { .. }) { 16 } else { length };
            (0..usize::from(length)).any(|i| std::mem::replace(&mut seen[usize::from(first) + i], true))
        }
        _ => false,
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn the_same_buttons_are_pressed(
        parts in parts().prop_filter("no usage twice", |parts| !has_duplicates(parts)),
        noise in prop::collection::vec(any::<u8>(), 80),
    ) {
        let descriptor = descriptor(&parts);
        let theirs = ReportDescriptor::try_from(descriptor.as_slice()).unwrap();
        let ours = Layout::from_descriptor(&descriptor).unwrap();
        for report in theirs.input_reports() {
            let mut bytes = noise.clone();
            if let Some(id) = report.report_id() {
                bytes[0] = u8::from(id);
            }
            bytes.truncate(report.size_in_bytes());
            let ours: Vec<u16> = pressed(&ours, &bytes).into_iter().map(u16::from).collect();
            prop_assert_eq!(ours, oracle(&theirs, &bytes));
        }
    }
}
