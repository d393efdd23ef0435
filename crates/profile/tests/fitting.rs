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
