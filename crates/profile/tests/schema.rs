//! The committed JSON Schemas against what the crate itself takes.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::as_conversions,
    clippy::indexing_slicing,
    reason = "helpers of tests may stop at the first surprise"
)]

mod common;
mod judge;

use common::{AIRCRAFT, RARE_AIRCRAFT, RARE_RIG, RIG};
use judge::Judge;
use proptest::prelude::*;
use serde_json::{Value as Json, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use tallywheel_profile::{FileErrors, aircraft, rig};

fn config() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../config")
}

struct Kind {
    schema: Json,
    judge: Judge,
}

impl Kind {
    fn new(kind: &str) -> Self {
        let text = fs::read_to_string(config().join(format!("schema/{kind}.schema.json"))).unwrap();
        let schema: Json = serde_json::from_str(&text).unwrap();
        Self { judge: Judge::new(&schema), schema }
    }

    /// What is wrong with a file, and where.
    fn errors(&self, text: &str) -> Vec<String> {
        self.judge.errors(&as_json(text))
    }
}

static RIG_SCHEMA: LazyLock<Kind> = LazyLock::new(|| Kind::new("rig"));
static AIRCRAFT_SCHEMA: LazyLock<Kind> = LazyLock::new(|| Kind::new("aircraft"));

/// TOML as an editor shows it to a schema. A date, an infinity and what is not a number, which JSON does not
/// have, are objects that no schema of ours takes.
fn json_of(value: &toml::Value) -> Json {
    match value {
        toml::Value::String(text) => json!(text),
        toml::Value::Integer(number) => json!(number),
        toml::Value::Float(number) if number.is_finite() => json!(number),
        toml::Value::Float(_) | toml::Value::Datetime(_) => json!({ "none": "of JSON" }),
        toml::Value::Boolean(flag) => json!(flag),
        toml::Value::Array(list) => list.iter().map(json_of).collect(),
        toml::Value::Table(table) => table.iter().map(|(key, value)| (key.clone(), json_of(value))).collect(),
    }
}

fn as_json(text: &str) -> Json {
    json_of(&toml::Value::Table(toml::from_str(text).unwrap()))
}

/// `python-jsonschema` (PyPI, MIT licence) judged these; `reference/judged.py` says how.
#[test]
fn the_judge_judges_as_a_reference_library() {
    let judged: Json = serde_json::from_str(include_str!("reference/judged.json")).unwrap();
    let judge = Judge::new(&judged["schema"]);
    let cases = judged["cases"].as_array().unwrap();
    let valid = |case: &&Json| case["valid"] == true;
    assert!(
        cases.iter().filter(valid).count() > 30 && cases.iter().filter(|case| !valid(case)).count() > 100
    );
    for case in cases {
        let errors = judge.errors(&case["instance"]);
        assert_eq!(json!(errors.is_empty()), case["valid"], "{case} {errors:?}");
    }
}

/// Every shipped file is valid and says in its first line where its schema is, relative to itself.
#[test]
fn the_shipped_files_are_valid_and_name_their_schema() {
    let mut files = vec![(config().join("rig.toml"), &*RIG_SCHEMA)];
    for entry in fs::read_dir(config().join("aircraft")).unwrap() {
        files.push((entry.unwrap().path(), &*AIRCRAFT_SCHEMA));
    }
    assert!(files.len() >= 6);
    for (path, kind) in files {
        let text = fs::read_to_string(&path).unwrap();
        assert_eq!(kind.errors(&text), [""; 0], "{}", path.display());
        let named = text.lines().next().and_then(|line| line.strip_prefix("#:schema "));
        let named = named.unwrap_or_else(|| panic!("{} begins without #:schema", path.display()));
        let schema: Json =
            serde_json::from_str(&fs::read_to_string(path.parent().unwrap().join(named)).unwrap()).unwrap();
        assert_eq!(schema, kind.schema, "{}", path.display());
    }
}

