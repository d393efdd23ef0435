//! Every kind of mistake in a rig file that is TOML.

mod common;

use common::{RARE_RIG, RIG, check_rig, good_rig, spoil_rig, spoiled};
use expect_test::{Expect, expect};

#[test]
fn what_is_missing() {
    spoil_rig(
        "name = \"bench\"",
        "",
        &expect![
            "rig.toml:1:1: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found nothing"
        ],
    );
    spoil_rig(
        "name = \"main\"\n",
        "",
        &expect![
            "rig.toml:3:1: board.name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found nothing"
        ],
    );
    spoil_rig(
        "usb = \"1209:7a11\"\n",
        "",
        &expect![
            "rig.toml:3:1: board.usb: expected one of the keys `usb`, `serial` and `path`, found nothing"
        ],
    );
    spoil_rig(
        "first_bit = 8\n",
        "",
        &expect![
            "rig.toml:12:1: board.buttons.first_bit: expected a whole number from 0 to 131071, found nothing"
        ],
    );
    spoil_rig(
        "count = 32\n",
        "",
        &expect!["rig.toml:12:1: board.buttons.count: expected a whole number from 1 to 128, found nothing"],
    );
    spoil_rig(
        "name = \"rudder\"\n",
        "",
        &expect![
            "rig.toml:18:1: wheel.name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found nothing"
        ],
    );
    spoil_rig(
        "board = \"main\"\n",
        "",
        &expect![[
            r#"rig.toml:18:1: wheel.board: expected the name of a [[board]]: "main" or "second", found nothing"#
        ]],
    );
    spoil_rig(
        "wiring = \"pulses\"\n",
        "",
        &expect![[r#"rig.toml:18:1: wheel.wiring: expected "pulses" or "quadrature", found nothing"#]],
    );
    spoil_rig(
        "forward = 3\n",
        "",
        &expect!["rig.toml:18:1: wheel.forward: expected a button number from 1 to 128, found nothing"],
    );
    spoil_rig(
        "backward = 4\n",
        "",
        &expect!["rig.toml:18:1: wheel.backward: expected a button number from 1 to 128, found nothing"],
    );
    spoil_rig(
        "a = 1\n",
        "",
        &expect!["rig.toml:26:1: wheel.a: expected a button number from 1 to 128, found nothing"],
    );
    spoil_rig(
        "b = 2\n",
        "",
        &expect!["rig.toml:26:1: wheel.b: expected a button number from 1 to 128, found nothing"],
    );
    spoil_rig(
        "counts_per_cycle = 4\n",
        "",
        &expect!["rig.toml:26:1: wheel.counts_per_cycle: expected 1, 2 or 4, found nothing"],
    );
    spoil_rig(
        "counts_per_turn = 96\n",
        "",
        &expect![
            "rig.toml:18:1: wheel.counts_per_turn: expected a whole number from 1 to 1000000, found nothing"
        ],
    );
    check_rig(
        "name = \"bench\"",
        &expect![[r#"
        rig.toml:1:1: board: expected at least one [[board]], found nothing
        rig.toml:1:1: wheel: expected at least one [[wheel]], found nothing"#]],
    );
    let wheel =
        "[[wheel]]\nname = \"w\"\nwiring = \"pulses\"\nforward = 1\nbackward = 2\ncounts_per_turn = 24";
    check_rig(
        &format!("name = \"bench\"\n{wheel}"),
        &expect!["rig.toml:1:1: board: expected at least one [[board]], found nothing"],
    );
    check_rig(
        "name = \"bench\"\nboard = []\nwheel = []",
        &expect![[r#"
        rig.toml:2:9: board: expected at least one [[board]], found nothing
        rig.toml:3:9: wheel: expected at least one [[wheel]], found nothing"#]],
    );
    check_rig(
        "[[board]]\n[[wheel]]\n",
        &expect![[r#"
        rig.toml:1:1: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found nothing
        rig.toml:1:1: board.name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found nothing
        rig.toml:1:1: board.usb: expected one of the keys `usb`, `serial` and `path`, found nothing
        rig.toml:2:1: wheel.name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found nothing
        rig.toml:2:1: wheel.wiring: expected "pulses" or "quadrature", found nothing
        rig.toml:2:1: wheel.counts_per_turn: expected a whole number from 1 to 1000000, found nothing"#]],
    );
}

#[test]
fn an_unknown_key() {
    spoil_rig(
        "forward = 3",
        "foward = 3",
        &expect![[r#"
            rig.toml:18:1: wheel.forward: expected a button number from 1 to 128, found nothing
            rig.toml:22:1: wheel.foward: expected `forward` or another known key, found `foward`"#]],
    );
    spoil_rig(
        "forward = 3",
        "Forward = 3",
        &expect![[r#"
            rig.toml:18:1: wheel.forward: expected a button number from 1 to 128, found nothing
            rig.toml:22:1: wheel.Forward: expected `forward` or another known key, found `Forward`"#]],
    );
    spoil_rig(
        "report_interval_ms",
        "report_interval",
        &expect![
            "rig.toml:6:1: board.report_interval: expected `report_interval_ms` or another known key, found `report_interval`"
        ],
    );
    spoil_rig(
        "name = \"bench\"",
        "name = \"bench\"\ncolour = \"red\"",
        &expect![
            "rig.toml:2:1: colour: expected one of the keys `name`, `control`, `board`, `wheel`, `simulator` or `button`, found `colour`"
        ],
    );
    spoil_rig(
        "count = 32",
        "count = 32\n\"strange key\" = { x = 1 }",
        &expect![[
            r#"rig.toml:17:1: board.buttons."strange key": expected one of the keys `report_id`, `first_bit`, `first_button` or `count`, found `strange key`"#
        ]],
    );
    spoil_rig(
        "name = \"bench\"",
        "name = \"bench\"\n[[trim]]\nname = \"rudder\"",
        &expect![
            "rig.toml:2:3: trim: expected one of the keys `name`, `control`, `board`, `wheel`, `simulator` or `button`, found `trim`, which belongs in an aircraft file"
        ],
    );
    spoil_rig(
        "[[board.buttons]]",
        "[[knob]]",
        &expect![
            "rig.toml:12:3: knob: expected one of the keys `name`, `control`, `board`, `wheel`, `simulator` or `button`, found `knob`"
        ],
    );
    spoil_rig(
        "forward = 3",
        "FORWARD = 3",
        &expect![[r#"
        rig.toml:18:1: wheel.forward: expected a button number from 1 to 128, found nothing
        rig.toml:22:1: wheel.FORWARD: expected `forward` or another known key, found `FORWARD`"#]],
    );
    // Only the root of a file tells which kind of file it should have been.
    spoil_rig(
        "count = 32",
        "count = 32\ntrim = 1",
        &expect![
            "rig.toml:17:1: board.buttons.trim: expected one of the keys `report_id`, `first_bit`, `first_button` or `count`, found `trim`"
        ],
    );
    // Nothing is repeated at length, and nothing that long is taken for one of our keys.
    spoil_rig(
        "count = 32",
        &format!("count = 32\nfirst_button{} = 1", "x".repeat(150)),
        &expect![[
            r#"rig.toml:17:1: board.buttons."first_buttonxxxxxxxxxxxxxxxxxxxxxxxxxxxx"...: expected one of the keys `report_id`, `first_bit`, `first_button` or `count`, found `first_buttonxxxxxxxxxxxxxxxxxxxxxxxxxxxx...`"#
        ]],
    );
    spoil_rig(
        "count = 32",
        &format!("count = 32\n{} = 1", "c".repeat(41)),
        &expect![[
            r#"rig.toml:17:1: board.buttons."cccccccccccccccccccccccccccccccccccccccc"...: expected one of the keys `report_id`, `first_bit`, `first_button` or `count`, found `cccccccccccccccccccccccccccccccccccccccc...`"#
        ]],
    );
}

#[test]
fn the_wrong_kind_of_value() {
    spoil_rig(
        "name = \"bench\"",
        "name = 7",
        &expect![
            "rig.toml:1:8: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found 7"
        ],
    );
    spoil_rig(
        "name = \"bench\"",
        "name = [\"bench\"]",
        &expect![
            "rig.toml:1:8: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found a list"
        ],
    );
    spoil_rig(
        "name = \"bench\"",
        "name = { is = \"bench\" }",
        &expect![
            "rig.toml:1:8: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found a table"
        ],
    );
    spoil_rig(
        "name = \"bench\"",
        "name = 2026-11-24",
        &expect![
            "rig.toml:1:8: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found the date or time 2026-11-24"
        ],
    );
    spoil_rig(
        "usb = \"1209:7a11\"",
        "usb = 0x12097a11",
        &expect![[
            r#"rig.toml:5:7: board.usb: expected two numbers of four hexadecimal digits, such as "1209:7a11", found 0x12097a11"#
        ]],
    );
    spoil_rig(
        "report_interval_ms = 4",
        "report_interval_ms = \"4\"",
        &expect![[
            r#"rig.toml:6:22: board.report_interval_ms: expected milliseconds from 0.125 to 1000, found "4""#
        ]],
    );
    spoil_rig(
        "forward = 3",
        "forward = 3.0",
        &expect!["rig.toml:22:11: wheel.forward: expected a button number from 1 to 128, found 3.0"],
    );
    spoil_rig(
        "forward = 3",
        "forward = \"3\"",
        &expect![[r#"rig.toml:22:11: wheel.forward: expected a button number from 1 to 128, found "3""#]],
    );
    spoil_rig(
        "forward = 3",
        "forward = [3]",
        &expect!["rig.toml:22:11: wheel.forward: expected a button number from 1 to 128, found a list"],
    );
    spoil_rig(
        "wiring = \"pulses\"",
        "wiring = \"pulse\"",
        &expect![[r#"rig.toml:21:10: wheel.wiring: expected "pulses" or "quadrature", found "pulse""#]],
    );
    spoil_rig(
        "wiring = \"pulses\"",
        "wiring = 1",
        &expect![[r#"rig.toml:21:10: wheel.wiring: expected "pulses" or "quadrature", found 1"#]],
    );
    spoil_rig(
        "pressed_at_rest = true",
        "pressed_at_rest = 1",
        &expect!["rig.toml:34:19: wheel.pressed_at_rest: expected true or false, found 1"],
    );
    spoil_rig(
        "reversed = true",
        "reversed = \"true\"",
        &expect![[r#"rig.toml:35:12: wheel.reversed: expected true or false, found "true""#]],
    );
    check_rig(
        "name = \"bench\"\nboard = 3\nwheel = \"rudder\"",
        &expect![[r#"
        rig.toml:2:9: board: expected [[board]] in double brackets, found 3
        rig.toml:3:9: wheel: expected [[wheel]] in double brackets, found "rudder""#]],
    );
    check_rig(
        "name = \"bench\"\nboard = [3]\nwheel = [[]]",
        &expect![[r#"
        rig.toml:2:10: board: expected a table, found 3
        rig.toml:3:10: wheel: expected a table, found an empty list"#]],
    );
    // Single brackets: one table instead of a list of tables.
    check_rig(
        "name = \"bench\"\n[board]\nname = \"main\"\n[wheel]\nname = \"rudder\"",
        &expect![[r#"
        rig.toml:2:1: board: expected [[board]] in double brackets, found a table
        rig.toml:4:1: wheel: expected [[wheel]] in double brackets, found a table"#]],
    );
}

#[test]
fn out_of_range() {
    spoil_rig(
        "name = \"bench\"",
        "name = \"\"",
        &expect![[
            r#"rig.toml:1:8: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found """#
        ]],
    );
    spoil_rig(
        "name = \"bench\"",
        "name = \" bench\"",
        &expect![[
            r#"rig.toml:1:8: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found " bench""#
        ]],
    );
    spoil_rig(
        "name = \"bench\"",
        "name = \"two\\nlines\"",
        &expect![[
            r#"rig.toml:1:8: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found "two\nlines""#
        ]],
    );
    spoil_rig(
        "name = \"bench\"",
        &format!("name = \"{}\"", "x".repeat(65)),
        &expect![[
            r#"rig.toml:1:8: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"..."#
        ]],
    );
    spoil_rig(
        "usb = \"1209:7a11\"",
        "usb = \"1209:7a1\"",
        &expect![[
            r#"rig.toml:5:7: board.usb: expected two numbers of four hexadecimal digits, such as "1209:7a11", found "1209:7a1""#
        ]],
    );
    spoil_rig(
        "usb = \"1209:7a11\"",
        "usb = \"1209:7a1g\"",
        &expect![[
            r#"rig.toml:5:7: board.usb: expected two numbers of four hexadecimal digits, such as "1209:7a11", found "1209:7a1g""#
        ]],
    );
    spoil_rig(
        "usb = \"1209:7a11\"",
        "usb = \"+209:7a11\"",
        &expect![[
            r#"rig.toml:5:7: board.usb: expected two numbers of four hexadecimal digits, such as "1209:7a11", found "+209:7a11""#
        ]],
    );
    spoil_rig(
        "serial = \"A-2\"",
        "serial = \"\"",
        &expect![[r#"rig.toml:10:10: board.serial: expected text of 1 to 255 characters, found """#]],
    );
    spoil_rig(
        "report_interval_ms = 4",
        "report_interval_ms = 0",
        &expect![
            "rig.toml:6:22: board.report_interval_ms: expected milliseconds from 0.125 to 1000, found 0"
        ],
    );
    spoil_rig(
        "report_interval_ms = 4",
        "report_interval_ms = 1000.1",
        &expect![
            "rig.toml:6:22: board.report_interval_ms: expected milliseconds from 0.125 to 1000, found 1000.1"
        ],
    );
    spoil_rig(
        "report_interval_ms = 4",
        "report_interval_ms = nan",
        &expect![
            "rig.toml:6:22: board.report_interval_ms: expected milliseconds from 0.125 to 1000, found nan"
        ],
    );
    spoil_rig(
        "report_interval_ms = 4",
        "report_interval_ms = -inf",
        &expect![
            "rig.toml:6:22: board.report_interval_ms: expected milliseconds from 0.125 to 1000, found -inf"
        ],
    );
    spoil_rig(
        "report_id = 1",
        "report_id = 0",
        &expect!["rig.toml:13:13: board.buttons.report_id: expected a report number from 1 to 255, found 0"],
    );
    spoil_rig(
        "report_id = 1",
        "report_id = 256",
        &expect![
            "rig.toml:13:13: board.buttons.report_id: expected a report number from 1 to 255, found 256"
        ],
    );
    spoil_rig(
        "first_bit = 8",
        "first_bit = 7",
        &expect![
            "rig.toml:14:13: board.buttons.first_bit: expected 8 or more, because the report's number fills the first 8 bits, found 7"
        ],
    );
    spoil_rig(
        "first_bit = 8",
        "first_bit = -1",
        &expect![
            "rig.toml:14:13: board.buttons.first_bit: expected a whole number from 0 to 131071, found -1"
        ],
    );
    spoil_rig(
        "first_bit = 8",
        "first_bit = 131072",
        &expect![
            "rig.toml:14:13: board.buttons.first_bit: expected a whole number from 0 to 131071, found 131072"
        ],
    );
    spoil_rig(
        "first_bit = 8",
        "first_bit = 131041",
        &expect![
            "rig.toml:14:13: board.buttons.first_bit: expected 32 bits that end by bit 131071, found 131041"
        ],
    );
    spoil_rig(
        "first_button = 1",
        "first_button = 0",
        &expect![
            "rig.toml:15:16: board.buttons.first_button: expected a button number from 1 to 128, found 0"
        ],
    );
    spoil_rig(
        "first_button = 1",
        "first_button = 98",
        &expect![
            "rig.toml:16:9: board.buttons.count: expected at most 31 buttons from button 98 on, found 32"
        ],
    );
    spoil_rig(
        "count = 32",
        "count = 0",
        &expect!["rig.toml:16:9: board.buttons.count: expected a whole number from 1 to 128, found 0"],
    );
    spoil_rig(
        "count = 32",
        "count = 129",
        &expect!["rig.toml:16:9: board.buttons.count: expected a whole number from 1 to 128, found 129"],
    );
    spoil_rig(
        "forward = 3",
        "forward = 0",
        &expect!["rig.toml:22:11: wheel.forward: expected a button number from 1 to 128, found 0"],
    );
    spoil_rig(
        "forward = 3",
        "forward = 129",
        &expect!["rig.toml:22:11: wheel.forward: expected a button number from 1 to 128, found 129"],
    );
    spoil_rig(
        "forward = 3",
        "forward = 99999999999999999999",
        &expect![
            "rig.toml:22:11: wheel.forward: expected a button number from 1 to 128, found 99999999999999999999"
        ],
    );
    spoil_rig(
        "counts_per_cycle = 4",
        "counts_per_cycle = 3",
        &expect!["rig.toml:32:20: wheel.counts_per_cycle: expected 1, 2 or 4, found 3"],
    );
    spoil_rig(
        "counts_per_turn = 96",
        "counts_per_turn = 0",
        &expect!["rig.toml:24:19: wheel.counts_per_turn: expected a whole number from 1 to 1000000, found 0"],
    );
    spoil_rig(
        "counts_per_turn = 96",
        "counts_per_turn = 1_000_001",
        &expect![
            "rig.toml:24:19: wheel.counts_per_turn: expected a whole number from 1 to 1000000, found 1000001"
        ],
    );
    spoil_rig(
        "counts_per_turn = 96",
        "counts_per_turn = 96.5",
        &expect![
            "rig.toml:24:19: wheel.counts_per_turn: expected a whole number from 1 to 1000000, found 96.5"
        ],
    );
}

#[test]
fn the_limits_themselves_are_allowed() {
    good_rig(&spoiled(RIG, "first_bit = 8", "first_bit = 131040"));
    good_rig(&spoiled(RIG, "first_button = 1\ncount = 32", "first_button = 1\ncount = 128"));
    good_rig(&spoiled(RIG, "report_interval_ms = 4", "report_interval_ms = 0.125"));
    good_rig(&spoiled(RIG, "report_interval_ms = 4", "report_interval_ms = 1000"));
    good_rig(&spoiled(RIG, "report_id = 1", "report_id = 255"));
    good_rig(&spoiled(RIG, "counts_per_turn = 96", "counts_per_turn = 1_000_000"));
    good_rig(&spoiled(RIG, "name = \"bench\"", &format!("name = \"{}\"", "\u{e9}".repeat(64))));
}

#[test]
fn names_that_do_not_tell_apart() {
    spoil_rig(
        "name = \"second\"",
        "name = \"main\"",
        &expect![[r#"
            rig.toml:9:8: board.name: expected a name that no other [[board]] has, found "main", as on line 4
            rig.toml:28:9: wheel.board: expected the name of a [[board]]: "main", found "second""#]],
    );
    spoil_rig(
        "name = \"elevator\"",
        "name = \"rudder\"",
        &expect![[
            r#"rig.toml:27:8: wheel.name: expected a name that no other [[wheel]] has, found "rudder", as on line 19"#
        ]],
    );
}

#[test]
fn boards_that_cannot_be_told_apart() {
    let twin = "\n[[board]]\nname = \"twin\"\nusb = \"1209:7A11\"\n";
    check_rig(
        &format!("{RIG}{twin}"),
        &expect![[
            r#"rig.toml:37:1: board: expected a `usb`, `serial` or `path` that tells it from every other board, found the same as for "main""#
        ]],
    );
    // A serial number of its own is enough.
    good_rig(&format!("{RIG}{twin}serial = \"B\"\n"));
}

#[test]
fn a_board_that_is_none() {
    spoil_rig(
        "board = \"second\"",
        "board = \"secnd\"",
        &expect![[
            r#"rig.toml:28:9: wheel.board: expected the name of a [[board]]: "main" or "second", found "secnd""#
        ]],
    );
    // With a board whose name cannot be read, that one may be meant: only its name is told.
    spoil_rig(
        "name = \"second\"",
        "name = 2",
        &expect![
            "rig.toml:9:8: board.name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found 2"
        ],
    );
}

#[test]
fn buttons_with_two_uses() {
    spoil_rig(
        "backward = 4",
        "backward = 3",
        &expect![[
            r#"rig.toml:23:12: wheel.backward: expected a button without another use, found 3, which is `forward` of wheel "rudder" on line 22"#
        ]],
    );
    spoil_rig(
        "b = 2",
        "b = 1",
        &expect![[
            r#"rig.toml:31:5: wheel.b: expected a button without another use, found 1, which is `a` of wheel "elevator" on line 30"#
        ]],
    );
    let third = "\n[[wheel]]\nname = \"aileron\"\nboard = \"main\"\nwiring = \"pulses\"\nforward = 5\nbackward = 4\n\
                 counts_per_turn = 24\n";
    check_rig(
        &format!("{RIG}{third}"),
        &expect![[
            r#"rig.toml:42:12: wheel.backward: expected a button without another use, found 4, which is `backward` of wheel "rudder" on line 23"#
        ]],
    );
    // The same number on another board is another button.
    good_rig(&spoiled(
        &format!("{RIG}{third}"),
        "board = \"main\"\nwiring = \"pulses\"\nforward = 5",
        "board = \"second\"\nwiring = \"pulses\"\nforward = 5",
    ));
}

#[test]
fn a_button_that_the_board_does_not_have() {
    spoil_rig(
        "a = 1",
        "a = 33",
        &expect![
            "rig.toml:30:5: wheel.a: expected a button that one of the board's [[board.buttons]] has, found 33"
        ],
    );
}

#[test]
fn keys_of_the_other_wiring() {
    spoil_rig(
        "forward = 3",
        "forward = 3\na = 7\nb = 8\ncounts_per_cycle = 4",
        &expect![[r#"
        rig.toml:23:5: wheel.a: expected this key only with wiring = "quadrature", found it with wiring = "pulses"
        rig.toml:24:5: wheel.b: expected this key only with wiring = "quadrature", found it with wiring = "pulses"
        rig.toml:25:20: wheel.counts_per_cycle: expected this key only with wiring = "quadrature", found it with wiring = "pulses""#]],
    );
    spoil_rig(
        "a = 1",
        "a = 1\nforward = 7\nbackward = 8",
        &expect![[r#"
        rig.toml:31:11: wheel.forward: expected this key only with wiring = "pulses", found it with wiring = "quadrature"
        rig.toml:32:12: wheel.backward: expected this key only with wiring = "pulses", found it with wiring = "quadrature""#]],
    );
    spoil_rig(
        "wiring = \"pulses\"",
        "wiring = \"quadrature\"",
        &expect![[r#"
        rig.toml:18:1: wheel.a: expected a button number from 1 to 128, found nothing
        rig.toml:18:1: wheel.b: expected a button number from 1 to 128, found nothing
        rig.toml:18:1: wheel.counts_per_cycle: expected 1, 2 or 4, found nothing
        rig.toml:22:11: wheel.forward: expected this key only with wiring = "pulses", found it with wiring = "quadrature"
        rig.toml:23:12: wheel.backward: expected this key only with wiring = "pulses", found it with wiring = "quadrature""#]],
    );
}

#[test]
fn runs_of_buttons_that_contradict() {
    let run = |rest: &str| format!("count = 32\n[[board.buttons]]\n{rest}");
    spoil_rig(
        "count = 32",
        &run("report_id = 1\nfirst_bit = 39\nfirst_button = 33\ncount = 8"),
        &expect![
            "rig.toml:17:1: board.buttons: expected bits that no other run has, found some that an earlier run has"
        ],
    );
    spoil_rig(
        "count = 32",
        &run("report_id = 1\nfirst_bit = 40\nfirst_button = 32\ncount = 8"),
        &expect![
            "rig.toml:17:1: board.buttons: expected button numbers that no other run has, found some that an earlier run has"
        ],
    );
    spoil_rig(
        "count = 32",
        &run("first_bit = 40\nfirst_button = 33\ncount = 8"),
        &expect![
            "rig.toml:17:1: board.buttons: expected a `report_id` in every run of buttons or in none, found some with and some without"
        ],
    );
    let good = run("report_id = 1\nfirst_bit = 40\nfirst_button = 33\ncount = 8");
    good_rig(&spoiled(RIG, "count = 32", &good));
    // Side by side from below.
    let below = run("report_id = 1\nfirst_bit = 8\nfirst_button = 1\ncount = 8");
    let above = spoiled(RIG, "first_bit = 8\nfirst_button = 1\n", "first_bit = 16\nfirst_button = 9\n");
    good_rig(&spoiled(&spoiled(&above, "count = 32", &below), "a = 1", "a = 40"));
    // The same bits of another report are other bits.
    let good = run("report_id = 2\nfirst_bit = 8\nfirst_button = 33\ncount = 8");
    good_rig(&spoiled(RIG, "count = 32", &good));
    spoil_rig(
        "[[board.buttons]]\nreport_id = 1\nfirst_bit = 8\nfirst_button = 1\ncount = 32",
        "buttons = []",
        &expect!["rig.toml:12:11: board.buttons: expected at least one [[board.buttons]], found nothing"],
    );
}

#[test]
fn too_many() {
    let wheels: String = (0..65)
        .map(|i| format!("[[wheel]]\nname = \"w{i}\"\nwiring = \"pulses\"\nforward = 1\nbackward = 2\ncounts_per_turn = 9\n"))
        .collect();
    let text = format!("name = \"bench\"\n[[board]]\nname = \"main\"\nusb = \"1209:7a11\"\n{wheels}");
    let messages = common::rig_messages(&text);
    let of_too_many: Vec<_> = messages.lines().filter(|line| line.contains("at most")).collect();
    expect!["rig.toml:389:1: wheel: expected at most 64 [[wheel]], found 65"]
        .assert_eq(&of_too_many.join("\n"));
}

/// All at once: one mistake does not hide another.
#[test]
fn every_mistake_is_told() {
    check_rig(
        r#"nam = "bench"
[[board]]
name = 5
usb = "1209-7a11"
[[board]]
report_interval_ms = 0.01
[[wheel]]
name = "rudder"
board = "man"
wiring = "pulse"
forward = 200
counts_per_turn = "96"
[[wheel]]
name = "rudder"
wiring = "pulses"
forward = 1
backward = 1
a = 2
"#,
        &expect![[r#"
            rig.toml:1:1: nam: expected `name` or another known key, found `nam`
            rig.toml:1:1: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found nothing
            rig.toml:3:8: board.name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found 5
            rig.toml:4:7: board.usb: expected two numbers of four hexadecimal digits, such as "1209:7a11", found "1209-7a11"
            rig.toml:5:1: board.name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found nothing
            rig.toml:5:1: board.usb: expected one of the keys `usb`, `serial` and `path`, found nothing
            rig.toml:6:22: board.report_interval_ms: expected milliseconds from 0.125 to 1000, found 0.01
            rig.toml:10:10: wheel.wiring: expected "pulses" or "quadrature", found "pulse"
            rig.toml:11:11: wheel.forward: expected a button number from 1 to 128, found 200
            rig.toml:12:19: wheel.counts_per_turn: expected a whole number from 1 to 1000000, found "96"
            rig.toml:13:1: wheel.board: expected the name of a [[board]], found nothing
            rig.toml:13:1: wheel.counts_per_turn: expected a whole number from 1 to 1000000, found nothing
            rig.toml:14:8: wheel.name: expected a name that no other [[wheel]] has, found "rudder", as on line 8
            rig.toml:18:5: wheel.a: expected this key only with wiring = "quadrature", found it with wiring = "pulses""#]],
    );
}

#[test]
fn the_keys_of_a_wheel_that_most_leave_out() {
    let spoil = |from: &str, to: &str, expected: &Expect| check_rig(&spoiled(RARE_RIG, from, to), expected);
    spoil(
        "counts_per_detent = 4",
        "counts_per_detent = 0",
        &expect![[
            r#"rig.toml:11:21: wheel.counts_per_detent: expected a whole number from 1 to 1000, found 0"#
        ]],
    );
    spoil(
        "counts_per_detent = 4",
        "counts_per_detent = 1.5",
        &expect![[
            r#"rig.toml:11:21: wheel.counts_per_detent: expected a whole number from 1 to 1000, found 1.5"#
        ]],
    );
    spoil(
        "pulse_on_ms = 10",
        "pulse_on_ms = 0",
        &expect![[r#"rig.toml:12:15: wheel.pulse_on_ms: expected milliseconds from 0.125 to 1000, found 0"#]],
    );
    spoil(
        "pulse_off_ms = 2.5",
        "pulse_off_ms = \"2.5\"",
        &expect![[
            r#"rig.toml:13:16: wheel.pulse_off_ms: expected milliseconds from 0.125 to 1000, found "2.5""#
        ]],
    );
    spoil(
        "index = 9",
        "index = 129",
        &expect![[r#"rig.toml:14:9: wheel.index: expected a button number from 1 to 128, found 129"#]],
    );
    spoil(
        "index = 9",
        "index = 3",
        &expect![[
            r#"rig.toml:14:9: wheel.index: expected a button without another use, found 3, which is `forward` of wheel "rudder" on line 8"#
        ]],
    );
    spoil(
        "wiring = \"pulses\"\nforward = 3\nbackward = 4",
        "wiring = \"quadrature\"\na = 3\nb = 4\ncounts_per_cycle = 1",
        &expect![[r#"
            rig.toml:13:15: wheel.pulse_on_ms: expected this key only with wiring = "pulses", found it with wiring = "quadrature"
            rig.toml:14:16: wheel.pulse_off_ms: expected this key only with wiring = "pulses", found it with wiring = "quadrature""#]],
    );
}

/// An index mark is a line of its own: no other wheel can have its button, whichever comes first.
#[test]
fn an_index_that_another_wheel_uses() {
    let second =
        "[[wheel]]\nname = \"w\"\nwiring = \"pulses\"\nforward = 9\nbackward = 5\ncounts_per_turn = 24\n";
    check_rig(
        &format!("{RARE_RIG}{second}"),
        &expect![[
            r#"rig.toml:18:11: wheel.forward: expected a button without another use, found 9, which is `index` of wheel "rudder" on line 14"#
        ]],
    );
    check_rig(
        &format!("{RARE_RIG}{}index = 4\n", second.replace("= 9", "= 6")),
        &expect![[
            r#"rig.toml:21:9: wheel.index: expected a button without another use, found 4, which is `backward` of wheel "rudder" on line 9"#
        ]],
    );
}

#[test]
fn hiding() {
    assert!(!good_rig(RIG).boards[0].hide);
    let hidden = good_rig(&spoiled(RIG, "report_interval_ms = 4", "hide = true"));
    assert_eq!((hidden.boards[0].hide, hidden.boards[1].hide), (true, false));
    spoil_rig(
        "report_interval_ms = 4",
        "hide = 1",
        &expect!["rig.toml:6:8: board.hide: expected true or false, found 1"],
    );
    // Of buttons that only the rig file knows, the kernel knows nothing.
    spoil_rig(
        "path = \"/dev/hidraw3\"",
        "hide = true",
        &expect![
            "rig.toml:11:8: board.hide: expected false with [[board.buttons]], because the kernel does not know these buttons, found true"
        ],
    );
    good_rig(&spoiled(RIG, "path = \"/dev/hidraw3\"", "hide = false"));
}
