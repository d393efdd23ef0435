//! What holds for every trim, whatever is counted.
#![allow(clippy::unwrap_used, reason = "helpers of tests may stop at the first surprise")]

mod common;

use approx::assert_abs_diff_eq;
use common::{any_config, any_counts, any_place, hand_counts};
use proptest::prelude::*;
use tallywheel_accumulator::{Accumulator, Place, Stop, TrimConfig};
use tallywheel_units::{AxisValue, Counts, Degrees, FixedCounts, Normalized, StopStyle};

/// The accumulator as its documentation says, in 128 bits and without its code.
struct Model {
    config: TrimConfig,
    position: i128,
}

impl Model {
    fn new(config: TrimConfig, at: FixedCounts) -> Self {
        Self { config, position: i128::from(at.raw()) }
    }

    fn travel(&self) -> i128 {
        i128::from(self.config.travel_counts().raw())
    }

    fn visible(&self) -> i128 {
        self.position.clamp(0, self.travel())
    }

    fn count(&mut self, counts: Counts) {
        let step = i128::from(counts.get()) << FixedCounts::FRACTION_BITS;
        self.position += if self.config.reversed() { -step } else { step };
        if self.config.stops() == StopStyle::Slip {
            self.position = self.visible();
        }
    }

    /// `32767 * distance / side`, rounded half away from zero.
    fn axis(&self) -> i128 {
        let neutral = i128::from(self.config.neutral_counts().raw());
        let distance = self.visible() - neutral;
        let side = if distance < 0 { neutral } else { self.travel() - neutral };
        if distance == 0 { 0 } else { (2 * 32767 * distance.abs() + side) / (2 * side) * distance.signum() }
    }
}

