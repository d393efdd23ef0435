//! An aircraft on a rig.
#![allow(clippy::unwrap_used, reason = "helpers of tests may stop at the first surprise")]

mod common;

use common::{AIRCRAFT, RIG, good_aircraft, good_rig, spoiled};
use expect_test::{Expect, expect};
use tallywheel_profile::{LeftOut, OutputConfig, fit, reduce};
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

/// What is left out of an aircraft on the rig of [`RIG`], in words, and what is left.
fn reduced(aircraft: &str) -> (Vec<String>, tallywheel_profile::Aircraft) {
    let rig = good_rig(RIG);
    let (left, left_out) = reduce(&rig, &good_aircraft(aircraft));
    if !left_out.is_empty() {
        fit(&rig, &left).unwrap();
    }
    (left_out.iter().map(LeftOut::to_string).collect(), left)
}

#[test]
fn a_trim_without_a_wheel_is_left_out_with_what_it_sends() {
    let (left_out, left) = reduced(AIRCRAFT);
    assert!(left_out.is_empty() && left == good_aircraft(AIRCRAFT));

    // The first is left out, so the second moves up in all outputs.
    let aircraft = spoiled(AIRCRAFT, "name = \"rudder\"", "name = \"rudder\"\nwheel = \"flaps\"");
    let more = "[[output]]\nkind = \"steps\"\npresses = 10\nlow_buttons = { rudder = 1, pitch = 3 }\n\
        high_buttons = { rudder = 2, pitch = 4 }\n[[output]]\nkind = \"axis\"\ndevice = \"Other\"\naxes = { rudder = \"z\" }\n\
        [[output]]\nkind = \"datagram\"\nto = \"127.0.0.1:47813\"\ntemplate = \"layout\"\n\
        layout = [{ trim = \"pitch\" }, { text = \" \" }, { trim = \"rudder\" }]\n\
        [[output]]\nkind = \"datagram\"\nto = \"127.0.0.1:47814\"\ntemplate = \"layout\"\nlayout = [{ trim = \"pitch\" }]\n";
    let (left_out, left) = reduced(&format!("{aircraft}{more}"));
    expect![[r#"
        trim rudder is left out: rig bench has no wheel flaps
        axis "Other" is left out: it needs a trim that is left out
        datagram 127.0.0.1:47813 is left out: it needs a trim that is left out"#]]
    .assert_eq(&left_out.join("\n"));
    let first = TrimIndex::new(0);
    assert_eq!(left.trims.iter().map(|trim| trim.name.as_str()).collect::<Vec<_>>(), ["pitch"]);
    assert_eq!(left.outputs.len(), 4);
    for output in &left.outputs {
        assert_eq!(output.trims(), [first], "{output:?}");
        if let OutputConfig::Steps { trims, .. } = output {
            assert_eq!(trims[0].low.get(), 3);
        }
    }
}

/// A name that was probably meant for a wheel of the rig, and an aircraft of which nothing would be left, are told by
/// [`fit`].
#[test]
fn what_is_misspelt_is_not_left_out() {
    for wheel in ["Elevator", "elevater", "levator", "elevator 2"] {
        let aircraft = spoiled(AIRCRAFT, "wheel = \"elevator\"", &format!("wheel = \"{wheel}\""));
        let (left_out, left) = reduced(&aircraft);
        assert!(left_out.is_empty() && fit(&good_rig(RIG), &left).is_err(), "{wheel}");
    }
    for wheel in ["aileron", "flaps", "tab"] {
        let aircraft = spoiled(AIRCRAFT, "wheel = \"elevator\"", &format!("wheel = \"{wheel}\""));
        assert_eq!(reduced(&aircraft).0, [format!("trim pitch is left out: rig bench has no wheel {wheel}")]);
    }
    let none = AIRCRAFT
        .replace("\"elevator\"", "\"aileron\"")
        .replace("name = \"rudder\"", "name = \"rudder\"\nwheel = \"flaps\"");
    let (left_out, left) = reduced(&none);
    assert!(left_out.is_empty() && fit(&good_rig(RIG), &left).is_err());
}

#[test]
fn a_travel_of_less_than_a_count() {
    check(
        RIG,
        &spoiled(&spoiled(AIRCRAFT, "= 580", "= 3.7"), "= 320", "= 3"),
        &expect![[
            r#"a.toml:5:18: trim.travel_degrees: expected at least one count of the wheel "rudder", 3.75 degrees, found 3.7"#
        ]],
    );
    fit(&good_rig(RIG), &good_aircraft(&spoiled(&spoiled(AIRCRAFT, "= 580", "= 3.75"), "= 320", "= 3")))
        .unwrap();
    // The figure in the message is enough.
    let fine = spoiled(RIG, "counts_per_turn = 96", "counts_per_turn = 999983");
    check(
        &fine,
        &spoiled(&spoiled(AIRCRAFT, "= 580", "= 0.00036"), "= 320", "= 0"),
        &expect![[
            r#"a.toml:5:18: trim.travel_degrees: expected at least one count of the wheel "rudder", 0.000361 degrees, found 0.00036"#
        ]],
    );
    fit(
        &good_rig(&fine),
        &good_aircraft(&spoiled(&spoiled(AIRCRAFT, "= 580", "= 0.000361"), "= 320", "= 0")),
    )
    .unwrap();
    let coarse = spoiled(RIG, "counts_per_turn = 96", "counts_per_turn = 1");
    check(
        &coarse,
        &spoiled(&spoiled(AIRCRAFT, "= 580", "= 359"), "= 320", "= 3"),
        &expect![[
            r#"a.toml:5:18: trim.travel_degrees: expected at least one count of the wheel "rudder", 360 degrees, found 359"#
        ]],
    );
}

#[test]
fn every_misfit_is_told() {
    let aircraft =
        AIRCRAFT.replace("= 580", "= 1").replace("= 320", "= 0").replace("\"elevator\"", "\"pitch\"");
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

#[test]
fn a_ratio_too_large_for_the_wheel() {
    let misfit = |keys: &str| {
        let text = format!("name = \"x\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 90\n{keys}\n");
        fit(&good_rig(RIG), &good_aircraft(&text)).map_err(|errors| errors.to_string())
    };
    expect![[r#"a.toml:5:18: trim.ratios: expected at most 24, so that the travel is at least one count of the wheel "rudder", found 25"#]]
        .assert_eq(&misfit("ratios = [1, 24, 25]").unwrap_err());
    expect![[r#"a.toml:4:18: trim.travel_degrees: expected at least one count of the wheel "rudder", 93.75 degrees, found 90"#]]
        .assert_eq(&misfit("ratios = [25]").unwrap_err());
    misfit("ratios = [1, 24]").unwrap();
}
