//! A change of configuration at run time: degrees are kept, nothing jumps.
#![allow(clippy::unwrap_used, reason = "helpers of tests may stop at the first surprise")]

mod common;

use common::{any_config, any_place, counts, degrees, hand_counts, remember, slip};
use expect_test::expect;
use proptest::prelude::*;
use tallywheel_accumulator::{Accumulator, Place, TrimConfig};
use tallywheel_units::{Counts, Degrees, FixedCounts, Margin, StopStyle};

/// What an angle loses by being rounded to 2^-20 count of either wheel.
fn rounding(a: &TrimConfig, b: &TrimConfig) -> f64 {
    [a, b].iter().map(|c| 360.0 / f64::from(c.per_turn().get()) / 1_048_576.0).sum()
}

/// A trim that has been used for a while.
fn used_trim() -> impl Strategy<Value = Accumulator> {
    let steps = prop::collection::vec((hand_counts(), 0..5i64, 0..5i64), 0..10);
    (any_config(), any_place(), steps).prop_map(|(config, start, steps)| {
        let mut trim = Accumulator::new(config, start);
        for (by, low, high) in steps {
            trim.count(by);
            trim.lose(Margin::new(Counts::new(low), Counts::new(high)));
        }
        trim
    })
}

proptest! {
    #[test]
    fn degrees_are_kept_and_clamped(trim in used_trim(), config in any_config()) {
        let mut changed = trim;
        let change = changed.reconfigure(config);
        prop_assert_eq!(change.before, trim.reading());
        prop_assert_eq!(change.after, changed.reading());
        prop_assert_eq!(changed.config(), &config);
        let kept = change.before.degrees.get().min(config.travel().get());
        prop_assert!((change.after.degrees.get() - kept).abs() <= rounding(trim.config(), &config));
    }

    /// Saving a file without a change in it must do nothing at all, also to what is wound past a stop.
    #[test]
    fn the_same_configuration_changes_nothing(trim in used_trim()) {
        let mut changed = trim;
        let change = changed.reconfigure(*trim.config());
        prop_assert_eq!(changed, trim);
        prop_assert!(!change.is_visible());
    }

    /// A finer wheel and back: the place is the same to a millionth of a count, so nobody sees a change.
    #[test]
    fn another_wheel_is_no_visible_change(trim in used_trim(), per_turn in common::any_per_turn()) {
        let from = *trim.config();
        let to = TrimConfig::new(per_turn, from.travel(), from.neutral(), from.stops(), from.reversed());
        // The travel may be less than a count of a coarser wheel.
        let Ok(to) = to else { return Ok(()) };
        let mut changed = trim;
        let there = changed.reconfigure(to);
        prop_assert!(there.moved().get().abs() < 0.001, "{there}");
        let back = changed.reconfigure(from);
        prop_assert!(back.moved().get().abs() < 0.001, "{back}");
    }

    /// The true trim is reconfigured with the one that is kept, so the truth stays within the margin.
    #[test]
    fn the_margin_still_holds(
        config in any_config(),
        start in any_place(),
        lost in -40..=40i64,
        before in hand_counts(),
        to in any_config(),
        after in hand_counts(),
    ) {
        let mut trim = Accumulator::new(config, start);
        let mut truth = trim;
        truth.count(Counts::new(lost));
        trim.lose(Margin::new(Counts::new(lost.min(0)), Counts::new(lost.max(0))));
        for each in [&mut trim, &mut truth] {
            each.count(before);
            each.reconfigure(to);
            each.count(after);
        }
        let (reading, truth) = (trim.reading(), truth.reading());
        let (low, high) = (FixedCounts::from_counts(reading.margin.low()), FixedCounts::from_counts(reading.margin.high()));
        prop_assert!(reading.position - low <= truth.position && truth.position <= reading.position + high);
    }

    /// Reconfigured in any way, a trim is what a new one at that place would be: later counts do the same.
    #[test]
    fn a_reconfigured_trim_counts_like_a_new_one(
        trim in used_trim(),
        config in any_config(),
        steps in prop::collection::vec(hand_counts(), 0..20),
    ) {
        let mut changed = trim;
        let change = changed.reconfigure(config);
        // What is wound past a stop a new one would not have.
        if changed.overshoot() != FixedCounts::ZERO {
            return Ok(());
        }
        let mut new = Accumulator::new(config, Place::At(change.after.degrees));
        for by in steps {
            prop_assert_eq!(changed.count(by), new.count(by));
            prop_assert_eq!(changed.reading().position, new.reading().position);
        }
    }
}

#[test]
fn a_shorter_travel_takes_the_trim_to_its_stop() {
    let mut trim = Accumulator::new(slip(96, 580.0, 290.0), Place::At(degrees(500.0)));
    let change = trim.reconfigure(slip(96, 360.0, 180.0));
    assert!(change.is_visible());
    expect!["500.0\u{b0} to 360.0\u{b0}, axis 23728 to 32767"].assert_eq(&change.to_string());
}

