//! Files that are no TOML, and what an editor may make of a file.

mod common;

use common::{RIG, check_rig, good_rig, rig_messages, spoil_rig};
use expect_test::expect;
use tallywheel_profile::LARGEST_FILE_BYTES;

#[test]
fn a_value_that_is_none() {
    spoil_rig(
        "name = \"bench\"",
        "name = bench",
        &expect!["rig.toml:1:8: name: expected a number, true, false or text in quotes, found `bench`"],
    );
    spoil_rig(
        "name = \"bench\"",
        "name =",
        &expect![
            "rig.toml:1:7: name: expected a number, true, false or text in quotes, found the end of the line"
        ],
    );
    spoil_rig(
        "name = \"bench\"",
        "name = \"bench",
        &expect![[r#"rig.toml:1:14: name: expected `"`, found the end of the line (invalid basic string)"#]],
    );
    spoil_rig(
        "name = \"bench\"",
        "name = \"be\\qnch\"",
        &expect![[
            r#"rig.toml:1:12: name: expected `b`, `e`, `f`, `n`, `r`, `\`, `"`, `x`, `u` or `U`, found `q` (missing escaped value)"#
        ]],
    );
    spoil_rig(
        "name = \"bench\"",
        "name = \u{201c}bench\u{201d}",
        &expect!["rig.toml:1:8: name: expected a number, true, false or text in quotes, found `“bench”`"],
    );
    spoil_rig(
        "counts_per_turn = 96",
        "counts_per_turn = 1,5",
        &expect![
            "rig.toml:24:20: wheel.counts_per_turn: expected the end of the line or `#`, found `,` (unexpected key or value)"
        ],
    );
    spoil_rig(
        "counts_per_turn = 96",
        "counts_per_turn = 096",
        &expect![
            "rig.toml:24:19: wheel.counts_per_turn: expected a number without a zero in front, found `0`"
        ],
    );
    spoil_rig(
        "counts_per_turn = 96",
        "counts_per_turn = 96 counts",
        &expect![
            "rig.toml:24:19: wheel.counts_per_turn: expected a number, true, false or text in quotes, found `96 counts`"
        ],
    );
    spoil_rig(
        "counts_per_turn = 96",
        "counts_per_turn = 0x",
        &expect![
            "rig.toml:24:19: wheel.counts_per_turn: expected a whole number from 1 to 1000000, found 0x"
        ],
    );
    spoil_rig(
        "pressed_at_rest = true",
        "pressed_at_rest = True",
        &expect!["rig.toml:34:19: wheel.pressed_at_rest: expected `true`, found `True` (invalid boolean)"],
    );
    spoil_rig(
        "pressed_at_rest = true",
        "pressed_at_rest = yes",
        &expect![
            "rig.toml:34:19: wheel.pressed_at_rest: expected a number, true, false or text in quotes, found `yes`"
        ],
    );
}

#[test]
fn a_line_that_is_none() {
    spoil_rig(
        "name = \"bench\"",
        "name \"bench\"",
        &expect![[r#"rig.toml:1:6: name: expected `=`, found `"` (key with no value)"#]],
    );
    spoil_rig(
        "name = \"bench\"",
        "name: \"bench\"",
        &expect![
            "rig.toml:1:5: name: expected letters, numbers, `-` or `_`, found `:` (invalid unquoted key)"
        ],
    );
    spoil_rig(
        "name = \"bench\"",
        "= \"bench\"",
        &expect![
            "rig.toml:1:1: (file): expected letters, numbers, `-` or `_`, found `=` (unquoted keys cannot be empty)"
        ],
    );
    spoil_rig(
        "name = \"bench\"",
        "the rig name = \"bench\"",
        &expect!["rig.toml:1:5: (file): expected `=`, found `r` (key with no value)"],
    );
    spoil_rig(
        "[[board.buttons]]",
        "[[board.buttons]",
        &expect![
            "rig.toml:12:17: board.buttons: expected `]`, found the end of the line (unclosed array table)"
        ],
    );
    spoil_rig(
        "[[board.buttons]]",
        "[]",
        &expect![
            "rig.toml:12:2: (file): expected letters, numbers, `-` or `_`, found `]` (unquoted keys cannot be empty)"
        ],
    );
}

#[test]
fn a_key_twice() {
    spoil_rig(
        "forward = 3",
        "forward = 3\nforward = 5",
        &expect!["rig.toml:23:1: wheel.forward: expected each key once, found `forward` again"],
    );
    spoil_rig(
        "[[board.buttons]]",
        "[board]",
        &expect!["rig.toml:12:2: board: expected each key once, found `board` again"],
    );
}

/// The mistake is told, and not what the parser then made of the rest of the file.
#[test]
fn something_left_open() {
    spoil_rig(
        "forward = 3",
        "forward = [3",
        &expect![
            "rig.toml:23:1: wheel.backward: expected `,`, found `b` (missing comma between array elements)"
        ],
    );
    spoil_rig(
        "forward = 3",
        "forward = { n = 3",
        &expect![
            "rig.toml:23:1: wheel.backward: expected `,`, found `b` (missing comma between key-value pairs)"
        ],
    );
    spoil_rig(
        "forward = 3",
        "forward = \"\"\"3",
        &expect![[
            r#"rig.toml:36:1: wheel: expected `"`, found the end of the file (invalid multi-line basic string)"#
        ]],
    );
}

#[test]
fn lines_that_are_none_do_not_hide_each_other() {
    check_rig(
        "name = bench\n[[board]]\nusb = 1209:7a11\n[[wheel]]\nname \"rudder\" # mine\nforward = \n",
        &expect![[r#"
            rig.toml:1:8: name: expected a number, true, false or text in quotes, found `bench`
            rig.toml:3:7: board.usb: expected a number, true, false or text in quotes, found `1209:7a11`
            rig.toml:5:6: wheel.name: expected `=`, found `"` (key with no value)"#]],
    );
}

#[test]
fn an_empty_file() {
    for text in ["", "\n\n", "# nothing yet\n", "\u{feff}", "  \t"] {
        expect!["rig.toml:1:1: (file): expected keys and their values, found an empty file"]
            .assert_eq(&rig_messages(text));
    }
}

#[test]
fn windows_line_ends_and_a_byte_order_mark_change_nothing() {
    let windows = format!("\u{feff}{}", RIG.replace('\n', "\r\n"));
    assert_eq!(good_rig(&windows), good_rig(RIG));
    // The place is that in the editor.
    let spoiled = windows.replace("name = \"bench\"", "name = 7").replace("forward = 3", "forward = 0");
    check_rig(
        &spoiled,
        &expect![[r#"
        rig.toml:1:8: name: expected a name of 1 to 64 characters, without line breaks and without blanks at its ends, found 7
        rig.toml:22:11: wheel.forward: expected a button number from 1 to 128, found 0"#]],
    );
}

#[test]
fn a_lone_carriage_return_is_no_line_end() {
    check_rig(
        "name = \"bench\"\r[[board]]\r",
        &expect![
            "rig.toml:1:16: name: expected the end of the line, found `[` (carriage return must be followed by newline)"
        ],
    );
}

#[test]
fn a_file_that_is_too_large() {
    let comment = "# padding\n".repeat(LARGEST_FILE_BYTES / 10);
    let text = format!("{RIG}{comment}");
    check_rig(&text, &expect!["rig.toml:1:1: (file): expected at most 1048576 bytes, found 1049057 bytes"]);
    good_rig(&format!("{RIG}{}", "#".repeat(LARGEST_FILE_BYTES - RIG.len())));
}

/// More mistakes than anybody reads: the first hundred and a number.
#[test]
fn a_file_full_of_mistakes() {
    let text: String = (0..100_000).map(|i| format!("k{i}=1\n")).collect();
    let messages = rig_messages(&text);
    assert_eq!(messages.lines().count(), 101);
    expect!["and 99903 more"].assert_eq(messages.lines().last().unwrap_or(""));
}

/// Of a large file that is no TOML only the first mistake is looked for.
#[test]
fn a_large_file_of_noise() {
    let messages = rig_messages(&"name = bench\n".repeat(10_000));
    expect!["rig.toml:1:8: name: expected a number, true, false or text in quotes, found `bench`"]
        .assert_eq(&messages);
}

/// The parser recurses; it must stop before the stack does.
#[test]
fn nesting_without_end() {
    let deep = 200_000;
    for text in [
        format!("a = {}", "[".repeat(deep)),
        format!("a = {}", "{a=".repeat(deep)),
        format!("{}a = 1", "a.".repeat(deep)),
        format!("[{}a]", "a.".repeat(deep)),
        format!("[[{}a]]", "a.".repeat(deep)),
    ] {
        assert_eq!(rig_messages(&text).lines().count(), 1);
    }
}
