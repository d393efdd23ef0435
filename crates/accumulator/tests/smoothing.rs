//! What is shown between two counts.
#![allow(clippy::unwrap_used, reason = "helpers of tests may stop at the first surprise")]

mod common;

use common::counts;
use proptest::prelude::*;
use std::time::Duration;
use tallywheel_accumulator::Smoother;
use tallywheel_units::{FixedCounts, Timestamp};

const LONGEST: Duration = Duration::from_millis(100);

fn ms(ms: u64) -> Timestamp {
    Timestamp::from_micros(ms * 1_000)
}

/// Positions after pauses in microseconds, as a wheel gives them and as none does.
fn any_turning() -> impl Strategy<Value = Vec<(u64, i64)>> {
    let pause = prop_oneof![4 => 500..60_000u64, 1 => 0..=0u64, 1 => 60_000..3_000_000u64];
    let by = prop_oneof![4 => -(1i64 << 20)..=1i64 << 20, 1 => -200i64 << 20..200i64 << 20];
    prop::collection::vec((pause, by), 1..40)
}

proptest! {
    /// What is shown lies between the last two positions at any time, moves one way only until the next count,
    /// and is the position once the deadlines have run out.
    #[test]
    fn it_never_passes_the_position_nor_stays_behind(
        longest in 1..=500u64,
        turning in any_turning(),
        looks in prop::collection::vec(0.0..1.0f64, 5),
    ) {
        let longest = Duration::from_millis(longest);
        let (mut now, mut position) = (Timestamp::START, FixedCounts::ZERO);
        let mut shown = Smoother::new(longest, position);
        let mut interval = Duration::MAX;
        let mut counted: Option<Timestamp> = None;
        for (pause, by) in turning {
            // Looked at as the deadlines ask for it, up to the next count.
            let next = now.after(Duration::from_micros(pause));
            let (before, target) = (shown.at(now), position);
            let mut last = before;
            let mut steps = 0;
            let mut at = now;
            while let Some(deadline) = shown.deadline(at) {
                prop_assert!(deadline > at && deadline.since(at) <= Smoother::STEP);
                if deadline >= next {
                    break;
                }
                at = deadline;
                let here = shown.at(at);
                let (low, high) = if last <= target { (last, target) } else { (target, last) };
                prop_assert!(low <= here && here <= high, "{here} between {low} and {high}");
                last = here;
                steps += 1;
                prop_assert!(steps <= 126, "500 ms in steps of 4 ms");
            }
            for part in &looks {
                let moment = now.after(next.since(now).mul_f64(*part));
                let here = shown.at(moment);
                let (low, high) = if before <= target { (before, target) } else { (target, before) };
                prop_assert!(low <= here && here <= high);
                // One interval after a count, or the longest time, it has arrived.
                if moment.since(now) >= interval.min(longest) {
                    prop_assert_eq!(here, target);
                }
            }
            now = next;
            let was = position;
            position = position + FixedCounts::from_raw(by);
            shown.follow(now, position);
            if position != was {
                interval = counted.map_or(Duration::MAX, |counted| now.since(counted));
                counted = Some(now);
                let here = shown.at(now);
                let (low, high) = if was <= position { (was, position) } else { (position, was) };
                prop_assert!(low <= here && here <= high, "at most one count behind");
            }
        }
        let end = now.after(longest);
        prop_assert_eq!(shown.at(end), position);
        prop_assert_eq!(shown.deadline(end), None);
    }

    /// In a steady turn it arrives just when the next count comes, so it moves at the wheel's own speed.
    #[test]
    fn a_steady_turn_is_a_straight_line(interval in 2_000..100_000u64, parts in prop::collection::vec(0.0..1.0f64, 5)) {
        let mut shown = Smoother::new(Duration::from_millis(100), FixedCounts::ZERO);
        for n in 0..5u64 {
            let now = Timestamp::from_micros(n * interval);
            shown.follow(now, counts(i64::try_from(n).unwrap() + 1));
            if n == 0 {
                continue;
            }
            for part in &parts {
                let moment = now.after(Duration::from_micros(interval).mul_f64(*part));
                let expected = f64::from(u32::try_from(n).unwrap()) + part;
                let here = shown.at(moment).to_f64();
                prop_assert!((here - expected).abs() < 1e-3, "{here} {expected}");
            }
        }
    }
}

/// The table in the documentation, row by row.
#[test]
fn every_row_of_the_table() {
    let mut shown = Smoother::new(LONGEST, counts(5));
    assert_eq!((shown.at(ms(0)), shown.deadline(ms(0))), (counts(5), None));
    // The same position, at rest.
    shown.follow(ms(1), counts(5));
    assert_eq!((shown.at(ms(1)), shown.deadline(ms(1))), (counts(5), None));
    // A new one, at rest: the longest time, in steps.
    shown.follow(ms(10), counts(6));
    assert_eq!((shown.at(ms(10)), shown.deadline(ms(10))), (counts(5), Some(ms(14))));
    assert_eq!((shown.at(ms(60)).to_f64(), shown.deadline(ms(60))), (5.5, Some(ms(62))));
    // The same position, on its way: as if nothing had been said.
    let before = shown;
    shown.follow(ms(60), counts(6));
    assert_eq!(shown, before);
    // A new one, on its way: from the old position, which is nearer, for as long as the last interval was.
    shown.follow(ms(60), counts(7));
    assert_eq!((shown.at(ms(60)), shown.deadline(ms(60))), (counts(6), Some(ms(64))));
    assert_eq!(shown.at(ms(85)).to_f64(), 6.5);
    // Back, on its way: from where it is.
    shown.follow(ms(85), counts(6));
    assert_eq!(shown.at(ms(85)).to_f64(), 6.5);
    // The end of a glide.
    assert_eq!((shown.at(ms(110)), shown.deadline(ms(110))), (counts(6), None));
    assert_eq!(shown.deadline(ms(109)), Some(ms(110)));
    // Put somewhere else.
    shown.follow(ms(200), counts(7));
    shown.jump(counts(90));
    assert_eq!((shown.at(ms(200)), shown.deadline(ms(200))), (counts(90), None));
    // The jump is no count: the next takes the longest time.
    shown.follow(ms(201), counts(91));
    assert_eq!(shown.at(ms(251)).to_f64(), 90.5);
}

#[test]
fn numbers_that_no_wheel_makes() {
    let mut shown = Smoother::new(LONGEST, FixedCounts::from_raw(i64::MIN));
    shown.follow(ms(0), FixedCounts::from_raw(i64::MAX));
    assert!(shown.at(ms(50)).raw().abs() <= 1);
    assert_eq!(shown.at(Timestamp::from_nanos(u64::MAX)), FixedCounts::from_raw(i64::MAX));
    shown.follow(Timestamp::from_nanos(u64::MAX), FixedCounts::ZERO);
    assert_eq!(shown.deadline(Timestamp::from_nanos(u64::MAX)), Some(Timestamp::from_nanos(u64::MAX)));
}
