//! What every input from outside must hold to, tried with inputs that a seed makes of the shipped files and of the words
//! of the formats; `tests/fuzz/run` looks for such inputs for longer, by coverage. And the dictionaries do hold the words
//! of the formats: those of the schemas, of the README's datagram and of the recordings.
//!
//! Outside sources: libFuzzer's documentation of its dictionaries, and its list of mutations (insert, erase, change,
//! repeat, a word of the dictionary, a part of another input), which are those of `mutated`.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

#[path = "../fuzz/bodies.rs"]
mod bodies;

use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;
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
    let targets = fs::read_to_string(top().join("tests/fuzz/fuzz.rs")).unwrap();
    for file in fs::read_dir(top().join("tests/fuzz/dictionaries")).unwrap() {
        let path = file.unwrap().path();
        let target = path.file_stem().unwrap().to_str().unwrap().to_owned();
        assert!(targets.contains(&format!("\"{target}\" => bodies::{target}(")), "{target}");
        words(&target);
        found += 1;
    }
    assert_eq!(found, 4);
}

/// How many inputs each target gets. libFuzzer tries thousands in a second, and `tests/fuzz/run` lets it.
const INPUTS: u64 = 4_000;

/// The files in a folder whose names end like this, as bytes.
fn seeds(folder: &str, ending: &str) -> Vec<Vec<u8>> {
    let mut paths: Vec<_> =
        fs::read_dir(top().join(folder)).unwrap().map(|file| file.unwrap().path()).collect();
    paths.sort();
    let paths = paths.into_iter().filter(|path| path.is_file() && path.to_str().unwrap().ends_with(ending));
    let seeds: Vec<_> = paths.map(|path| fs::read(path).unwrap()).collect();
    assert!(!seeds.is_empty(), "no seeds in {folder}");
    seeds
}

/// One of the seeds after up to eight changes of the kinds that libFuzzer makes.
fn mutated(draw: &mut Pcg64Mcg, seeds: &[Vec<u8>], words: &[String]) -> Vec<u8> {
    let mut input = seeds.choose(draw).unwrap().clone();
    for _ in 0..draw.random_range(0..=8) {
        let at = draw.random_range(0..=input.len());
        let end = draw.random_range(at..=input.len().min(at + 40));
        match draw.random_range(0..7) {
            0 => drop(input.drain(at..end)),
            1 => input.insert(at, draw.random()),
            2 => input.truncate(at),
            3 if at < input.len() => input[at] ^= 1 << draw.random_range(0..8),
            4 => {
                let again = input[at..end].to_vec();
                drop(input.splice(at..at, again));
            }
            5 => {
                let other = seeds.choose(draw).unwrap();
                let from = draw.random_range(0..=other.len());
                let part = other[from..other.len().min(from + 60)].iter().copied();
                drop(input.splice(at..end, part));
            }
            _ => {
                let word = words.choose(draw).map_or(&b"0"[..], |word| word.as_bytes());
                drop(input.splice(at..end, word.iter().copied()));
            }
        }
    }
    input
}

/// Gives a target its inputs. Both verdicts must come, or the inputs try nothing.
fn try_all(target: &str, seeds: &[Vec<u8>], body: impl Fn(&mut Pcg64Mcg, &[u8]) -> bool) {
    let dictionary = top().join(format!("tests/fuzz/dictionaries/{target}.dict"));
    let words: Vec<_> = if dictionary.is_file() { words(target).into_iter().collect() } else { Vec::new() };
    let mut taken = 0;
    for seed in 0..INPUTS {
        let mut draw = Pcg64Mcg::seed_from_u64(seed);
        let input = mutated(&mut draw, seeds, &words);
        taken += u64::from(body(&mut draw, &input));
    }
    assert!(taken > INPUTS / 100 && taken < INPUTS, "{target}: {taken} of {INPUTS} were taken");
}

#[test]
fn any_rig_is_checked_or_refused_with_places() {
    try_all("rig", &seeds("config", "rig.toml"), |_, data| bodies::rig(data));
}

#[test]
fn any_aircraft_is_checked_or_refused_with_places() {
    try_all("aircraft", &seeds("config/aircraft", ".toml"), |_, data| bodies::aircraft(data));
}

#[test]
fn any_recording_is_read_or_refused() {
    let mut seeds = seeds("tests/recordings", ".hid");
    // A wrong line among many is passed over, one of the first few is not.
    seeds.push(seeds[0][..300].to_vec());
    try_all("recording", &seeds, |_, data| bodies::recording(data));
}

#[test]
fn any_saved_position_is_read_or_damaged() {
    try_all("positions", &seeds("tests/fuzz/seeds/positions", ""), |_, data| bodies::positions(data));
}

#[test]
fn any_datagram_is_news_once_or_refused() {
    try_all("simulator", &seeds("tests/fuzz/seeds/simulator", ""), |_, data| bodies::simulator(data));
}

#[test]
fn any_descriptor_gives_a_layout_that_takes_any_report() {
    try_all("descriptor", &[bodies::DESCRIPTOR.to_vec()], |draw, data| {
        let report: Vec<u8> = (0..draw.random_range(0..10)).map(|_| draw.random()).collect();
        bodies::descriptor(data, &report)
    });
}

#[test]
fn any_reports_conserve_counts() {
    // Four bytes are a report: the wheels of the shipped rig turn by their lowest buttons. Some are none, or an unplugging.
    let turning: Vec<u8> =
        (0..60).flat_map(|n| [[0b00, 0b01, 0b11, 0b10][n % 4] << (2 * (n / 20)), 0, 0, 0]).collect();
    try_all("reports", &[turning, vec![0; 40]], |draw, data| {
        let mut steps: Vec<_> =
            data.chunks(4).map(|report| (draw.random_range(0..2_000), report.to_vec())).collect();
        for _ in 0..draw.random_range(0..3) {
            steps.insert(draw.random_range(0..=steps.len()), (draw.random(), b"unplug".to_vec()));
        }
        bodies::reports(&steps)
    });
}
