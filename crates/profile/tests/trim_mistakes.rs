//! Every kind of mistake in the keys of a trim that most files leave out.

mod common;

use common::{AIRCRAFT, RIG, check_aircraft, good_aircraft, good_rig};
use expect_test::{Expect, expect};
use tallywheel_profile::fit;

/// A travel of 600 degrees with neutral at 300, and `keys`.
fn trim(keys: &str) -> String {
    format!(
        "name = \"x\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 600\nneutral_degrees = 300\n{keys}\n"
    )
}

fn check(keys: &str, expected: &Expect) {
    check_aircraft(&trim(keys), expected);
}

#[test]
fn positions() {
    check(
        "positions = { take-off = 601, landing = -1 }",
        &expect![[r#"
            a.toml:6:26: trim.positions.take-off: expected degrees from 0 to the travel, 600, found 601
            a.toml:6:41: trim.positions.landing: expected degrees from 0 to the travel, found -1"#]],
    );
    check(
        "positions = { neutral = 1, low = 0, high = 0, saved = 2, simulator = 3 }",
        &expect![[r#"
        a.toml:6:15: trim.positions.neutral: expected a name that does not mean a place already, found "neutral"
        a.toml:6:28: trim.positions.low: expected a name that does not mean a place already, found "low"
        a.toml:6:37: trim.positions.high: expected a name that does not mean a place already, found "high"
        a.toml:6:47: trim.positions.saved: expected a name that does not mean a place already, found "saved"
        a.toml:6:58: trim.positions.simulator: expected a name that does not mean a place already, found "simulator""#]],
    );
    check(
        "positions = { \"\" = 1, \" a\" = 2, \"b\\n\" = 3 }",
        &expect![[r#"
        a.toml:6:15: trim.positions."": expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found ""
        a.toml:6:23: trim.positions." a": expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found " a"
        a.toml:6:33: trim.positions."b\n": expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found "b\n""#]],
    );
    check(
        "positions = [1, 2]",
        &expect![[r#"a.toml:6:13: trim.positions: expected a table in braces, found a list"#]],
    );
    check(
        "positions = { a = \"1\" }\nstart = \"b\"",
        &expect![[r#"a.toml:6:19: trim.positions.a: expected degrees from 0 to the travel, found "1""#]],
    );
    let many: Vec<_> = (0..17).map(|n| format!("p{n} = {n}")).collect();
    check(
        &format!("positions = {{ {} }}", many.join(", ")),
        &expect!["a.toml:6:155: trim.positions: expected at most 16 positions, found 17"],
    );
}

#[test]
fn start() {
    check(
        "positions = { take-off = 1, landing = 2 }\nstart = \"takeoff\"",
        &expect![[r#"a.toml:7:9: trim.start: expected "take-off" or another place, found "takeoff""#]],
    );
    check(
        "positions = { take-off = 1, landing = 2 }\nstart = \"somewhere\"",
        &expect![[
            r#"a.toml:7:9: trim.start: expected "saved", "neutral", "low", "high", "simulator", "take-off", "landing" or degrees from 0 to the travel, found "somewhere""#
        ]],
    );
    check(
        "start = \"Neutral\"",
        &expect![[r#"a.toml:6:9: trim.start: expected "neutral" or another place, found "Neutral""#]],
    );
    check(
        "start = \"\"",
        &expect![[
            r#"a.toml:6:9: trim.start: expected "saved", "neutral", "low", "high", "simulator", the name of one of the positions, or degrees from 0 to the travel, found """#
        ]],
    );
    check(
        "start = 600.5",
        &expect!["a.toml:6:9: trim.start: expected degrees from 0 to the travel, 600, found 600.5"],
    );
    // A position's mistake is told once, where it is.
    check(
        "positions = { far = 700 }\nstart = \"far\"",
        &expect!["a.toml:6:21: trim.positions.far: expected degrees from 0 to the travel, 600, found 700"],
    );
}

#[test]
fn report() {
    check(
        "report = \"ignore\"",
        &expect![[r#"a.toml:6:10: trim.report: expected "adopt", "await" or "override", found "ignore""#]],
    );
    check(
        "report = true",
        &expect![[r#"a.toml:6:10: trim.report: expected "adopt", "await" or "override", found true"#]],
    );
}

#[test]
fn smoothing() {
    check(
        "smoothing_ms = 0",
        &expect![[r#"a.toml:6:16: trim.smoothing_ms: expected milliseconds from 1 to 500, found 0"#]],
    );
    check(
        "smoothing_ms = 501",
        &expect![[r#"a.toml:6:16: trim.smoothing_ms: expected milliseconds from 1 to 500, found 501"#]],
    );
    check(
        "smoothing_ms = nan",
        &expect![[r#"a.toml:6:16: trim.smoothing_ms: expected milliseconds from 1 to 500, found nan"#]],
    );
}

#[test]
fn ratios() {
    check(
        "ratios = []",
        &expect!["a.toml:6:10: trim.ratios: expected at least one ratio, found an empty list"],
    );
    check("ratios = 2", &expect!["a.toml:6:10: trim.ratios: expected a list in square brackets, found 2"]);
    check(
        "ratios = [1, 0.001, -1, \"x\", 101]",
        &expect![[r#"
            a.toml:6:14: trim.ratios: expected a number from 0.01 to 100, found 0.001
            a.toml:6:21: trim.ratios: expected a number from 0.01 to 100, found -1
            a.toml:6:25: trim.ratios: expected a number from 0.01 to 100, found "x"
            a.toml:6:30: trim.ratios: expected a number from 0.01 to 100, found 101"#]],
    );
    check(
        "ratios = [1, 0.5, 1.0]",
        &expect!["a.toml:6:19: trim.ratios: expected each ratio once, found 1 again"],
    );
    check(
        "ratios = [0.01, 0.0166, 0.016667]",
        &expect![[r#"
            a.toml:6:11: trim.ratios: expected at least 0.016667, so that the travel is at most 100 turns of the wheel, found 0.01
            a.toml:6:17: trim.ratios: expected at least 0.016667, so that the travel is at most 100 turns of the wheel, found 0.0166"#]],
    );
    let many: Vec<_> = (1..18).map(|n| n.to_string()).collect();
    check(
        &format!("ratios = [{}]", many.join(", ")),
        &expect!["a.toml:6:66: trim.ratios: expected at most 16 ratios, found 17"],
    );
}

/// The figure in the message is enough.
#[test]
fn the_slowest_ratio_that_is_offered_is_taken() {
    good_aircraft(&trim("ratios = [0.016667]"));
}

#[test]
fn ratios_too_fast_for_the_wheel() {
    let misfit = |keys: &str| {
        let text = format!("name = \"x\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 90\n{keys}\n");
        fit(&good_rig(RIG), &good_aircraft(&text)).map_err(|errors| errors.to_string())
    };
    expect![[r#"a.toml:5:18: trim.ratios: expected at most 24, so that the travel is at least one count of the wheel "rudder", found 25"#]].assert_eq(&misfit("ratios = [1, 24, 25]").unwrap_err());
    expect![[r#"a.toml:4:18: trim.travel_degrees: expected at least one count of the wheel "rudder", 93.75 degrees, found 90"#]].assert_eq(&misfit("ratios = [25]").unwrap_err());
    misfit("ratios = [1, 24]").unwrap();
}

#[test]
fn curve_that_is_no_list_of_points() {
    check("curve = []", &expect!["a.toml:6:9: trim.curve: expected at least one point, found an empty list"]);
    check(
        "curve = \"straight\"",
        &expect![[r#"a.toml:6:9: trim.curve: expected a list in square brackets, found "straight""#]],
    );
    check(
        "curve = [100, 0.5]",
        &expect![[r#"
            a.toml:6:10: trim.curve: expected a list in square brackets, found 100
            a.toml:6:15: trim.curve: expected a list in square brackets, found 0.5"#]],
    );
    check(
        "curve = [[100], [200, -0.1, 3], []]",
        &expect![[r#"
        a.toml:6:10: trim.curve: expected two numbers, degrees and output, found a list of 1
        a.toml:6:17: trim.curve: expected two numbers, degrees and output, found a list of 3
        a.toml:6:33: trim.curve: expected two numbers, degrees and output, found a list of 0"#]],
    );
    check(
        "curve = [[\"a\", -0.5], [200, nan]]",
        &expect![[r#"
            a.toml:6:11: trim.curve: expected a number, found "a"
            a.toml:6:29: trim.curve: expected a number, found nan"#]],
    );
    let many: Vec<_> = (1..67).map(|n| format!("[{n}, -0.5]")).collect();
    check(
        &format!("curve = [{}]", many.join(", ")),
        &expect!["a.toml:6:769: trim.curve: expected at most 64 points, found 66"],
    );
}

#[test]
fn curve_out_of_order() {
    check(
        "curve = [[100, -0.5], [100, -0.4]]",
        &expect!["a.toml:6:24: trim.curve: expected more degrees than the point before, 100, found 100"],
    );
    check(
        "curve = [[200, -0.5], [100, -0.6]]",
        &expect!["a.toml:6:24: trim.curve: expected more degrees than the point before, 200, found 100"],
    );
    check(
        "curve = [[100, -0.5], [200, -0.6]]",
        &expect![
            "a.toml:6:29: trim.curve: expected an output of at least that of the point before, -0.5, found -0.6"
        ],
    );
    check(
        "curve = [[-1, -1]]",
        &expect!["a.toml:6:11: trim.curve: expected degrees from 0 to the travel, 600, found -1"],
    );
    check(
        "curve = [[601, 1]]",
        &expect!["a.toml:6:11: trim.curve: expected degrees from 0 to the travel, 600, found 601"],
    );
}

#[test]
fn curve_that_misses_its_ends_or_neutral() {
    check(
        "curve = [[0, -0.9]]",
        &expect!["a.toml:6:14: trim.curve: expected -1 at the low stop, found -0.9"],
    );
    check(
        "curve = [[600, 0.9]]",
        &expect!["a.toml:6:16: trim.curve: expected 1 at the high stop, found 0.9"],
    );
    check("curve = [[300, 0.1]]", &expect!["a.toml:6:16: trim.curve: expected 0 at neutral, found 0.1"]);
    check(
        "curve = [[100, 0.1]]",
        &expect!["a.toml:6:16: trim.curve: expected an output from -1 to 0 at 100 degrees, found 0.1"],
    );
    check(
        "curve = [[400, -0.1]]",
        &expect!["a.toml:6:16: trim.curve: expected an output from 0 to 1 at 400 degrees, found -0.1"],
    );
    check(
        "curve = [[100, -1.1]]",
        &expect!["a.toml:6:16: trim.curve: expected an output from -1 to 0 at 100 degrees, found -1.1"],
    );
    check(
        "curve = [[400, 1.1]]",
        &expect!["a.toml:6:16: trim.curve: expected an output from 0 to 1 at 400 degrees, found 1.1"],
    );
    let at_a_stop = trim("curve = [[100, -0.1]]").replace("= 300", "= 0");
    check_aircraft(
        &at_a_stop,
        &expect!["a.toml:6:16: trim.curve: expected an output from 0 to 1 at 100 degrees, found -0.1"],
    );
    let at_a_stop = trim("curve = [[600, 1]]").replace("= 300", "= 600");
    check_aircraft(&at_a_stop, &expect!["a.toml:6:16: trim.curve: expected 0 at neutral, found 1"]);
}

/// A curve is judged only where its ends are known; what is wrong with them is told, and nothing else.
#[test]
fn curve_without_ends() {
    check_aircraft(
        &trim("curve = [[100, 5]]").replace("travel_degrees = 600\n", ""),
        &expect![
            "a.toml:2:1: trim.travel_degrees: expected degrees, above 0 and at most 36000, found nothing"
        ],
    );
    check_aircraft(
        &trim("curve = [[100, 5]]").replace("= 300", "= 601"),
        &expect!["a.toml:5:19: trim.neutral_degrees: expected degrees from 0 to the travel, 600, found 601"],
    );
}

#[test]
fn each_mistake_of_a_trim_is_told() {
    let everything =
        "positions = { a = 700 }\nstart = \"b\"\nreport = 1\nsmoothing_ms = 0\nratios = [0]\ncurve = [[1]]";
    check(
        everything,
        &expect![[r#"
            a.toml:6:19: trim.positions.a: expected degrees from 0 to the travel, 600, found 700
            a.toml:7:9: trim.start: expected "saved", "neutral", "low", "high", "simulator", "a" or degrees from 0 to the travel, found "b"
            a.toml:8:10: trim.report: expected "adopt", "await" or "override", found 1
            a.toml:9:16: trim.smoothing_ms: expected milliseconds from 1 to 500, found 0
            a.toml:10:11: trim.ratios: expected a number from 0.01 to 100, found 0
            a.toml:11:10: trim.curve: expected two numbers, degrees and output, found a list of 1"#]],
    );
    check_aircraft(
        &format!("{AIRCRAFT}\n[[trim]]\nname = \"rudder\"\nratios = [0]\n"),
        &expect![[r#"
            a.toml:29:1: trim.travel_degrees: expected degrees, above 0 and at most 36000, found nothing
            a.toml:30:8: trim.name: expected a name that no other [[trim]] has, found "rudder", as on line 4
            a.toml:31:11: trim.ratios: expected a number from 0.01 to 100, found 0"#]],
    );
}