#[test]
fn what_a_schema_refuses() {
    let refused = |kind: &Kind, text: &str, from: &str, to: &str| {
        assert!(kind.errors(text).is_empty());
        let spoiled = common::spoiled(text, from, to);
        assert!(!kind.errors(&spoiled).is_empty(), "{from} {to}");
    };
    for (from, to) in [
        ("name = \"bench\"", ""),
        ("name = \"bench\"", "name = 3"),
        ("name = \"bench\"", "name = \"\""),
        ("name = \"bench\"", "name = \" bench\""),
        ("name = \"bench\"", "name = \"be\\nnch\""),
        ("usb = \"1209:7a11\"", "usb = \"1209\""),
        ("counts_per_turn = 96", "counts_per_turn = 0"),
        ("counts_per_turn = 96", "counts_per_turn = 1.5"),
        ("counts_per_turn = 96", "counts_per_turns = 96"),
        ("wiring = \"pulses\"", "wiring = \"pulse\""),
        ("index = 9", "index = 129"),
        ("[[wheel]]", "[wheel]"),
        ("[[board]]", "[[boards]]"),
    ] {
        refused(&RIG_SCHEMA, RARE_RIG, from, to);
    }
    for (from, to) in [
        ("titles = [\"Kettrin 2*\", \"*floatplane?\"]", "titles = \"Kettrin 2*\""),
        ("default = true", "default = 1"),
        ("travel_degrees = 600", "travel_degrees = 0"),
        ("travel_degrees = 600", "travel_degrees = inf"),
        ("take-off = 350", "take-off = -1"),
        ("report = \"await\"", "report = \"ignore\""),
        ("smoothing_ms = 12.5", "smoothing_ms = 1979-05-27"),
        ("ratios = [0.5, 1]", "ratios = [0.5, 0]"),
        ("[100, -0.5]", "100, -0.5"),
        ("start = \"take-off\"", "start = true"),
    ] {
        refused(&AIRCRAFT_SCHEMA, RARE_AIRCRAFT, from, to);
    }
}

/// The schema knows what must be there as the crate does: without the key each tells of exactly that.
#[test]
fn what_must_be_there_is_the_same() {
    for (kind, text) in [
        (&*RIG_SCHEMA, RIG),
        (&*RIG_SCHEMA, RARE_RIG),
        (&*AIRCRAFT_SCHEMA, AIRCRAFT),
        (&*AIRCRAFT_SCHEMA, RARE_AIRCRAFT),
    ] {
        let lines: Vec<_> = text.lines().collect();
        for (place, line) in lines.iter().enumerate() {
            let Some((key, _)) = line.split_once(" = ") else { continue };
            let mut without = lines.clone();
            without.remove(place);
            let without = without.join("\n");
            let missing = kind.errors(&without).iter().any(|error| error.contains("must be there"));
            let read = if std::ptr::eq(kind, &*RIG_SCHEMA) {
                rig("f", &without).err()
            } else {
                aircraft("f", &without).err()
            };
            let nothing = |errors: &FileErrors| {
                errors.iter().any(|error| error.found == "nothing" && error.key.ends_with(key))
            };
            // Keys that must be there with one kind of wiring or output only, or when another is not, are too much for
            // a schema that is to be read.
            let sometimes =
                ["usb", "forward", "backward", "a", "b", "counts_per_cycle", "board", "to", "presses"]
                    .contains(&key);
            let told = read.as_ref().is_some_and(nothing);
            assert!(missing == told || (sometimes && !missing), "{line}: schema {missing}, crate {told}");
        }
    }
}

/// A mistake that a schema ought to have seen: an unknown key, or a value of the wrong type or out of range. What is
/// told of text may depend on more than its own characters.
fn of_the_schema(errors: &FileErrors, schema: &Json) -> Option<String> {
    let mut words =
        vec!["a table".to_owned(), "a table in braces".to_owned(), "a list in square brackets".to_owned()];
    collect_words(schema, &mut words);
    let error = errors.iter().find(|error| {
        let unknown =
            error.expected.contains("another known key") || error.expected.starts_with("one of the keys");
        let tables = error.expected.ends_with("in double brackets");
        let value =
            words.contains(&error.expected) && error.found != "nothing" && !error.found.starts_with('"');
        unknown || tables || value
    });
    error.map(ToString::to_string)
}

fn collect_words(schema: &Json, words: &mut Vec<String>) {
    match schema {
        Json::Object(object) => {
            words.extend(object.get("$comment").and_then(Json::as_str).map(str::to_owned));
            object.values().for_each(|value| collect_words(value, words));
        }
        Json::Array(list) => list.iter().for_each(|value| collect_words(value, words)),
        _ => {}
    }
}

