//! Files that are no TOML, and what an editor may make of a file.

mod common;

use common::{RIG, check_rig, good_rig, rig_messages};
use expect_test::expect;
use tallywheel_profile::LARGEST_FILE_BYTES;

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