proptest! {
    #[test]
    fn every_reading_is_in_its_ranges(
        config in any_config(),
        start in any_place(),
        steps in prop::collection::vec(any_counts(), 0..60),
    ) {
        let mut trim = Accumulator::new(config, start);
        for counts in steps {
            trim.count(counts);
            let reading = trim.reading();
            prop_assert!(reading.position >= FixedCounts::ZERO && reading.position <= config.travel_counts());
            prop_assert!(reading.degrees >= Degrees::ZERO && reading.degrees <= config.travel());
            prop_assert!(reading.normalized >= Normalized::MIN && reading.normalized <= Normalized::MAX);
            prop_assert!(reading.axis >= AxisValue::MIN && reading.axis <= AxisValue::MAX);
            prop_assert!(reading.margin.is_certain());
            let stop = if reading.position == FixedCounts::ZERO {
                Some(Stop::Low)
            } else if reading.position == config.travel_counts() {
                Some(Stop::High)
            } else {
                None
            };
            prop_assert_eq!(reading.at_stop, stop);
        }
    }

    #[test]
    fn it_does_what_its_documentation_says(
        config in any_config(),
        start in any_place(),
        steps in prop::collection::vec(hand_counts(), 0..60),
    ) {
        let mut trim = Accumulator::new(config, start);
        let mut model = Model::new(config, trim.reading().position);
        for counts in steps {
            trim.count(counts);
            model.count(counts);
            let reading = trim.reading();
            prop_assert_eq!(i128::from(reading.position.raw()), model.visible());
            prop_assert_eq!(i128::from(trim.overshoot().raw()), model.position - model.visible());
            prop_assert_eq!(i128::from(reading.axis.get()), model.axis());
        }
    }

    #[test]
    fn what_was_counted_is_what_moved_and_what_was_refused(
        config in any_config(),
        start in any_place(),
        steps in prop::collection::vec(any_counts(), 0..60),
    ) {
        let mut trim = Accumulator::new(config, start);
        for counts in steps {
            let before = trim.reading().position;
            let applied = trim.count(counts);
            let given = i128::from(FixedCounts::from_counts(counts).raw());
            prop_assert_eq!(i128::from(applied.moved.raw()) + i128::from(applied.refused.raw()), given);
            // Neither part is more than was given, and none goes the other way.
            for part in [applied.moved, applied.refused] {
                prop_assert!(i128::from(part.raw()) * given >= 0 && i128::from(part.raw()).abs() <= given.abs());
            }
            let moved = if config.reversed() { -applied.moved } else { applied.moved };
            prop_assert_eq!(trim.reading().position, before + moved);
        }
    }

    #[test]
    fn further_up_never_reads_less(config in any_config(), a in 0.0..=1.0f64, b in 0.0..=1.0f64) {
        let at = |part: f64| {
            let place = Degrees::new(config.travel().get() * part).unwrap();
            Accumulator::new(config, Place::At(place)).reading()
        };
        let (low, high) = if a <= b { (at(a), at(b)) } else { (at(b), at(a)) };
        prop_assert!(low.position <= high.position);
        prop_assert!(low.degrees <= high.degrees);
        prop_assert!(low.normalized <= high.normalized);
        prop_assert!(low.axis <= high.axis);
    }

    /// The smallest step there is, next to the places where the formulas change sides.
    #[test]
    fn a_millionth_of_a_count_up_never_reads_less(config in any_config(), up in 0..3i64, place in 0..3usize) {
        let from = [FixedCounts::ZERO, config.neutral_counts(), config.travel_counts()][place];
        let at = |raw: i64| {
            let position = FixedCounts::from_raw(raw.clamp(0, config.travel_counts().raw()));
            let reading = Accumulator::new(config, Place::At(position.to_degrees(config.per_turn()))).reading();
            (reading.position, reading.degrees, reading.normalized, reading.axis)
        };
        let (below, above) = (at(from.raw() - up), at(from.raw() + up));
        prop_assert!(below.0 <= above.0 && below.1 <= above.1 && below.2 <= above.2 && below.3 <= above.3);
    }

    #[test]
    fn the_ends_and_neutral_are_exact(config in any_config(), start in any_place()) {
        let mut trim = Accumulator::new(config, start);
        let wind = if config.reversed() { -2_000_000_000 } else { 2_000_000_000 };
        let (at_low, at_high) = (config.neutral() == Degrees::ZERO, config.neutral() == config.travel());

        trim.count(Counts::new(wind));
        let high = trim.reading();
        prop_assert_eq!(high.at_stop, Some(Stop::High));
        prop_assert_eq!(high.degrees, config.travel());
        prop_assert_eq!(high.axis, if at_high { AxisValue::NEUTRAL } else { AxisValue::MAX });
        prop_assert_eq!(high.normalized, if at_high { Normalized::NEUTRAL } else { Normalized::MAX });

        trim.count(Counts::new(-2 * wind));
        let low = trim.reading();
        prop_assert_eq!(low.at_stop, Some(Stop::Low));
        prop_assert_eq!(low.degrees, Degrees::ZERO);
        prop_assert_eq!(low.axis, if at_low { AxisValue::NEUTRAL } else { AxisValue::MIN });
        prop_assert_eq!(low.normalized, if at_low { Normalized::NEUTRAL } else { Normalized::MIN });

        trim.align(Place::Neutral);
        let neutral = trim.reading();
        prop_assert_eq!(neutral.degrees, config.neutral());
        prop_assert_eq!(neutral.axis, AxisValue::NEUTRAL);
        prop_assert_eq!(neutral.normalized, Normalized::NEUTRAL);
    }

    /// Any walk that stays between the stops and ends where it began, however long, reads the same again.
    #[test]
    fn there_and_back_is_the_same_number(
        config in any_config(),
        start in any_place(),
        steps in prop::collection::vec(hand_counts(), 0..60),
    ) {
        let mut trim = Accumulator::new(config, start);
        let begin = trim.reading();
        let mut sum = Counts::ZERO;
        for counts in steps {
            let mut tried = trim;
            if tried.count(counts).refused == FixedCounts::ZERO {
                trim = tried;
                sum += counts;
            }
        }
        prop_assert_eq!(trim.count(-sum).refused, FixedCounts::ZERO);
        prop_assert_eq!(trim.reading(), begin);
    }

    /// With stops that remember it holds for every walk.
    #[test]
    fn stops_that_remember_forget_nothing(
        config in any_config().prop_filter("remember", |c| c.stops() == StopStyle::Remember),
        start in any_place(),
        steps in prop::collection::vec(hand_counts(), 0..60),
    ) {
        let mut trim = Accumulator::new(config, start);
        let begin = trim.reading();
        let mut sum = Counts::ZERO;
        for counts in steps {
            trim.count(counts);
            sum += counts;
        }
        trim.count(-sum);
        prop_assert_eq!(trim.reading(), begin);
    }

    /// However the counts are cut up, the trim ends in the same place.
    #[test]
    fn counts_add_up(config in any_config(), start in any_place(), one_way in prop::collection::vec(0..50i64, 0..40)) {
        let mut singly = Accumulator::new(config, start);
        let mut at_once = singly;
        for counts in &one_way {
            singly.count(Counts::new(*counts));
        }
        at_once.count(Counts::new(one_way.iter().sum()));
        prop_assert_eq!(singly, at_once);
    }

    #[test]
    fn a_reversed_trim_takes_counts_the_other_way(
        config in any_config(),
        start in any_place(),
        steps in prop::collection::vec(hand_counts(), 0..60),
    ) {
        let reversed = TrimConfig::new(
            config.per_turn(), config.travel(), config.neutral(), config.stops(), !config.reversed(),
        ).unwrap();
        let mut one = Accumulator::new(config, start);
        let mut other = Accumulator::new(reversed, start);
        for counts in steps {
            let (applied, mirrored) = (one.count(counts), other.count(-counts));
            prop_assert_eq!(applied.moved, -mirrored.moved);
            prop_assert_eq!(applied.refused, -mirrored.refused);
            prop_assert_eq!(one.reading(), other.reading());
        }
    }

    /// Turning the travel round about neutral turns the axis round exactly: rounding favours no side. One count
    /// a degree keeps neutral exact from both ends.
    #[test]
    fn both_sides_are_mirror_images(travel in 1..5_000u32, neutral in 0.0..=1.0f64, position in 0.0..=1.0f64) {
        let neutral = (f64::from(travel) * neutral).round();
        let position = (f64::from(travel) * position).round();
        let at = |neutral: f64, position: f64| {
            Accumulator::new(common::slip(360, f64::from(travel), neutral), Place::At(common::degrees(position)))
                .reading()
        };
        let (one, other) = (at(neutral, position), at(f64::from(travel) - neutral, f64::from(travel) - position));
        prop_assert_eq!(one.axis.get(), -other.axis.get());
        prop_assert_eq!(one.normalized.get(), -other.normalized.get());
    }

    /// The straight line through the ends and neutral, in floats and degrees.
    #[test]
    fn values_lie_on_the_line(config in any_config(), part in 0.0..=1.0f64) {
        let place = config.travel().get() * part;
        let reading = Accumulator::new(config, Place::At(Degrees::new(place).unwrap())).reading();
        let distance = place - config.neutral().get();
        let side = if distance < 0.0 { config.neutral().get() } else { config.travel().get() - config.neutral().get() };
        let line = if side == 0.0 { 0.0 } else { distance / side };
        // Travel, neutral and position are each rounded to 2^-20 count.
        let rounding = 2.0 * 360.0 / f64::from(config.per_turn().get()) / 1_048_576.0;
        assert_abs_diff_eq!(reading.degrees.get(), place, epsilon = rounding);
        assert_abs_diff_eq!(reading.normalized.get(), line, epsilon = 1e-9 + 2.0 * rounding / side.max(rounding));
        assert_abs_diff_eq!(
            f64::from(reading.axis.get()), reading.normalized.get() * 32767.0, epsilon = 0.5 + 1e-9
        );
    }

    /// Saved degrees bring a trim back to the very same number.
    #[test]
    fn saved_degrees_restore_the_position(
        config in any_config(),
        start in any_place(),
        counts in hand_counts(),
    ) {
        let mut trim = Accumulator::new(config, start);
        trim.count(counts);
        let saved = trim.reading();
        let restored = Accumulator::new(config, Place::At(saved.degrees));
        prop_assert_eq!(restored.reading(), saved);
    }
}

