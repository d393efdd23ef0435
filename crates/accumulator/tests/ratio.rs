//! A ratio between the wheel in the hand and the aircraft's own.
#![allow(clippy::unwrap_used, reason = "helpers of tests may stop at the first surprise")]

mod common;

use common::{any_config, any_place, degrees, hand_counts, slip};
use proptest::prelude::*;
use tallywheel_accumulator::{Accumulator, ConfigError, Place, Stop, TrimConfig};
use tallywheel_units::{AxisValue, Counts, Degrees, FixedCounts, Ratio};

fn ratio(ratio: f64) -> Ratio {
    Ratio::new(ratio).unwrap()
}

fn any_ratio() -> impl Strategy<Value = Ratio> {
    prop_oneof![2 => prop::sample::select(vec![1.0, 0.5, 2.0, 0.7, 300.0 / 620.0]), 2 => 0.05..20.0f64, 1 => 0.01..=100.0f64]
        .prop_map(ratio)
}

/// Two ratios of one trim.
fn two_ratios() -> impl Strategy<Value = (TrimConfig, TrimConfig)> {
    (any_config(), any_ratio(), any_ratio())
        .prop_filter_map("no such ratio on this wheel", |(config, a, b)| {
            Some((config.with_ratio(a).ok()?, config.with_ratio(b).ok()?))
        })
}

/// What an angle loses by being rounded to 2^-20 count, in degrees of the trim.
fn rounding(config: &TrimConfig) -> f64 {
    360.0 / f64::from(config.per_turn().get()) / 1_048_576.0 * config.ratio().get()
}

proptest! {
    #[test]
    fn the_direct_ratio_changes_nothing(config in any_config()) {
        prop_assert_eq!(config.with_ratio(Ratio::DIRECT), Ok(config));
    }

    /// One degree of the wheel is `ratio` degrees of the trim.
    #[test]
    fn the_trim_goes_as_far_as_the_ratio_says((config, _) in two_ratios(), start in any_place(), by in hand_counts()) {
        let mut trim = Accumulator::new(config, start);
        let before = trim.reading().degrees.get();
        let moved = trim.count(by).moved;
        let moved = if config.reversed() { -moved } else { moved };
        let expected = moved.to_degrees(config.per_turn()).get() * config.ratio().get();
        let seen = trim.reading().degrees.get() - before;
        prop_assert!((seen - expected).abs() <= 3.0 * rounding(&config) + 1e-9, "{seen} {expected}");
    }

    #[test]
    fn ends_and_neutral_are_exact_in_every_ratio((config, _) in two_ratios()) {
        let at = |place| Accumulator::new(config, place).reading();
        prop_assert_eq!((at(Place::Low).degrees, at(Place::Low).at_stop), (Degrees::ZERO, Some(Stop::Low)));
        prop_assert_eq!((at(Place::Neutral).degrees, at(Place::Neutral).axis), (config.neutral(), AxisValue::NEUTRAL));
        prop_assert_eq!((at(Place::High).degrees, at(Place::High).at_stop), (config.travel(), Some(Stop::High)));
        // Winding from stop to stop takes the travel's counts and ends exactly there.
        let mut trim = Accumulator::new(config, Place::Low);
        let whole = config.travel_counts().raw() / FixedCounts::ONE.raw() + 1;
        trim.count(if config.reversed() { Counts::new(-whole) } else { Counts::new(whole) });
        prop_assert_eq!(trim.reading().degrees, config.travel());
    }

    #[test]
    fn there_and_back_is_the_same_number((config, _) in two_ratios(), start in any_place(), by in hand_counts()) {
        let mut trim = Accumulator::new(config, start);
        let before = trim.reading();
        if trim.count(by).refused == FixedCounts::ZERO {
            trim.count(-by);
            prop_assert_eq!(trim.reading(), before);
        }
    }

    #[test]
    fn saved_degrees_restore_the_position((config, _) in two_ratios(), start in any_place(), by in hand_counts()) {
        let mut trim = Accumulator::new(config, start);
        trim.count(by);
        let saved = trim.reading();
        prop_assert_eq!(Accumulator::new(config, Place::At(saved.degrees)).reading(), saved);
    }

    /// A switch moves nothing that anybody sees, and any number of switches no more than the first.
    #[test]
    fn a_switch_keeps_the_degrees((a, b) in two_ratios(), start in any_place(), by in hand_counts()) {
        let mut trim = Accumulator::new(a, start);
        trim.count(by);
        let before = trim.reading().degrees.get();
        let most = rounding(&a) + rounding(&b) + 1e-9;
        trim.reconfigure(b);
        let there = trim.reading();
        prop_assert!((there.degrees.get() - before).abs() <= most, "{before} {there:?}");
        trim.reconfigure(a);
        let back = trim.reading();
        prop_assert!((back.degrees.get() - before).abs() <= most, "{before} {back:?}");
        for _ in 0..10 {
            trim.reconfigure(b);
            trim.reconfigure(a);
        }
        prop_assert!((trim.reading().degrees.get() - before).abs() <= most, "{before} {:?}", trim.reading());
    }
}

/// The simulator shows a travel of 300 degrees, the real wheel turns 620: one switch for the user.
#[test]
fn one_file_for_two_travels() {
    let direct = slip(96, 300.0, 150.0);
    let slow = direct.with_ratio(ratio(300.0 / 620.0)).unwrap();
    // On 96 counts a turn 300 degrees are 80 counts, 620 are 165 and a third.
    assert_eq!(
        (direct.travel_counts().to_string(), slow.travel_counts().to_string()),
        ("80.000".into(), "165.333".into())
    );
    let mut trim = Accumulator::new(direct, Place::Neutral);
    trim.count(Counts::new(24));
    assert_eq!(trim.reading().degrees, degrees(240.0));
    let change = trim.reconfigure(slow);
    assert!(!change.is_visible(), "{change}");
    trim.count(Counts::new(-24));
    assert!(
        (trim.reading().degrees.get() - (240.0 - 90.0 * 300.0 / 620.0)).abs() < 0.001,
        "{:?}",
        trim.reading()
    );
}

#[test]
fn ratios_that_do_not_suit_the_wheel() {
    let config = slip(96, 90.0, 45.0);
    assert!(matches!(config.with_ratio(ratio(24.1)), Err(ConfigError::TravelTooShort { .. })));
    config.with_ratio(ratio(24.0)).unwrap();
    let config = slip(96, 36_000.0, 0.0);
    assert!(matches!(config.with_ratio(ratio(0.99)), Err(ConfigError::TravelTooLong { .. })));
    config.with_ratio(ratio(1.0)).unwrap();
}

/// What was wound past a stop is still so many degrees of the trim after a switch.
#[test]
fn an_overshoot_is_kept_in_degrees() {
    let config = common::remember(96, 360.0, 180.0);
    let mut trim = Accumulator::new(config, Place::High);
    trim.count(Counts::new(10));
    trim.reconfigure(config.with_ratio(ratio(0.5)).unwrap());
    assert_eq!(trim.overshoot(), common::counts(20));
}
