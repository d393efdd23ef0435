//! Trims as they are built, and a model from outside the project.
#![allow(clippy::unwrap_used, reason = "helpers of tests may stop at the first surprise")]

mod common;

use approx::assert_abs_diff_eq;
use common::{counts, slip};
use proptest::prelude::*;
use tallywheel_accumulator::{Accumulator, Place};
use tallywheel_units::{AxisValue, Counts, FixedCounts, Ratio};

/// Common practice, no source.
#[test]
fn the_common_travels_on_the_common_encoder() {
    // (counts a turn, travel in degrees, travel in counts, axis steps a count)
    let table = [
        (24, 635.0, 42.0 + 1.0 / 3.0, 1_548.047),
        (96, 635.0, 169.0 + 1.0 / 3.0, 387.012),
        (24, 360.0, 24.0, 2_730.583),
        (96, 360.0, 96.0, 682.646),
    ];
    for (per_turn, travel, in_counts, steps) in table {
        let config = slip(per_turn, travel, travel / 2.0);
        assert_abs_diff_eq!(config.travel_counts().to_f64(), in_counts, epsilon = 1e-6);
        let mut trim = Accumulator::new(config, Place::Neutral);
        trim.count(Counts::new(5));
        assert_abs_diff_eq!(f64::from(trim.reading().axis.get()), 5.0 * steps, epsilon = 0.51);
    }
}

/// Common practice, no source.
#[test]
fn wound_fully_to_one_side_and_counted_back() {
    for (per_turn, travel) in [(24, 635.0), (96, 635.0), (24, 360.0), (96, 360.0)] {
        let config = slip(per_turn, travel, travel / 2.0);
        let mut trim = Accumulator::new(config, Place::Neutral);
        // Two turns more than there is room for, as a user would.
        trim.count(Counts::new(i64::from(per_turn) * 4));
        assert_eq!(trim.reading().axis, AxisValue::MAX);
        // The whole counts that the travel has, back: what is left is the travel's fraction of a count.
        let whole = config.travel_counts().raw() >> FixedCounts::FRACTION_BITS;
        trim.count(Counts::new(-whole));
        assert_eq!(trim.reading().position, config.travel_counts() - counts(whole));
        assert_abs_diff_eq!(
            trim.reading().position.to_f64(),
            (travel / 360.0 * f64::from(per_turn)).fract(),
            epsilon = 1e-6
        );
        // One more reaches the low stop, exactly.
        trim.count(Counts::new(-1));
        assert_eq!(trim.reading().axis, AxisValue::MIN);
        assert_eq!(trim.reading().position, FixedCounts::ZERO);
    }
}

/// Common practice, no source: two travels of one trim, and a switch between them.
#[test]
fn a_switch_between_the_two_travels() {
    let direct = slip(96, 360.0, 180.0);
    let slow = direct.with_ratio(Ratio::new(360.0 / 635.0).unwrap()).unwrap();
    assert_eq!(slow.travel_counts().to_string(), "169.333");
    let mut trim = Accumulator::new(direct, Place::At(common::degrees(270.0)));
    assert!(!trim.reconfigure(slow).is_visible());
    trim.count(Counts::new(-24));
    // A quarter of a turn of the wheel is 0.567 of that at the trim.
    assert_abs_diff_eq!(trim.reading().degrees.get(), 270.0 - 90.0 * 0.567, epsilon = 0.01);
}

/// Linux kernel, `Documentation/input/devices/rotary-encoder.rst` and `drivers/input/misc/rotary_encoder.c`: an
/// absolute axis without rollover goes from 0 to `steps`; a step past either end changes nothing, and the next
/// step back counts at once. The device tree binding's default is 24 steps.
struct KernelEncoder {
    steps: u32,
    position: u32,
}

impl KernelEncoder {
    fn step(&mut self, clockwise: bool) {
        self.position =
            if clockwise { self.steps.min(self.position + 1) } else { self.position.saturating_sub(1) };
    }
}

proptest! {
    #[test]
    fn stops_that_slip_are_the_kernels(
        steps in prop_oneof![Just(24u32), 1..200u32],
        start in 0.0..=1.0f64,
        turns in prop::collection::vec((any::<bool>(), 0..40u32), 0..60),
    ) {
        let position = (f64::from(steps) * start).round();
        // One count a degree, so that the travel is `steps` counts.
        let config = slip(360, f64::from(steps), 0.0);
        let mut trim = Accumulator::new(config, Place::At(common::degrees(position)));
        let mut kernel = KernelEncoder { steps, position: 0 };
        while f64::from(kernel.position) < position {
            kernel.step(true);
        }
        for (clockwise, count) in turns {
            for _ in 0..count {
                kernel.step(clockwise);
                trim.count(if clockwise { Counts::ONE } else { -Counts::ONE });
                prop_assert_eq!(trim.reading().position, counts(i64::from(kernel.position)));
            }
        }
    }
}
