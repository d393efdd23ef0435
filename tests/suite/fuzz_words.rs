//! The dictionaries of the fuzz targets hold the words of the formats: those of the schemas, of the README's datagram
//! and of the recordings. Outside source: libFuzzer's documentation of its dictionaries.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use tallywheel_tests::top;

/// libFuzzer passes over longer words without saying so.
const LONGEST_BYTES: usize = 64;

/// The words of a dictionary: each line is empty, a comment, or one word in quotes, in which `\\`, `\"` and `\xAB`
/// stand for what cannot be written.
fn words(target: &str) -> BTreeSet<String> {
    let text = fs::read_to_string(top().join(format!("tests/fuzz/dictionaries/{target}.dict"))).unwrap();
    let lines = text.lines().filter(|line| !line.is_empty() && !line.starts_with('#'));
    let words: Vec<_> = lines.map(|line| word(target, line)).collect();
    let different: BTreeSet<_> = words.iter().cloned().collect();
    assert_eq!(different.len(), words.len(), "{target}: a word is there twice");
    different
}

fn word(target: &str, line: &str) -> String {
    let inner = line.strip_prefix('"').and_then(|rest| rest.strip_suffix('"'));
    let mut chars = inner.unwrap_or_else(|| panic!("{target}: {line} is not in quotes")).chars();
    let mut word = String::new();
    while let Some(c) = chars.next() {
        assert!(c.is_ascii() && !c.is_ascii_control() && c != '"', "{target}: {line}");
        if c != '\\' {
            word.push(c);
            continue;
        }
        match chars.next() {
            Some(c @ ('\\' | '"')) => word.push(c),
            Some('x') => {
                let digits: String = chars.by_ref().take(2).collect();
                word.push(u8::from_str_radix(&digits, 16).unwrap().into());
            }
            _ => panic!("{target}: {line} has an escape that libFuzzer does not know"),
        }
    }
    assert!(!word.is_empty() && word.len() <= LONGEST_BYTES, "{target}: {line}");
    word
}

/// The keys of a schema, and the words that can be values.
fn named(schema: &Value, into: &mut BTreeSet<String>) {
    if let Some(keys) = schema["properties"].as_object() {
        into.extend(keys.keys().cloned());
    }
    let values = schema["enum"].as_array().into_iter().flatten().chain([&schema["const"]]);
    into.extend(values.filter_map(Value::as_str).map(str::to_owned));
    match schema {
        Value::Object(parts) => parts.values().for_each(|part| named(part, into)),
        Value::Array(parts) => parts.iter().for_each(|part| named(part, into)),
        _ => {}
    }
}

#[test]
fn the_files_dictionaries_hold_every_key_and_word_of_the_schemas() {
    for (target, at_least) in [("rig", 40), ("aircraft", 180)] {
        let schema = fs::read_to_string(top().join(format!("config/schema/{target}.schema.json"))).unwrap();
        let mut wanted = BTreeSet::new();
        named(&serde_json::from_str(&schema).unwrap(), &mut wanted);
        assert!(wanted.len() >= at_least, "{target}: {wanted:?}");
        let missing: Vec<_> = wanted.difference(&words(target)).cloned().collect();
        assert!(missing.is_empty(), "tests/fuzz/dictionaries/{target}.dict lacks {missing:?}");
    }
}

#[test]
fn the_simulator_s_dictionary_holds_every_key_of_a_datagram() {
    let readme = fs::read_to_string(top().join("README.md")).unwrap();
    let datagram = readme
        .lines()
        .find(|line| line.starts_with("{\"tallywheel\":1,") && line.contains("\"paused\""))
        .unwrap();
    let datagram: Value = serde_json::from_str(datagram).unwrap();
    let words = words("simulator");
    assert_eq!(datagram.as_object().unwrap().len(), 6);
    for key in datagram.as_object().unwrap().keys() {
        let key = format!("\"{key}\":");
        assert!(words.iter().any(|word| word.starts_with(&key)), "{key} {words:?}");
    }
}

#[test]
fn the_recordings_dictionary_holds_every_kind_of_line() {
    let words = words("recording");
    let recordings = fs::read_dir(top().join("tests/recordings")).unwrap().map(|file| file.unwrap().path());
    let recordings = recordings.filter(|path| path.extension().is_some_and(|ending| ending == "hid"));
    let texts: Vec<_> = recordings.map(|path| fs::read_to_string(path).unwrap()).collect();
    let kinds: BTreeSet<_> =
        texts.iter().flat_map(|text| text.lines()).map(|line| line[..2].to_owned()).collect();
    assert!(kinds.len() >= 5, "{kinds:?}");
    for kind in kinds {
        assert!(words.iter().any(|word| word.starts_with(&kind)), "{kind:?}");
    }
}

#[test]
fn every_dictionary_belongs_to_a_target() {
    let mut found = 0;
    for file in fs::read_dir(top().join("tests/fuzz/dictionaries")).unwrap() {
        let path = file.unwrap().path();
        let target = path.file_stem().unwrap().to_str().unwrap().to_owned();
        assert!(top().join(format!("tests/fuzz/targets/{target}.rs")).is_file(), "{target}");
        words(&target);
        found += 1;
    }
    assert_eq!(found, 4);
}
