//! The udev rules that the errors of this crate name. Grammar and keys as in udev(7); the order of files as
//! there: all directories' files sorted together by name.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop anywhere")]

use std::path::Path;

const FILE: &str = "60-tallywheel.rules";
const TEXT: &str = include_str!("../../../packaging/linux/60-tallywheel.rules");

/// One `KEY{attribute} operator "value"`.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Part {
    key: String,
    operator: String,
    value: String,
}

/// The parts of each rule of the file; comments and empty lines left out.
fn rules(text: &str) -> Vec<Vec<Part>> {
    let lines = text.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#'));
    lines.map(|line| line.split(", ").map(|part| parse(part.trim_end_matches(','))).collect()).collect()
}

fn parse(part: &str) -> Part {
    let (head, value) =
        part.strip_suffix('"').and_then(|part| part.split_once('"')).unwrap_or_else(|| panic!("{part}"));
    let operator = ["==", "!=", "+="].into_iter().find(|operator| head.ends_with(operator)).unwrap_or("=");
    let key = head.strip_suffix(operator).unwrap_or_else(|| panic!("{part}"));
    assert!(key.chars().all(|c| c.is_ascii_alphabetic() || "{}".contains(c)), "{part}");
    assert!(!value.contains('"'), "{part}");
    Part { key: key.to_owned(), operator: operator.to_owned(), value: value.to_owned() }
}

fn has(rule: &[Part], key: &str, operator: &str, value: &str) -> bool {
    rule.iter().any(|part| part.key == key && part.operator == operator && part.value == value)
}

fn grants(rule: &[Part]) -> bool {
    rule.iter().any(|part| ["TAG", "MODE", "GROUP", "OWNER"].contains(&part.key.as_str()))
}

/// The file with its example line for a board in force.
fn with_board() -> String {
    TEXT.replace("\n#SUBSYSTEM", "\nSUBSYSTEM")
}

#[test]
fn the_file_lies_where_the_errors_say_and_is_read_before_the_tag_is_used() {
    let packaged = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../packaging/linux").join(FILE);
    assert!(packaged.is_file());
    // Debian 12's systemd 252 reads the tag there: `TAG=="uaccess", ENV{MAJOR}!="", RUN{builtin}+="uaccess"`.
    assert!(FILE < "73-seat-late.rules");
    assert!(TEXT.contains(&format!("/etc/udev/rules.d/{FILE}")), "how to install it");
}

#[test]
fn the_uinput_node_is_given_to_the_seats_user_also_before_its_module_is_loaded() {
    let rules = rules(TEXT);
    let granted: Vec<_> = rules.iter().filter(|rule| grants(rule)).collect();
    assert_eq!(granted.len(), 1, "as shipped, nothing but uinput is opened");
    let rule = granted.first().unwrap();
    assert!(has(rule, "KERNEL", "==", "uinput") && has(rule, "SUBSYSTEM", "==", "misc"));
    assert!(has(rule, "TAG", "+=", "uaccess") && has(rule, "OPTIONS", "+=", "static_node=uinput"));
}

#[test]
fn a_hidraw_node_is_opened_only_by_its_full_ids_and_never_a_keyboards() {
    let rules = rules(&with_board());
    let guard = rules.iter().position(|rule| has(rule, "ATTRS{bInterfaceProtocol}", "==", "01|02")).unwrap();
    assert!(has(rules.get(guard).unwrap(), "GOTO", "=", "tallywheel_end"));
    assert!(!grants(rules.get(guard).unwrap()));
    let boards: Vec<_> = rules
        .iter()
        .enumerate()
        .filter(|(_, rule)| grants(rule) && has(rule, "SUBSYSTEM", "==", "hidraw"))
        .collect();
    assert_eq!(boards.len(), 1, "the example line");
    for (place, rule) in boards {
        assert!(place > guard);
        for key in ["ATTRS{idVendor}", "ATTRS{idProduct}"] {
            let part = rule.iter().find(|part| part.key == key).unwrap();
            let id = &part.value;
            assert_eq!(part.operator, "==");
            // sysfs has them so, and udev compares letter by letter.
            assert!(
                id.len() == 4 && id.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b)),
                "{id}"
            );
        }
        assert!(has(rule, "TAG", "+=", "uaccess"));
    }
}

#[test]
fn nothing_is_run_and_nothing_is_opened_to_everyone() {
    for rule in rules(&with_board()) {
        for part in rule {
            let key = part.key.as_str();
            assert!(
                !key.starts_with("RUN") && !key.starts_with("PROGRAM") && !key.starts_with("IMPORT"),
                "{part:?}"
            );
            assert!(!["MODE", "GROUP", "OWNER"].contains(&key), "{part:?}");
        }
    }
}

#[test]
fn every_jump_lands_further_down() {
    let rules = rules(&with_board());
    let label = rules.iter().position(|rule| has(rule, "LABEL", "=", "tallywheel_end")).unwrap();
    assert_eq!(label + 1, rules.len());
    for (place, rule) in rules.iter().enumerate() {
        for part in rule.iter().filter(|part| part.key == "GOTO") {
            assert_eq!(part.value, "tallywheel_end");
            assert!(place < label);
        }
    }
}
