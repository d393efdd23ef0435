//! Every kind of mistake in the outputs of an aircraft file, but for those of `aircraft_mistakes.rs`.

mod common;

use common::{aircraft_messages, spoiled};
use expect_test::{Expect, expect};

const AIRCRAFT: &str = "name = \"T\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 90\n[[output]]\n";

/// The messages for an output with these keys, which begin on line 6.
fn check(keys: &str, expected: &Expect) {
    expected.assert_eq(&aircraft_messages(&format!("{AIRCRAFT}{keys}\n")));
}

/// The messages for a datagram with these keys, which begin on line 8.
fn datagram(keys: &str, expected: &Expect) {
    check(&format!("kind = \"datagram\"\nto = \"127.0.0.1:9\"\n{keys}"), expected);
}

/// The messages for a layout with one field of these keys, after a good one; it is on line 10.
fn field(keys: &str, expected: &Expect) {
    let layout = format!("template = \"layout\"\nlayout = [{{ trim = \"rudder\" }},\n{{ {keys} }}]");
    datagram(&layout, expected);
}

#[test]
fn receivers() {
    for to in ["127.0.0.1", "127.0.0.1:0", "127.0.0.256:9", "sim pc:9", "simpc", "simpc:0", ":9"] {
        let text = format!("{AIRCRAFT}kind = \"datagram\"\nto = \"{to}\"\n");
        let expected =
            "an IP address or a host name and a port, such as \"127.0.0.1:47811\" or \"simpc.local:47811\"";
        assert_eq!(
            aircraft_messages(&text),
            format!("a.toml:7:6: output.to: expected {expected}, found {to:?}")
        );
    }
}

#[test]
fn ranges() {
    datagram(
        "range = [1, -1]",
        &expect![
            "a.toml:8:9: output.range: expected the lower end first; `reversed = true` turns it round, found 1 and -1"
        ],
    );
    datagram(
        "range = [0.5, 0.5]",
        &expect![
            "a.toml:8:9: output.range: expected the lower end first; `reversed = true` turns it round, found 0.5 and 0.5"
        ],
    );
    datagram(
        "range = [1]",
        &expect!["a.toml:8:9: output.range: expected two numbers, such as [0, 1], found 1 numbers"],
    );
    datagram(
        "range = [0, 1, 2]",
        &expect!["a.toml:8:9: output.range: expected two numbers, such as [0, 1], found 3 numbers"],
    );
    datagram("range = 1", &expect!["a.toml:8:9: output.range: expected a list in square brackets, found 1"]);
    datagram(
        "range = [0, \"1\"]",
        &expect![[
            r#"a.toml:8:13: output.range: expected a number from -1000000000 to 1000000000, found "1""#
        ]],
    );
    datagram(
        "range = [0, inf]",
        &expect!["a.toml:8:13: output.range: expected a number from -1000000000 to 1000000000, found inf"],
    );
    datagram(
        "range = [0, nan]",
        &expect!["a.toml:8:13: output.range: expected a number from -1000000000 to 1000000000, found nan"],
    );
    datagram("reversed = 1", &expect!["a.toml:8:12: output.reversed: expected true or false, found 1"]);
    check(
        "kind = \"axis\"\nrange = [0, 2]",
        &expect!["a.toml:7:9: output.range: expected a part of an axis, from -1 to 1 at most, found 0 and 2"],
    );
    check(
        "kind = \"axis\"\nrange = [-1.01, 0]",
        &expect![
            "a.toml:7:9: output.range: expected a part of an axis, from -1 to 1 at most, found -1.01 and 0"
        ],
    );
}

#[test]
fn times() {
    datagram(
        "min_interval_ms = 0",
        &expect![
            "a.toml:8:19: output.min_interval_ms: expected milliseconds, a whole number from 1 to 10000, found 0"
        ],
    );
    datagram(
        "min_interval_ms = 10001",
        &expect![
            "a.toml:8:19: output.min_interval_ms: expected milliseconds, a whole number from 1 to 10000, found 10001"
        ],
    );
    datagram(
        "min_interval_ms = 1.5",
        &expect![
            "a.toml:8:19: output.min_interval_ms: expected milliseconds, a whole number from 1 to 10000, found 1.5"
        ],
    );
    datagram(
        "keep_alive_ms = 9",
        &expect![
            "a.toml:8:17: output.keep_alive_ms: expected milliseconds, a whole number from 10 to 3600000, found 9"
        ],
    );
    datagram(
        "keep_alive_ms = 3600001",
        &expect![
            "a.toml:8:17: output.keep_alive_ms: expected milliseconds, a whole number from 10 to 3600000, found 3600001"
        ],
    );
    datagram(
        "min_interval_ms = 100\nkeep_alive_ms = 99",
        &expect!["a.toml:9:17: output.keep_alive_ms: expected at least `min_interval_ms`, 100, found 99"],
    );
}