#[test]
fn a_stop_that_slips_lets_go_at_once() {
    let mut trim = Accumulator::new(common::slip(96, 580.0, 320.0), Place::High);
    let past = trim.count(Counts::new(1_000));
    assert_eq!((past.moved, past.refused), (FixedCounts::ZERO, common::counts(1_000)));
    let back = trim.count(Counts::new(-1));
    assert_eq!((back.moved, back.refused), (common::counts(-1), FixedCounts::ZERO));
    assert_eq!(trim.overshoot(), FixedCounts::ZERO);
}

#[test]
fn a_stop_that_remembers_must_be_wound_back_first() {
    let config = common::remember(96, 580.0, 320.0);
    let mut trim = Accumulator::new(config, Place::High);
    trim.count(Counts::new(1_000));
    assert_eq!(trim.overshoot(), common::counts(1_000));
    let back = trim.count(Counts::new(-999));
    assert_eq!((back.moved, back.refused), (FixedCounts::ZERO, common::counts(-999)));
    let over = trim.count(Counts::new(-3));
    assert_eq!((over.moved, over.refused), (common::counts(-2), common::counts(-1)));
    assert_eq!(trim.reading().position, config.travel_counts() - common::counts(2));
}

/// Neutral at a stop: that end is 0 and the range goes to one side only.
#[test]
fn neutral_at_a_stop_leaves_one_side() {
    for (neutral, range) in [(0.0, [0, 16_384, 32_767]), (100.0, [-32_767, -16_384, 0])] {
        let at = |place| {
            Accumulator::new(common::slip(360, 100.0, neutral), Place::At(common::degrees(place)))
                .reading()
                .axis
                .get()
        };
        assert_eq!([at(0.0), at(50.0), at(100.0)], range, "neutral at {neutral}");
    }
}
