//! Which configurations there are.
#![allow(clippy::unwrap_used, reason = "helpers of tests may stop at the first surprise")]

mod common;

use common::{degrees, per_turn};
use expect_test::{Expect, expect};
use tallywheel_accumulator::{ConfigError, TrimConfig};
use tallywheel_units::StopStyle;

fn config(counts: u32, travel: f64, neutral: f64) -> Result<TrimConfig, ConfigError> {
    TrimConfig::new(per_turn(counts), degrees(travel), degrees(neutral), StopStyle::Slip, false)
}

fn check(counts: u32, travel: f64, neutral: f64, expected: &Expect) {
    expected.assert_eq(&config(counts, travel, neutral).unwrap_err().to_string());
}

#[test]
fn what_cannot_be_is_refused() {
    check(
        96,
        3.7,
        0.0,
        &expect!["a travel of 3.7\u{b0} is less than one count on a wheel with 96 counts a turn"],
    );
    check(
        1,
        359.9,
        0.0,
        &expect!["a travel of 359.9\u{b0} is less than one count on a wheel with 1 counts a turn"],
    );
    check(
        96,
        0.0,
        0.0,
        &expect!["a travel of 0.0\u{b0} is less than one count on a wheel with 96 counts a turn"],
    );
    check(
        96,
        -580.0,
        0.0,
        &expect!["a travel of -580.0\u{b0} is less than one count on a wheel with 96 counts a turn"],
    );
    check(96, 36_000.1, 0.0, &expect!["a travel of 36000.1\u{b0} is more than 36000.0\u{b0}"]);
    assert!(matches!(config(96, f64::MAX, 0.0), Err(ConfigError::TravelTooLong { .. })));
    check(96, 580.0, 580.1, &expect!["neutral at 580.1\u{b0} is not within the travel of 580.0\u{b0}"]);
    check(96, 580.0, -0.1, &expect!["neutral at -0.1\u{b0} is not within the travel of 580.0\u{b0}"]);
}

#[test]
fn the_limits_themselves_are_allowed() {
    config(96, 3.75, 0.0).unwrap();
    config(96, 36_000.0, 36_000.0).unwrap();
    config(1_000_000, 36_000.0, 0.0).unwrap();
    config(96, 580.0, -0.0).unwrap();
}