#[test]
fn keys_of_another_kind_or_template() {
    let all = "template = \"json\"\nprefix = \"/t\"\nlayout = []\nmin_interval_ms = 5\nkeep_alive_ms = 50";
    check(
        &format!("kind = \"axis\"\n{all}"),
        &expect![[r#"
        a.toml:7:12: output.template: expected this key only with kind = "datagram", found it with kind = "axis"
        a.toml:8:10: output.prefix: expected this key only with kind = "datagram", found it with kind = "axis"
        a.toml:9:10: output.layout: expected this key only with kind = "datagram", found it with kind = "axis"
        a.toml:10:19: output.min_interval_ms: expected this key only with kind = "datagram", found it with kind = "axis"
        a.toml:11:17: output.keep_alive_ms: expected this key only with kind = "datagram", found it with kind = "axis""#]],
    );
    datagram(
        all,
        &expect![[r#"
        a.toml:9:10: output.prefix: expected this key only with template = "osc", found it with another template
        a.toml:10:10: output.layout: expected this key only with template = "layout", found it with another template"#]],
    );
    datagram(
        "template = \"layout\"\ntrims = [\"rudder\"]\nlayout = [{ trim = \"rudder\" }]",
        &expect![[
            r#"a.toml:9:9: output.trims: expected this key only with another template, found it with template = "layout""#
        ]],
    );
}

#[test]
fn templates() {
    datagram(
        "template = \"xml\"",
        &expect![[
            r#"a.toml:8:12: output.template: expected "json", "line", "osc", "packed" or "layout", found "xml""#
        ]],
    );
    datagram(
        "template = \"osc\"\nprefix = \"tallywheel\"",
        &expect![[
            r#"a.toml:9:10: output.prefix: expected the beginning of an OSC address, such as "/tallywheel", found "tallywheel""#
        ]],
    );
    datagram(
        "template = \"osc\"\nprefix = \"/\"",
        &expect![[
            r#"a.toml:9:10: output.prefix: expected the beginning of an OSC address, such as "/tallywheel", found "/""#
        ]],
    );
    datagram(
        "template = \"osc\"\nprefix = \"/a b\"",
        &expect![[
            r#"a.toml:9:10: output.prefix: expected the beginning of an OSC address, such as "/tallywheel", found "/a b""#
        ]],
    );
}

#[test]
fn layouts() {
    datagram(
        "template = \"layout\"",
        &expect![[
            r#"a.toml:5:1: output.layout: expected the fields of the datagram, such as [{ trim = "rudder" }], found nothing"#
        ]],
    );
    datagram(
        "template = \"layout\"\nlayout = []",
        &expect!["a.toml:9:10: output.layout: expected at least one field with `trim`, found none"],
    );
    datagram(
        "template = \"layout\"\nlayout = \"x\"",
        &expect![[r#"a.toml:9:10: output.layout: expected [[output.layout]] in double brackets, found "x""#]],
    );
    datagram(
        "template = \"layout\"\nlayout = [1]",
        &expect!["a.toml:9:11: output.layout: expected a table, found 1"],
    );
    datagram(
        "template = \"layout\"\nlayout = [{ text = \"no trim\" }]",
        &expect!["a.toml:9:10: output.layout: expected at least one field with `trim`, found none"],
    );
    let many = "{ trim = \"rudder\" },".repeat(65);
    datagram(
        &format!("template = \"layout\"\nlayout = [{many}]"),
        &expect!["a.toml:9:1291: output.layout: expected at most 64 fields, found 65"],
    );
}

#[test]
fn a_field_is_one_thing() {
    field(
        "",
        &expect![
            "a.toml:10:1: output.layout: expected one of the keys `text`, `trim`, `value`, `number` or `pad_to`, found none of them"
        ],
    );
    field(
        "type = \"u8\"",
        &expect![
            "a.toml:10:1: output.layout: expected one of the keys `text`, `trim`, `value`, `number` or `pad_to`, found none of them"
        ],
    );
    field(
        "text = \"a\", trim = \"rudder\"",
        &expect![
            "a.toml:10:22: output.layout: expected only one of `text`, `trim`, `value`, `number` and `pad_to`, found `trim` beside `text`"
        ],
    );
    field(
        "number = 1, value = \"sequence\"",
        &expect![
            "a.toml:10:12: output.layout: expected only one of `text`, `trim`, `value`, `number` and `pad_to`, found `number` beside `value`"
        ],
    );
    field(
        "pad_to = 10, number = 1",
        &expect![
            "a.toml:10:12: output.layout: expected only one of `text`, `trim`, `value`, `number` and `pad_to`, found `pad_to` beside `number`"
        ],
    );
    field(
        "txt = \"a\"",
        &expect![[r#"
        a.toml:10:1: output.layout: expected one of the keys `text`, `trim`, `value`, `number` or `pad_to`, found none of them
        a.toml:10:3: output.layout.txt: expected `text` or another known key, found `txt`"#]],
    );
}

#[test]
fn values_of_fields() {
    field(
        "text = \"\"",
        &expect![[r#"a.toml:10:10: output.layout.text: expected text, at least one character, found """#]],
    );
    field(
        "trim = \"pitch\"",
        &expect![[
            r#"a.toml:10:10: output.layout.trim: expected the name of a [[trim]]: "rudder", found "pitch""#
        ]],
    );
    field(
        "trim = \"rudder\", value = \"angle\"",
        &expect![[
            r#"a.toml:10:28: output.layout.value: expected "position", "axis", "degrees", "counts", "sequence", "time_s" or "time_us", found "angle""#
        ]],
    );
    field(
        "trim = \"rudder\", value = \"sequence\"",
        &expect![[
            r#"a.toml:10:28: output.layout.value: expected "position", "axis", "degrees" or "counts" of a trim, found "sequence""#
        ]],
    );
    field(
        "value = \"degrees\"",
        &expect![[
            r#"a.toml:10:11: output.layout.value: expected `trim` beside it, or "sequence", "time_s" or "time_us", found "degrees""#
        ]],
    );
    field(
        "number = nan",
        &expect![
            "a.toml:10:12: output.layout.number: expected a number from -1000000000 to 1000000000, found nan"
        ],
    );
    field(
        "number = 1, type = \"u128\"",
        &expect![[
            r#"a.toml:10:22: output.layout.type: expected "i8", "u8", "i16", "u16", "i32", "u32", "i64", "u64", "f32" or "f64", found "u128""#
        ]],
    );
    field(
        "number = 1, type = \"u8\", byte_order = \"middle\"",
        &expect![[r#"a.toml:10:41: output.layout.byte_order: expected "little" or "big", found "middle""#]],
    );
    field(
        "number = 1, digits = 16",
        &expect!["a.toml:10:24: output.layout.digits: expected a whole number from 0 to 15, found 16"],
    );
    field(
        "number = 1, width = 0",
        &expect!["a.toml:10:23: output.layout.width: expected a whole number from 1 to 64, found 0"],
    );
    field(
        "number = 1, width = 65",
        &expect!["a.toml:10:23: output.layout.width: expected a whole number from 1 to 64, found 65"],
    );
    field(
        "number = 1, leading_zeros = 1",
        &expect!["a.toml:10:31: output.layout.leading_zeros: expected true or false, found 1"],
    );
    field(
        "number = 1, plus_sign = \"yes\"",
        &expect![[r#"a.toml:10:27: output.layout.plus_sign: expected true or false, found "yes""#]],
    );
    field(
        "pad_to = 1401",
        &expect!["a.toml:10:12: output.layout.pad_to: expected a whole number from 1 to 1400, found 1401"],
    );
    field(
        "pad_to = 9, pad_with = 256",
        &expect!["a.toml:10:26: output.layout.pad_with: expected a whole number from 0 to 255, found 256"],
    );
    field(
        "pad_to = 9, pad_with = \" \"",
        &expect![[
            r#"a.toml:10:26: output.layout.pad_with: expected a whole number from 0 to 255, found " ""#
        ]],
    );
    field(
        "trim = \"rudder\", range = [1, 0]",
        &expect![
            "a.toml:10:28: output.layout.range: expected the lower end first; `reversed = true` turns it round, found 1 and 0"
        ],
    );
}

#[test]
fn types_that_a_counter_outgrows() {
    field(
        "value = \"sequence\", type = \"i16\"",
        &expect![[
            r#"a.toml:10:30: output.layout.type: expected an unsigned type, "i64" or "f64" for what counts on for ever, found "i16""#
        ]],
    );
    field(
        "value = \"time_us\", type = \"f32\"",
        &expect![[
            r#"a.toml:10:29: output.layout.type: expected an unsigned type, "i64" or "f64" for what counts on for ever, found "f32""#
        ]],
    );
    field(
        "value = \"time_s\", type = \"u64\"",
        &expect![[r#"a.toml:10:28: output.layout.type: expected "f64" for seconds, found "u64""#]],
    );
}

#[test]
fn keys_that_say_nothing_in_a_field() {
    let text = "digits = 1, width = 1, leading_zeros = true, plus_sign = true";
    let binary = "type = \"u8\", byte_order = \"big\"";
    let range = "range = [0, 1], reversed = true, pad_with = 1";
    field(
        &format!("text = \"a\", {text}, {binary}, {range}"),
        &expect![[r#"
            a.toml:10:24: output.layout.digits: expected this key only with a number as text, without `type`, found it with `text`
            a.toml:10:35: output.layout.width: expected this key only with a number as text, without `type`, found it with `text`
            a.toml:10:54: output.layout.leading_zeros: expected this key only with a number as text, without `type`, found it with `text`
            a.toml:10:72: output.layout.plus_sign: expected this key only with a number as text, without `type`, found it with `text`
            a.toml:10:85: output.layout.type: expected this key only with a number, found it with `text`
            a.toml:10:104: output.layout.byte_order: expected this key only with `type`, found it with `text`
            a.toml:10:119: output.layout.range: expected this key only with the position of a trim, found it with `text`
            a.toml:10:138: output.layout.reversed: expected this key only with the position of a trim, found it with `text`
            a.toml:10:155: output.layout.pad_with: expected this key only with `pad_to`, found it with `text`"#]],
    );
    field(
        &format!("pad_to = 9, {text}, {binary}, range = [0, 1], reversed = true"),
        &expect![[r#"
            a.toml:10:24: output.layout.digits: expected this key only with a number as text, without `type`, found it with `pad_to`
            a.toml:10:35: output.layout.width: expected this key only with a number as text, without `type`, found it with `pad_to`
            a.toml:10:54: output.layout.leading_zeros: expected this key only with a number as text, without `type`, found it with `pad_to`
            a.toml:10:72: output.layout.plus_sign: expected this key only with a number as text, without `type`, found it with `pad_to`
            a.toml:10:85: output.layout.type: expected this key only with a number, found it with `pad_to`
            a.toml:10:104: output.layout.byte_order: expected this key only with `type`, found it with `pad_to`
            a.toml:10:119: output.layout.range: expected this key only with the position of a trim, found it with `pad_to`
            a.toml:10:138: output.layout.reversed: expected this key only with the position of a trim, found it with `pad_to`"#]],
    );
    field(
        &format!("number = 1, {text}, byte_order = \"big\", {range}"),
        &expect![[r#"
            a.toml:10:91: output.layout.byte_order: expected this key only with `type`, found it with a number as text
            a.toml:10:106: output.layout.range: expected this key only with the position of a trim, found it with `number`
            a.toml:10:125: output.layout.reversed: expected this key only with the position of a trim, found it with `number`
            a.toml:10:142: output.layout.pad_with: expected this key only with `pad_to`, found it with `number`"#]],
    );
    field(
        &format!("trim = \"rudder\", value = \"axis\", {text}, {binary}, {range}"),
        &expect![[r#"
            a.toml:10:45: output.layout.digits: expected this key only with a number as text, without `type`, found it with `type`
            a.toml:10:56: output.layout.width: expected this key only with a number as text, without `type`, found it with `type`
            a.toml:10:75: output.layout.leading_zeros: expected this key only with a number as text, without `type`, found it with `type`
            a.toml:10:93: output.layout.plus_sign: expected this key only with a number as text, without `type`, found it with `type`
            a.toml:10:140: output.layout.range: expected this key only with the position of a trim, found it with another `value`
            a.toml:10:159: output.layout.reversed: expected this key only with the position of a trim, found it with another `value`
            a.toml:10:176: output.layout.pad_with: expected this key only with `pad_to`, found it with `trim`"#]],
    );
    field(
        "trim = \"rudder\", value = \"counts\", digits = 3",
        &expect![
            "a.toml:10:47: output.layout.digits: expected this key only with a number with a fraction, found it with a whole number"
        ],
    );
}

/// One mistake does not hide another.
#[test]
fn all_mistakes_are_told() {
    let text = format!(
        "{AIRCRAFT}kind = \"datagram\"\nto = \"here\"\nrange = [1]\ntemplate = \"layout\"\nlayout = [{{ trim = \"pitch\" }}, {{ number = \"1\" }}]\n"
    );
    expect![[r#"
        a.toml:4:18: trim.travel_degrees: expected degrees, above 0 and at most 36000, found 0
        a.toml:7:6: output.to: expected an IP address or a host name and a port, such as "127.0.0.1:47811" or "simpc.local:47811", found "here"
        a.toml:8:9: output.range: expected two numbers, such as [0, 1], found 1 numbers
        a.toml:10:20: output.layout.trim: expected the name of a [[trim]]: "rudder", found "pitch"
        a.toml:10:42: output.layout.number: expected a number from -1000000000 to 1000000000, found "1""#]].assert_eq(&aircraft_messages(&spoiled(&text, "travel_degrees = 90", "travel_degrees = 0")));
}
