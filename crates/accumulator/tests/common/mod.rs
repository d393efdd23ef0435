//! Configurations and counts to try, shared by the test files.
#![allow(dead_code, unreachable_pub, reason = "each test file uses its own part")]
#![allow(clippy::unwrap_used, reason = "helpers of tests may stop at the first surprise")]

use proptest::prelude::*;
use tallywheel_accumulator::{Place, TrimConfig};
use tallywheel_units::{Counts, CountsPerTurn, Degrees, FixedCounts, StopStyle};

pub fn degrees(degrees: f64) -> Degrees {
    Degrees::new(degrees).unwrap()
}

pub fn per_turn(counts: u32) -> CountsPerTurn {
    CountsPerTurn::new(counts).unwrap()
}

pub fn counts(counts: i64) -> FixedCounts {
    FixedCounts::from_counts(Counts::new(counts))
}

pub fn slip(per_turn_: u32, travel: f64, neutral: f64) -> TrimConfig {
    TrimConfig::new(per_turn(per_turn_), degrees(travel), degrees(neutral), StopStyle::Slip, false).unwrap()
}

pub fn remember(per_turn_: u32, travel: f64, neutral: f64) -> TrimConfig {
    TrimConfig::new(per_turn(per_turn_), degrees(travel), degrees(neutral), StopStyle::Remember, false)
        .unwrap()
}

pub fn stop_style() -> impl Strategy<Value = StopStyle> {
    prop_oneof![Just(StopStyle::Slip), Just(StopStyle::Remember)]
}

/// Wheels from the coarsest to the finest, with those of the trade among them.
pub fn any_per_turn() -> impl Strategy<Value = CountsPerTurn> {
    prop_oneof![
        4 => prop::sample::select(vec![12, 20, 24, 30, 48, 96, 100, 384, 400, 600, 2400]),
        3 => 1..3_000u32,
        1 => Just(CountsPerTurn::MAX),
    ]
    .prop_map(|counts| CountsPerTurn::new(counts).unwrap())
}

/// Any configuration that is allowed: travels from one count to the longest, neutral at a stop, in the middle
/// and anywhere.
pub fn any_config() -> impl Strategy<Value = TrimConfig> {
    let travel = prop_oneof![
        2 => prop::sample::select(vec![360.0, 580.0, 720.0, 36_000.0]),
        3 => 1.0..2_000.0f64,
        1 => 0.0..=1.0f64,
    ];
    let neutral = prop_oneof![1 => Just(0.0), 1 => Just(1.0), 2 => Just(0.5), 4 => 0.0..=1.0f64];
    (any_per_turn(), travel, neutral, stop_style(), any::<bool>()).prop_map(
        |(per_turn, travel, neutral, stops, reversed)| {
            let one_count = 360.0 / f64::from(per_turn.get());
            let travel = travel.max(one_count * 1.001).min(36_000.0);
            TrimConfig::new(per_turn, degrees(travel), degrees(travel * neutral), stops, reversed).unwrap()
        },
    )
}

pub fn any_place() -> impl Strategy<Value = Place> {
    prop_oneof![
        Just(Place::Low),
        Just(Place::Neutral),
        Just(Place::High),
        (-100.0..40_000.0f64).prop_map(|d| Place::At(degrees(d))),
        (0.0..700.0f64).prop_map(|d| Place::At(degrees(d))),
    ]
}

/// Single counts as a hand makes them, bursts, whole turns, and numbers that no wheel makes.
pub fn any_counts() -> impl Strategy<Value = Counts> {
    prop_oneof![
        6 => -3..=3i64,
        4 => -200..=200i64,
        2 => -100_000..=100_000i64,
        1 => any::<i64>(),
    ]
    .prop_map(Counts::new)
}

/// Counts of a size that wheels make, so that nothing saturates.
pub fn hand_counts() -> impl Strategy<Value = Counts> {
    prop_oneof![6 => -3..=3i64, 4 => -200..=200i64, 1 => -5_000..=5_000i64].prop_map(Counts::new)
}
