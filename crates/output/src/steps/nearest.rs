//! Which of the simulator's steps lies nearest to a position.

use tallywheel_units::{AxisValue, Normalized};

/// Axis units from stop to stop.
const AXIS_SPAN: i32 = 65_534;

/// The step nearest to `axis`, 0 at the low stop to `presses` at the high stop:
/// (axis + 32767) x presses / 65534, to the nearest whole number, in integers. Half way between two steps it is
/// the one farther from neutral; at neutral itself, which lies half way when `presses` is odd, the upper one.
pub(super) fn of_axis(axis: AxisValue, presses: u16) -> i32 {
    // Twice the distance from the middle step in units of 1/AXIS_SPAN step; at most 65,534 x 10,000.
    let presses = i32::from(presses);
    let up = axis.get() + AxisValue::MAX.get();
    let product = up * presses;
    let (below, rest) = (product.div_euclid(AXIS_SPAN), product.rem_euclid(AXIS_SPAN));
    let half = AXIS_SPAN / 2;
    let upper = rest > half || (rest == half && axis >= AxisValue::NEUTRAL);
    if upper { below + 1 } else { below }
}

/// The step nearest to what a simulator says of its own trim.
#[expect(
    clippy::as_conversions,
    reason = "float to integer has no From; the value lies between 0 and 10,000"
)]
pub(super) fn of_report(value: Normalized, presses: u16) -> i32 {
    ((value.get() + 1.0) / 2.0 * f64::from(presses)).round() as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(axis: i64, presses: u16) -> i32 {
        of_axis(AxisValue::clamped(axis), presses)
    }

    #[test]
    fn stops_and_neutral_are_exact() {
        for presses in [1, 2, 3, 99, 100, 199, 200, 9_999, 10_000] {
            assert_eq!(step(-32_767, presses), 0);
            assert_eq!(step(32_767, presses), i32::from(presses));
            assert_eq!(step(0, presses), i32::from(presses).midpoint(1), "{presses}");
        }
    }

    #[test]
    fn halves_go_away_from_neutral_on_both_sides_alike() {
        // With 14 presses a step is 4,681 axis units, so its half is no whole number; with 2 it is 32,767.
        assert_eq!([-16_384, -16_383, 0, 16_383, 16_384].map(|axis| step(axis, 2)), [0, 1, 1, 1, 2]);
        // 98 = 2 x 7 x 7 and 65,534 = 2 x 7 x 31 x 151: steps of 668.7 units have halves that are whole.
        for presses in 1..=400_u16 {
            let whole = i32::from(presses);
            for axis in (1..=32_767_i64).step_by(7) {
                assert_eq!(step(-axis, presses), whole - step(axis, presses), "{axis} of {presses}");
            }
        }
    }

    /// Against the definition in exact rational arithmetic: no step is nearer, and of two as near it is the
    /// one farther from neutral.
    #[test]
    fn no_step_is_nearer() {
        for presses in [1_u16, 2, 3, 7, 62, 151, 200, 333, 9_362, 10_000] {
            for axis in (-32_767..=32_767_i64).step_by(11).chain([-32_767, -1, 0, 1, 32_767]) {
                let whole = i64::from(presses);
                // All in units of 1/65,534 step.
                let exact = (axis + 32_767) * whole;
                let found = i64::from(step(axis, presses));
                let off = |step: i64| (step * 65_534 - exact).abs();
                let nearest = (found - 1..=found + 1).map(off).min().unwrap();
                assert_eq!(off(found), nearest, "{axis} of {presses}");
                let outward = if axis >= 0 { found + 1 } else { found - 1 };
                assert!(off(outward) > nearest, "{axis} of {presses}: a tie goes outward");
            }
        }
    }

    #[test]
    fn every_step_that_a_simulator_reports_is_recognised() {
        for presses in [1_u16, 2, 67, 200, 10_000] {
            for step in 0..=presses {
                let exact = f64::from(step) * 2.0 / f64::from(presses) - 1.0;
                assert_eq!(of_report(Normalized::clamped(exact), presses), i32::from(step));
                // Many simulators keep it in 32 bits.
                #[expect(clippy::as_conversions, reason = "as a simulator does")]
                let short = f64::from(exact as f32);
                assert_eq!(of_report(Normalized::clamped(short), presses), i32::from(step));
            }
        }
    }
}
