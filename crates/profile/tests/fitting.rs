//! An aircraft on a rig.
#![allow(clippy::unwrap_used, reason = "helpers of tests may stop at the first surprise")]

mod common;

use common::{AIRCRAFT, RIG, good_aircraft, good_rig, spoiled};
use expect_test::{Expect, expect};
use tallywheel_profile::fit;
use tallywheel_units::{TrimIndex, WheelIndex};

fn check(rig: &str, aircraft: &str, expected: &Expect) {
    let errors = fit(&good_rig(rig), &good_aircraft(aircraft)).unwrap_err();
    expected.assert_eq(&errors.to_string());
}

#[test]
fn every_trim_finds_its_wheel() {
    let fitted = fit(&good_rig(RIG), &good_aircraft(AIRCRAFT)).unwrap();
    let seen: Vec<_> = fitted.iter().map(|f| (f.trim, f.wheel, f.per_turn.get(), f.reversed)).collect();
    // The elevator's wheel and its trim are both reversed, so it is not.
    let expected = [
        (TrimIndex::new(0), WheelIndex::new(0), 96, false),
        (TrimIndex::new(1), WheelIndex::new(1), 384, false),
    ];
    assert_eq!(seen, expected);
    let straight = spoiled(RIG, "reversed = true", "reversed = false");
    assert!(fit(&good_rig(&straight), &good_aircraft(AIRCRAFT)).unwrap()[1].reversed);
}

#[test]
fn a_wheel_that_the_rig_does_not_have() {
    check(
        RIG,
        &spoiled(AIRCRAFT, "wheel = \"elevator\"", "wheel = \"aileron\""),
        &expect![[
            r#"a.toml:12:9: trim.wheel: expected the name of a wheel of the rig "bench": "rudder" or "elevator", found "aileron""#
        ]],
    );
    check(
        RIG,
        &spoiled(AIRCRAFT, "wheel = \"elevator\"\n", ""),
        &expect![[
            r#"a.toml:11:8: trim.name: expected the key `wheel` with the name of a wheel of the rig "bench": "rudder" or "elevator", or one of these as the trim's name, found "pitch""#
        ]],
    );
    // Names are compared as they are.
    check(
        RIG,
        &spoiled(AIRCRAFT, "wheel = \"elevator\"", "wheel = \"Elevator\""),
        &expect![[
            r#"a.toml:12:9: trim.wheel: expected the name of a wheel of the rig "bench": "rudder" or "elevator", found "Elevator""#
        ]],
    );
}

#[test]
fn a_travel_of_less_than_a_count() {
    check(
        RIG,
        &spoiled(&spoiled(AIRCRAFT, "= 635", "= 3.7"), "= 320", "= 3"),
        &expect![[
            r#"a.toml:5:18: trim.travel_degrees: expected at least one count of the wheel "rudder", 3.75 degrees, found 3.7"#
        ]],
    );
    fit(&good_rig(RIG), &good_aircraft(&spoiled(&spoiled(AIRCRAFT, "= 635", "= 3.75"), "= 320", "= 3")))
        .unwrap();
    // The figure in the message is enough.
    let fine = spoiled(RIG, "counts_per_turn = 96", "counts_per_turn = 999983");
    check(
        &fine,
        &spoiled(&spoiled(AIRCRAFT, "= 635", "= 0.00036"), "= 320", "= 0"),
        &expect![[
            r#"a.toml:5:18: trim.travel_degrees: expected at least one count of the wheel "rudder", 0.000361 degrees, found 0.00036"#
        ]],
    );
    fit(
        &good_rig(&fine),
        &good_aircraft(&spoiled(&spoiled(AIRCRAFT, "= 635", "= 0.000361"), "= 320", "= 0")),
    )
    .unwrap();
    let coarse = spoiled(RIG, "counts_per_turn = 96", "counts_per_turn = 1");
    check(
        &coarse,
        &spoiled(&spoiled(AIRCRAFT, "= 635", "= 359"), "= 320", "= 3"),
        &expect![[
            r#"a.toml:5:18: trim.travel_degrees: expected at least one count of the wheel "rudder", 360 degrees, found 359"#
        ]],
    );
}

#[test]
fn every_misfit_is_told() {
    let aircraft =
        AIRCRAFT.replace("= 635", "= 1").replace("= 320", "= 0").replace("\"elevator\"", "\"pitch\"");
    check(
        RIG,
        &aircraft,
        &expect![[r#"
        a.toml:5:18: trim.travel_degrees: expected at least one count of the wheel "rudder", 3.75 degrees, found 1
        a.toml:12:9: trim.wheel: expected the name of a wheel of the rig "bench": "rudder" or "elevator", found "pitch""#]],
    );
}

/// A rig with more wheels than a message should list.
#[test]
fn of_many_wheels_some_are_told() {
    let wheels: String = (1..13)
        .map(|i| {
            format!(
                "[[wheel]]\nname = \"w{i}\"\nboard = \"main\"\nwiring = \"pulses\"\nforward = {}\nbackward = {}\n\
                 counts_per_turn = 24\n",
                i * 2 + 10,
                i * 2 + 11
            )
        })
        .collect();
    check(
        &format!("{RIG}{wheels}"),
        &spoiled(AIRCRAFT, "wheel = \"elevator\"", "wheel = \"none\""),
        &expect![[
            r#"a.toml:12:9: trim.wheel: expected the name of a wheel of the rig "bench": "rudder", "elevator", "w1", "w2", "w3", "w4", "w5", "w6", "w7", "w8" or 4 others, found "none""#
        ]],
    );
}