/// A value of any kind, also those that are nearly right.
fn any_value() -> impl Strategy<Value = toml::Value> {
    let leaf = prop_oneof![
        3 => prop::sample::select(vec![-1, 0, 1, 2, 4, 9, 56, 57, 128, 129, 250, 251, 255, 256, 1_000, 1_001, 10_000, 10_001, 36_000, 36_001, 60_001, 131_071, 131_072, 1_000_000, 1_000_001]).prop_map(toml::Value::Integer),
        // JSON Schema takes 4.0 for a whole number; TOML does not, and this crate neither.
        2 => prop::sample::select(vec![0.005, 0.01, 0.5, 0.1, 0.125, 12.5, 99.5, 500.5, 1000.5, 36_000.5, -0.5, f64::NAN, f64::INFINITY]).prop_map(toml::Value::Float),
        1 => any::<bool>().prop_map(toml::Value::Boolean),
        4 => prop::sample::select(vec!["", " ", "a", "rudder", "take-off", "saved", "low", "adopt", "slip", "x", "steps", "axis", "datagram", "json", "pulses", "quadrature", "1209:7a11", "127.0.0.1:9", "Kettrin*", "a\nb", "\u{feff}a", "\u{85}a", "\u{a0}a", "\u{e9}"]).prop_map(|text| toml::Value::String(text.to_owned())),
        1 => "\\PC{0,80}".prop_map(toml::Value::String),
    ];
    leaf.prop_recursive(2, 8, 3, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..3).prop_map(toml::Value::Array),
            prop::collection::btree_map("[a-c -]{0,3}", inner, 0..3)
                .prop_map(|map| toml::Value::Table(map.into_iter().collect())),
        ]
    })
}

/// Puts `value` at one of the places of a file: over a value, or at a new key in a table.
fn replace(tree: &mut toml::Value, place: usize, key: &str, value: toml::Value) {
    fn places(tree: &mut toml::Value, left: &mut usize, key: &str, value: &mut Option<toml::Value>) {
        match tree {
            toml::Value::Table(table) => {
                if *left == 0
                    && let Some(value) = value.take()
                {
                    table.insert(key.to_owned(), value);
                    return;
                }
                *left = left.saturating_sub(1);
                for (_, inner) in table.iter_mut() {
                    places(inner, left, key, value);
                }
            }
            other => {
                if *left == 0
                    && let Some(value) = value.take()
                {
                    *other = value;
                    return;
                }
                *left = left.saturating_sub(1);
                if let toml::Value::Array(list) = other {
                    for inner in list.iter_mut() {
                        places(inner, left, key, value);
                    }
                }
            }
        }
    }
    places(tree, &mut { place }, key, &mut Some(value));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(20_000))]

    /// What the crate takes the schema takes, and what the schema takes has no mistake that a schema can see.
    #[test]
    fn crate_and_schema_agree(
        file in 0..4usize,
        changes in prop::collection::vec((0..40usize, any_value()), 1..3),
        key in prop::sample::select(vec!["name", "wheel", "trim", "output", "board", "start", "ratios", "curve", "positions", "titles", "default", "index", "count", "press_ms", "nonsense", "travel"]),
    ) {
        let text = [RIG, RARE_RIG, AIRCRAFT, RARE_AIRCRAFT][file];
        let mut tree = toml::Value::Table(toml::from_str(text).unwrap());
        for (place, value) in changes {
            replace(&mut tree, place, key, value);
        }
        let toml::Value::Table(table) = &tree else { return Ok(()) };
        let text = toml::to_string(table).unwrap();
        let (kind, read) = if file < 2 {
            (&*RIG_SCHEMA, rig("f", &text).err())
        } else {
            (&*AIRCRAFT_SCHEMA, aircraft("f", &text).err())
        };
        let valid = kind.judge.errors(&json_of(&tree)).is_empty();
        match read {
            None => prop_assert!(valid, "{:?}\n{text}", kind.errors(&text)),
            Some(errors) if valid => {
                prop_assert_eq!(of_the_schema(&errors, &kind.schema), None, "{}", text);
            }
            Some(_) => {}
        }
    }
}
