//! Every kind of mistake that a file may have, with what is said of it: the cases of `mistakes/*.txt`.
//!
//! A case begins with the good file that is spoiled, in brackets. `-7 text` takes line 7 out, `@7` goes to before line 7,
//! and `+text` puts a line there; without either it stands at the end. `=` begins each message, without the file's name.
//! An empty line ends the case. `UPDATE_MISTAKES=1 cargo test -p tallywheel-profile --test mistakes` writes the messages
//! anew.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

mod common;

use common::{AIRCRAFT, RARE_AIRCRAFT, RARE_RIG, RIG, aircraft_messages, rig_messages};
use std::fs;
use std::path::Path;

/// An aircraft with one trim whose output is to follow.
const ONE_TRIM: &str = "name = \"T\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 90\n[[output]]\n";
/// An aircraft with two trims and no output.
const TWO_TRIMS: &str = "name = \"Tindlow\"\n[[trim]]\nname = \"pitch\"\ntravel_degrees = 720\n\
                         [[trim]]\nname = \"yaw\"\ntravel_degrees = 360\n";

fn base(name: &str) -> &'static str {
    match name {
        "rig" => RIG,
        "rare rig" => RARE_RIG,
        "aircraft" => AIRCRAFT,
        "rare aircraft" => RARE_AIRCRAFT,
        "one trim" => ONE_TRIM,
        "two trims" => TWO_TRIMS,
        "nothing" => "",
        _ => panic!("there is no good file called {name}"),
    }
}

/// The file that a case is about.
fn spoiled(case: &str) -> String {
    let mut lines = case.lines();
    let name = lines
        .next()
        .and_then(|line| line.strip_prefix('[')?.strip_suffix(']'))
        .unwrap_or_else(|| panic!("{case}"));
    let good: Vec<&str> = base(name).lines().collect();
    let (mut text, mut next) = (String::new(), 0);
    let copy = |text: &mut String, next: &mut usize, end: usize| {
        good.get(*next..end).unwrap().iter().for_each(|line| *text += &format!("{line}\n"));
        *next = end;
    };
    let mut placed = false;
    for line in lines.filter(|line| !line.starts_with('=')) {
        match line.split_at(1) {
            ("-", rest) => {
                let (number, taken) = rest.split_once(' ').unwrap();
                let number: usize = number.parse().unwrap();
                copy(&mut text, &mut next, number - 1);
                assert_eq!(good.get(next), Some(&taken), "{case}");
                (next, placed) = (number, true);
            }
            ("@", number) => {
                copy(&mut text, &mut next, number.parse::<usize>().unwrap() - 1);
                placed = true;
            }
            ("+", line) => {
                if !placed {
                    copy(&mut text, &mut next, good.len());
                }
                text += &format!("{line}\n");
            }
            _ => panic!("{case}"),
        }
    }
    copy(&mut text, &mut next, good.len());
    text
}

/// Runs the cases of a file; `messages` reads a spoiled one.
fn check(file: &str, name: &str, messages: impl Fn(&str) -> String) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/mistakes").join(file);
    let text = fs::read_to_string(&path).unwrap();
    let (mut renewed, mut cases) = (Vec::new(), 0);
    for paragraph in text.trim_end().split("\n\n") {
        if paragraph.starts_with('#') {
            renewed.push(paragraph.to_owned());
            continue;
        }
        cases += 1;
        let said = messages(&spoiled(paragraph));
        let mut case: Vec<_> =
            paragraph.lines().filter(|line| !line.starts_with('=')).map(str::to_owned).collect();
        case.extend(said.lines().map(|line| format!("={}", line.strip_prefix(name).unwrap())));
        renewed.push(case.join("\n"));
    }
    assert!(cases > 100, "{file}: {cases}");
    let renewed = renewed.join("\n\n") + "\n";
    if std::env::var_os("UPDATE_MISTAKES").is_some() {
        fs::write(path, renewed).unwrap();
    } else {
        similar(&text, &renewed);
    }
}

/// Fails with the first case that is not as it is written.
fn similar(expected: &str, found: &str) {
    for (expected, found) in expected.trim_end().split("\n\n").zip(found.trim_end().split("\n\n")) {
        assert_eq!(found, expected);
    }
}

#[test]
fn of_a_rig_file() {
    check("rig.txt", "rig.toml:", rig_messages);
}

#[test]
fn of_an_aircraft_file() {
    check("aircraft.txt", "a.toml:", aircraft_messages);
}

#[test]
fn more_wheels_than_a_rig_has() {
    let wheels: String = (0..65)
        .map(|i| format!("[[wheel]]\nname = \"w{i}\"\nwiring = \"pulses\"\nforward = 1\nbackward = 2\ncounts_per_turn = 9\n"))
        .collect();
    let messages =
        rig_messages(&format!("name = \"b\"\n[[board]]\nname = \"main\"\nusb = \"1209:7a11\"\n{wheels}"));
    let of_too_many: Vec<_> = messages.lines().filter(|line| line.contains("at most")).collect();
    assert_eq!(of_too_many, ["rig.toml:389:1: wheel: expected at most 64 [[wheel]], found 65"]);
}