#[test]
fn a_longer_travel_moves_the_axis_only() {
    let mut trim = Accumulator::new(slip(96, 360.0, 180.0), Place::High);
    let change = trim.reconfigure(slip(96, 580.0, 290.0));
    assert_eq!(change.moved(), Degrees::ZERO);
    assert!(change.is_visible());
    expect!["360.0\u{b0} to 360.0\u{b0}, axis 32767 to 7909"].assert_eq(&change.to_string());
}

#[test]
fn what_is_wound_past_a_stop_stays_wound_at_that_stop_only() {
    let wound = || {
        let mut trim = Accumulator::new(remember(96, 580.0, 320.0), Place::High);
        trim.count(Counts::new(10));
        trim
    };
    // Another neutral: still at the stop, still wound. The same in other counts on a finer wheel.
    let mut trim = wound();
    trim.reconfigure(remember(96, 580.0, 300.0));
    assert_eq!(trim.overshoot(), counts(10));
    trim.reconfigure(remember(384, 580.0, 300.0));
    assert_eq!(trim.overshoot(), counts(40));
    // The stop comes nearer: the trim goes with it.
    let mut trim = wound();
    trim.reconfigure(remember(96, 360.0, 180.0));
    assert_eq!((trim.reading().degrees, trim.overshoot()), (degrees(360.0), counts(10)));
    // The stop goes away: the trim stays where it was and nothing is left to wind back.
    let mut trim = wound();
    let change = trim.reconfigure(remember(96, 720.0, 360.0));
    assert_eq!((change.moved().get().abs() < 0.001, trim.overshoot()), (true, FixedCounts::ZERO));
    // The same below the low stop, which never goes away.
    let mut trim = Accumulator::new(remember(96, 580.0, 320.0), Place::Low);
    trim.count(Counts::new(-10));
    trim.reconfigure(remember(384, 360.0, 0.0));
    assert_eq!((trim.reading().degrees, trim.overshoot()), (Degrees::ZERO, counts(-40)));
    // Stops that slip know no overshoot.
    let mut trim = wound();
    trim.reconfigure(slip(96, 580.0, 320.0));
    assert_eq!(trim.overshoot(), FixedCounts::ZERO);
}

/// What is left of an unknown position may all lie above a stop that comes nearer: then that stop proves it.
#[test]
fn a_nearer_stop_proves_what_it_pushes() {
    let mut trim = Accumulator::new(slip(96, 580.0, 320.0), Place::Neutral);
    trim.lose(Margin::UNKNOWN);
    trim.count(Counts::new(100));
    assert_eq!(trim.reading().margin, Margin::UNKNOWN);
    trim.reconfigure(slip(96, 360.0, 180.0));
    assert_eq!(trim.reading().margin, Margin::CERTAIN);
}

/// An unknown position is unknown under any configuration, and only stops that slip can prove it.
#[test]
fn unknown_survives_a_change_of_stops() {
    let (slips, remembers) = (slip(96, 580.0, 320.0), remember(96, 580.0, 320.0));
    let mut trim = Accumulator::new(remembers, Place::Neutral);
    trim.lose(Margin::UNKNOWN);
    trim.count(Counts::new(1_000));
    trim.reconfigure(slips);
    // While it remembered, 1000 counts past the stop proved nothing; so the truth is anywhere in the travel.
    trim.count(Counts::new(-154));
    assert_eq!(trim.reading().margin, Margin::UNKNOWN);
    trim.count(Counts::new(-1));
    assert_eq!(trim.reading().margin, Margin::CERTAIN);

    let mut trim = Accumulator::new(slips, Place::Neutral);
    trim.lose(Margin::UNKNOWN);
    trim.reconfigure(remembers);
    trim.count(Counts::new(1_000));
    assert_eq!(trim.reading().margin, Margin::UNKNOWN);
}

#[test]
fn reversing_turns_later_counts_only() {
    let mut trim = Accumulator::new(slip(96, 580.0, 320.0), Place::Neutral);
    trim.count(Counts::new(10));
    let to =
        TrimConfig::new(common::per_turn(96), degrees(580.0), degrees(320.0), StopStyle::Slip, true).unwrap();
    assert!(!trim.reconfigure(to).is_visible());
    trim.count(Counts::new(10));
    assert_eq!(trim.reading().degrees, degrees(320.0));
}

#[test]
fn an_alignment_tells_how_far_it_moved_the_trim() {
    let mut trim = Accumulator::new(slip(96, 580.0, 320.0), Place::Low);
    let change = trim.align(Place::Neutral);
    assert_eq!(change.moved(), degrees(320.0));
    expect!["0.0\u{b0} to 320.0\u{b0}, axis -32767 to 0"].assert_eq(&change.to_string());
    assert!(!trim.align(Place::Neutral).is_visible());
}
