//! What is put into a report bit by bit is read back.

use super::*;
use proptest::prelude::*;

/// Runs that do not contradict each other: numbers in order, bits in order, with gaps.
fn runs() -> impl Strategy<Value = Vec<ButtonRun>> {
    let steps = prop::collection::vec((0..4_u8, 1..60_u8, 0..200_u32), 1..8);
    (steps, prop::option::of(1..=255_u8)).prop_map(|(steps, report_id)| {
        let (mut number, mut bit) = (1_u8, 8);
        let mut runs = Vec::new();
        for (skipped, buttons, gap) in steps {
            number = number.saturating_add(skipped);
            bit += gap;
            let Some(first_button) = ButtonNumber::new(number) else { break };
            let buttons = buttons.min(129 - number);
            runs.push(ButtonRun { report_id, first_bit: bit, first_button, buttons });
            number += buttons;
            bit += u32::from(buttons);
        }
        runs
    })
}

proptest! {
    #[test]
    fn every_button_is_where_its_run_says(runs in runs(), pressed_bits in any::<u128>(), noise in any::<u8>()) {
        let layout = Layout::from_runs(&runs).unwrap();
        let mut report = vec![noise; 300];
        report[0] = runs[0].report_id.unwrap_or(noise);
        let mut expected = 0;
        for run in &runs {
            for i in 0..run.buttons {
                let number = run.first_button.get() + i;
                let bit = usize::try_from(run.first_bit).unwrap() + usize::from(i);
                let set = pressed_bits >> (number - 1) & 1 == 1;
                report[bit / 8] = report[bit / 8] & !(1 << (bit % 8)) | u8::from(set) << (bit % 8);
                expected |= u128::from(set) << (number - 1);
            }
        }
        let mut state = Buttons::from_bits(!layout.buttons().bits());
        layout.apply(&report, &mut state).unwrap();
        prop_assert_eq!(state.bits(), expected | !layout.buttons().bits());
    }
}
