//! Every kind of mistake in an aircraft file that is TOML.

mod common;

use common::{AIRCRAFT, check_aircraft, good_aircraft, spoil_aircraft, spoiled};
use expect_test::expect;

#[test]
fn what_is_missing() {
    spoil_aircraft(
        "name = \"Kettrin 2 floatplane\"",
        "",
        &expect![
            "a.toml:1:1: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found nothing"
        ],
    );
    spoil_aircraft(
        "name = \"pitch\"\n",
        "",
        &expect![
            "a.toml:10:1: trim.name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found nothing"
        ],
    );
    spoil_aircraft(
        "travel_degrees = 580\n",
        "",
        &expect![
            "a.toml:3:1: trim.travel_degrees: expected degrees, above 0 and at most 36000, found nothing"
        ],
    );
    spoil_aircraft(
        "kind = \"axis\"\n",
        "",
        &expect![[r#"a.toml:18:1: output.kind: expected "axis", "datagram" or "steps", found nothing"#]],
    );
    spoil_aircraft(
        "to = \"127.0.0.1:47811\"\n",
        "",
        &expect![[
            r#"a.toml:23:1: output.to: expected an IP address or a host name and a port, such as "127.0.0.1:47811" or "simpc.local:47811", found nothing"#
        ]],
    );
    check_aircraft(
        "name = \"Kettrin\"",
        &expect!["a.toml:1:1: trim: expected at least one [[trim]], found nothing"],
    );
}

#[test]
fn an_unknown_key() {
    spoil_aircraft(
        "travel_degrees = 580",
        "travel = 580",
        &expect![[r#"
        a.toml:3:1: trim.travel_degrees: expected degrees, above 0 and at most 36000, found nothing
        a.toml:5:1: trim.travel: expected `travel_degrees` or another known key, found `travel`"#]],
    );
    spoil_aircraft(
        "neutral_degrees",
        "neutral_degree",
        &expect![
            "a.toml:6:1: trim.neutral_degree: expected `neutral_degrees` or another known key, found `neutral_degree`"
        ],
    );
    spoil_aircraft(
        "template = \"line\"",
        "format = \"line\"",
        &expect![
            "a.toml:26:1: output.format: expected one of the keys `kind`, `device`, `axes`, `range`, `reversed`, `to`, `template`, `trims`, `prefix`, `layout`, `min_interval_ms`, `keep_alive_ms`, `presses`, `low_buttons`, `high_buttons`, `low_keys`, `high_keys`, `press_ms`, `pause_ms`, `extra_presses` or `settle_ms`, found `format`"
        ],
    );
    spoil_aircraft(
        "name = \"Kettrin 2 floatplane\"",
        "name = \"Kettrin\"\n[[wheel]]\nname = \"rudder\"",
        &expect![
            "a.toml:2:3: wheel: expected one of the keys `name`, `titles`, `default`, `trim` or `output`, found `wheel`, which belongs in a rig file"
        ],
    );
}

#[test]
fn the_wrong_kind_of_value() {
    spoil_aircraft(
        "travel_degrees = 580",
        "travel_degrees = \"580\"",
        &expect![[
            r#"a.toml:5:18: trim.travel_degrees: expected degrees, above 0 and at most 36000, found "580""#
        ]],
    );
    spoil_aircraft(
        "neutral_degrees = 320",
        "neutral_degrees = \"middle\"",
        &expect![[
            r#"a.toml:6:19: trim.neutral_degrees: expected degrees from 0 to the travel, found "middle""#
        ]],
    );
    spoil_aircraft(
        "stops = \"slip\"",
        "stops = \"hard\"",
        &expect![[r#"a.toml:7:9: trim.stops: expected "slip" or "remember", found "hard""#]],
    );
    spoil_aircraft(
        "stops = \"slip\"",
        "stops = true",
        &expect![[r#"a.toml:7:9: trim.stops: expected "slip" or "remember", found true"#]],
    );
    spoil_aircraft(
        "start = \"neutral\"",
        "start = \"middle\"",
        &expect![[
            r#"a.toml:8:9: trim.start: expected "saved", "neutral", "low", "high", "simulator" or degrees from 0 to the travel, found "middle""#
        ]],
    );
    spoil_aircraft(
        "start = \"neutral\"",
        "start = false",
        &expect![[
            r#"a.toml:8:9: trim.start: expected "saved", "neutral", "low", "high", "simulator", the name of one of the positions, or degrees from 0 to the travel, found false"#
        ]],
    );
    spoil_aircraft(
        "kind = \"axis\"",
        "kind = \"joystick\"",
        &expect![[r#"a.toml:19:8: output.kind: expected "axis", "datagram" or "steps", found "joystick""#]],
    );
    spoil_aircraft(
        "template = \"line\"",
        "template = \"xml\"",
        &expect![[
            r#"a.toml:26:12: output.template: expected "json", "line", "osc", "packed" or "layout", found "xml""#
        ]],
    );
    spoil_aircraft(
        "axes = { rudder = \"x\", pitch = \"ry\" }",
        "axes = [\"x\", \"ry\"]",
        &expect!["a.toml:21:8: output.axes: expected a table in braces, found a list"],
    );
    spoil_aircraft(
        "pitch = \"ry\"",
        "pitch = 4",
        &expect![[
            r#"a.toml:21:32: output.axes.pitch: expected "x", "y", "z", "rx", "ry", "rz", "throttle" or "rudder", found 4"#
        ]],
    );
    spoil_aircraft(
        "pitch = \"ry\"",
        "pitch = \"RY\"",
        &expect![[
            r#"a.toml:21:32: output.axes.pitch: expected "x", "y", "z", "rx", "ry", "rz", "throttle" or "rudder", found "RY""#
        ]],
    );
    spoil_aircraft(
        "[\"pitch\", \"rudder\"]",
        "\"pitch\"",
        &expect![[r#"a.toml:27:9: output.trims: expected a list in square brackets, found "pitch""#]],
    );
    spoil_aircraft(
        "[\"pitch\", \"rudder\"]",
        "[\"pitch\", 1]",
        &expect![
            "a.toml:27:19: output.trims: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found 1"
        ],
    );
}

#[test]
fn out_of_range() {
    spoil_aircraft(
        "travel_degrees = 580",
        "travel_degrees = 0",
        &expect!["a.toml:5:18: trim.travel_degrees: expected degrees, above 0 and at most 36000, found 0"],
    );
    spoil_aircraft(
        "travel_degrees = 580",
        "travel_degrees = -580",
        &expect!["a.toml:5:18: trim.travel_degrees: expected degrees, above 0 and at most 36000, found -580"],
    );
    spoil_aircraft(
        "travel_degrees = 580",
        "travel_degrees = 36000.5",
        &expect![
            "a.toml:5:18: trim.travel_degrees: expected degrees, above 0 and at most 36000, found 36000.5"
        ],
    );
    spoil_aircraft(
        "travel_degrees = 580",
        "travel_degrees = inf",
        &expect!["a.toml:5:18: trim.travel_degrees: expected degrees, above 0 and at most 36000, found inf"],
    );
    spoil_aircraft(
        "travel_degrees = 580",
        "travel_degrees = nan",
        &expect!["a.toml:5:18: trim.travel_degrees: expected degrees, above 0 and at most 36000, found nan"],
    );
    spoil_aircraft(
        "travel_degrees = 580",
        "travel_degrees = 1e400",
        &expect![
            "a.toml:5:18: trim.travel_degrees: expected degrees, above 0 and at most 36000, found 1e400"
        ],
    );
    spoil_aircraft(
        "travel_degrees = 580",
        "travel_degrees = 99999999999999999999",
        &expect![
            "a.toml:5:18: trim.travel_degrees: expected degrees, above 0 and at most 36000, found 99999999999999999999"
        ],
    );
    spoil_aircraft(
        "neutral_degrees = 320",
        "neutral_degrees = -0.5",
        &expect!["a.toml:6:19: trim.neutral_degrees: expected degrees from 0 to the travel, found -0.5"],
    );
    spoil_aircraft(
        "neutral_degrees = 320",
        "neutral_degrees = 580.5",
        &expect![
            "a.toml:6:19: trim.neutral_degrees: expected degrees from 0 to the travel, 580, found 580.5"
        ],
    );
    spoil_aircraft(
        "neutral_degrees = 320",
        "neutral_degrees = nan",
        &expect!["a.toml:6:19: trim.neutral_degrees: expected degrees from 0 to the travel, found nan"],
    );
    spoil_aircraft(
        "start = 400",
        "start = 1080.6",
        &expect!["a.toml:16:9: trim.start: expected degrees from 0 to the travel, 1080.5, found 1080.6"],
    );
    spoil_aircraft(
        "start = 400",
        "start = -1",
        &expect![[
            r#"a.toml:16:9: trim.start: expected "saved", "neutral", "low", "high", "simulator", the name of one of the positions, or degrees from 0 to the travel, found -1"#
        ]],
    );
    spoil_aircraft(
        "device = \"Kettrin trim\"",
        "device = \"\"",
        &expect![[
            r#"a.toml:20:10: output.device: expected a name of 1 to 78 bytes, without line breaks and without blanks at its ends, found """#
        ]],
    );
    spoil_aircraft(
        "device = \"Kettrin trim\"",
        &format!("device = \"{}\"", "\u{e9}".repeat(40)),
        &expect![[
            r#"a.toml:20:10: output.device: expected a name of 1 to 78 bytes, without line breaks and without blanks at its ends, found "éééééééééééééééééééééééééééééééééééééééé""#
        ]],
    );
    spoil_aircraft(
        "\"127.0.0.1:47811\"",
        "\"127.0.0.1\"",
        &expect![[
            r#"a.toml:25:6: output.to: expected an IP address or a host name and a port, such as "127.0.0.1:47811" or "simpc.local:47811", found "127.0.0.1""#
        ]],
    );
    spoil_aircraft(
        "\"127.0.0.1:47811\"",
        "\"127.0.0.1:0\"",
        &expect![[
            r#"a.toml:25:6: output.to: expected an IP address or a host name and a port, such as "127.0.0.1:47811" or "simpc.local:47811", found "127.0.0.1:0""#
        ]],
    );
    spoil_aircraft(
        "\"127.0.0.1:47811\"",
        "\"127.0.0.1:65536\"",
        &expect![[
            r#"a.toml:25:6: output.to: expected an IP address or a host name and a port, such as "127.0.0.1:47811" or "simpc.local:47811", found "127.0.0.1:65536""#
        ]],
    );
    spoil_aircraft(
        "\"127.0.0.1:47811\"",
        "\"sim pc:47811\"",
        &expect![[
            r#"a.toml:25:6: output.to: expected an IP address or a host name and a port, such as "127.0.0.1:47811" or "simpc.local:47811", found "sim pc:47811""#
        ]],
    );
    spoil_aircraft(
        "\"127.0.0.1:47811\"",
        "\"::1:47811\"",
        &expect![[
            r#"a.toml:25:6: output.to: expected an IP address or a host name and a port, such as "127.0.0.1:47811" or "simpc.local:47811", found "::1:47811""#
        ]],
    );
    spoil_aircraft(
        "\"127.0.0.1:47811\"",
        "47811",
        &expect![[
            r#"a.toml:25:6: output.to: expected an IP address or a host name and a port, such as "127.0.0.1:47811" or "simpc.local:47811", found 47811"#
        ]],
    );
}

#[test]
fn names_and_wheels_with_two_uses() {
    spoil_aircraft(
        "name = \"pitch\"",
        "name = \"rudder\"",
        &expect![[r#"
            a.toml:11:8: trim.name: expected a name that no other [[trim]] has, found "rudder", as on line 4
            a.toml:21:24: output.axes.pitch: expected the name of a [[trim]]: "rudder", found "pitch"
            a.toml:27:10: output.trims: expected the name of a [[trim]]: "rudder", found "pitch""#]],
    );
    spoil_aircraft(
        "wheel = \"elevator\"",
        "wheel = \"rudder\"",
        &expect![[
            r#"a.toml:12:9: trim.wheel: expected a wheel that moves no other trim, found "rudder", as on line 4"#
        ]],
    );
}

#[test]
fn trims_that_are_none() {
    spoil_aircraft(
        "pitch = \"ry\"",
        "ptich = \"ry\"",
        &expect![[
            r#"a.toml:21:24: output.axes.ptich: expected the name of a [[trim]]: "rudder" or "pitch", found "ptich""#
        ]],
    );
    spoil_aircraft(
        "[\"pitch\", \"rudder\"]",
        "[\"elevator\"]",
        &expect![[
            r#"a.toml:27:10: output.trims: expected the name of a [[trim]]: "rudder" or "pitch", found "elevator""#
        ]],
    );
    spoil_aircraft(
        "[\"pitch\", \"rudder\"]",
        "[\"pitch\", \"pitch\"]",
        &expect![[r#"a.toml:27:19: output.trims: expected each trim once, found "pitch" again"#]],
    );
    spoil_aircraft(
        "[\"pitch\", \"rudder\"]",
        "[]",
        &expect!["a.toml:27:9: output.trims: expected at least one trim, found an empty list"],
    );
    spoil_aircraft(
        "{ rudder = \"x\", pitch = \"ry\" }",
        "{}",
        &expect!["a.toml:21:8: output.axes: expected at least one trim and its axis, found an empty table"],
    );
}

#[test]
fn two_trims_on_one_axis() {
    spoil_aircraft(
        "pitch = \"ry\"",
        "pitch = \"x\"",
        &expect![[r#"a.toml:21:32: output.axes.pitch: expected an axis that no other trim has, found "x""#]],
    );
}

#[test]
fn keys_of_the_other_kind() {
    spoil_aircraft(
        "kind = \"axis\"",
        "kind = \"axis\"\nto = \"127.0.0.1:1\"\ntemplate = \"json\"\ntrims = [\"pitch\"]",
        &expect![[r#"
            a.toml:20:6: output.to: expected this key only with kind = "datagram", found it with kind = "axis"
            a.toml:21:12: output.template: expected this key only with kind = "datagram", found it with kind = "axis"
            a.toml:22:9: output.trims: expected this key only with kind = "datagram", found it with kind = "axis""#]],
    );
    spoil_aircraft(
        "kind = \"datagram\"",
        "kind = \"datagram\"\ndevice = \"x\"\naxes = { pitch = \"x\" }",
        &expect![[r#"
            a.toml:25:10: output.device: expected this key only with kind = "axis" or "steps", found it with kind = "datagram"
            a.toml:26:8: output.axes: expected this key only with kind = "axis", found it with kind = "datagram""#]],
    );
}

#[test]
fn two_joysticks_of_one_name() {
    let again = "\n[[output]]\nkind = \"axis\"\ndevice = \"Kettrin trim\"\n";
    check_aircraft(
        &format!("{AIRCRAFT}{again}"),
        &expect![[
            r#"a.toml:29:1: output.device: expected a name for each virtual joystick, found "Kettrin trim""#
        ]],
    );
    let unnamed = "\n[[output]]\nkind = \"axis\"\n";
    check_aircraft(
        &format!("{AIRCRAFT}{unnamed}{unnamed}"),
        &expect![
            "a.toml:32:1: output.device: expected a name for each virtual joystick, found another joystick without one"
        ],
    );
    good_aircraft(&format!("{AIRCRAFT}{unnamed}"));
}

#[test]
fn more_trims_than_a_joystick_has_axes() {
    let trims: String =
        (0..9).map(|i| format!("[[trim]]\nname = \"t{i}\"\ntravel_degrees = 360\n")).collect();
    check_aircraft(
        &format!("name = \"Many\"\n{trims}[[output]]\nkind = \"axis\"\n"),
        &expect![
            "a.toml:29:1: output.axes: expected the key `axes`, because a joystick has 8 axes for 9 trims, found nothing"
        ],
    );
    let eight = trims.replace("[[trim]]\nname = \"t8\"\ntravel_degrees = 360\n", "");
    good_aircraft(&format!("name = \"Many\"\n{eight}[[output]]\nkind = \"axis\"\n"));
    good_aircraft(&format!("name = \"Many\"\n{trims}[[output]]\nkind = \"axis\"\naxes = {{ t8 = \"x\" }}\n"));
}

/// A rig file given as an aircraft file: the first messages say so.
#[test]
fn the_other_kind_of_file() {
    check_aircraft(
        common::RIG,
        &expect![[r#"
            a.toml:1:1: trim: expected at least one [[trim]], found nothing
            a.toml:3:3: board: expected one of the keys `name`, `titles`, `default`, `trim` or `output`, found `board`, which belongs in a rig file
            a.toml:18:3: wheel: expected one of the keys `name`, `titles`, `default`, `trim` or `output`, found `wheel`, which belongs in a rig file"#]],
    );
    common::check_rig(
        AIRCRAFT,
        &expect![[r#"
            rig.toml:1:1: board: expected at least one [[board]], found nothing
            rig.toml:1:1: wheel: expected at least one [[wheel]], found nothing
            rig.toml:3:3: trim: expected one of the keys `name`, `control`, `board`, `wheel`, `simulator` or `button`, found `trim`, which belongs in an aircraft file
            rig.toml:18:3: output: expected one of the keys `name`, `control`, `board`, `wheel`, `simulator` or `button`, found `output`, which belongs in an aircraft file"#]],
    );
}

#[test]
fn every_mistake_is_told() {
    check_aircraft(
        r#"[[trim]]
name = "rudder"
travel_degrees = 580
neutral_degrees = 700
start = 701
stop = "slip"
[[trim]]
name = "rudder"
travel_degrees = "long"
[[output]]
kind = "axis"
axes = { ruder = "x", rudder = "w" }
[[output]]
kind = "datagram"
to = "here"
template = 1
trims = ["rudder", "rudder", "pitch"]
"#,
        &expect![[r#"
            a.toml:1:1: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found nothing
            a.toml:4:19: trim.neutral_degrees: expected degrees from 0 to the travel, 580, found 700
            a.toml:5:9: trim.start: expected degrees from 0 to the travel, 580, found 701
            a.toml:6:1: trim.stop: expected `stops` or another known key, found `stop`
            a.toml:8:8: trim.name: expected a name that no other [[trim]] has, found "rudder", as on line 2
            a.toml:9:18: trim.travel_degrees: expected degrees, above 0 and at most 36000, found "long"
            a.toml:12:10: output.axes.ruder: expected the name of a [[trim]]: "rudder", found "ruder"
            a.toml:12:32: output.axes.rudder: expected "x", "y", "z", "rx", "ry", "rz", "throttle" or "rudder", found "w"
            a.toml:15:6: output.to: expected an IP address or a host name and a port, such as "127.0.0.1:47811" or "simpc.local:47811", found "here"
            a.toml:16:12: output.template: expected "json", "line", "osc", "packed" or "layout", found 1
            a.toml:17:20: output.trims: expected each trim once, found "rudder" again
            a.toml:17:30: output.trims: expected the name of a [[trim]]: "rudder", found "pitch""#]],
    );
    // Spoiling nothing spoils nothing.
    good_aircraft(&spoiled(AIRCRAFT, "start = 400", "start = 400"));
}
