//! Identifiers that are gone stay gone (`identifiers.txt`), and each public type name stands for one thing in the
//! whole workspace (DEVELOPERS.md, "Words").

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use tallywheel_tests::top;

/// Type names that more than one file declares, each with the reason. The testkit, which is no product, is not looked
/// at. The list only gets shorter: a name that is declared once has to go from here.
const SHARED: [(&str, &str); 10] = [
    ("Choice", "a wiring in tools, an aircraft in engine; one of them is to be renamed"),
    ("ConfigError", "accumulator and decoders each have one; to be renamed"),
    ("DevWatch", "the same thing, once for each platform"),
    ("Found", "engine's two are to be renamed"),
    ("HiddenBoard", "the same thing, once for each platform"),
    ("Message", "engine's two are to be renamed"),
    ("Node", "the same thing, once for each platform"),
    ("Place", "engine's is to be renamed"),
    ("Spot", "profile's is to be renamed"),
    ("Start", "profile's is to be renamed"),
];

/// Every Rust file of a product crate and of testkit, with its path from the top.
fn sources() -> Vec<(String, String)> {
    fn walk(folder: &Path, into: &mut Vec<(String, String)>) {
        let mut entries: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
        entries.sort();
        for path in entries {
            if path.is_dir() {
                walk(&path, into);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                let name = path.strip_prefix(top()).unwrap().display().to_string();
                into.push((name, fs::read_to_string(&path).unwrap()));
            }
        }
    }
    let mut sources = Vec::new();
    for entry in fs::read_dir(top().join("crates")).unwrap() {
        walk(&entry.unwrap().path().join("src"), &mut sources);
    }
    assert!(sources.len() > 150, "{} files", sources.len());
    sources
}

/// The words of a line of code, without its texts in quotation marks and its comment.
fn identifiers(line: &str) -> Vec<String> {
    let mut code = String::new();
    let (mut chars, mut inside) = (line.chars().peekable(), false);
    while let Some(c) = chars.next() {
        match (inside, c) {
            (true, '\\') => drop(chars.next()),
            (false, '\'') if chars.peek() == Some(&'"') => drop(chars.next()),
            (_, '"') => inside = !inside,
            (false, '/') if chars.peek() == Some(&'/') => break,
            (false, c) => code.push(c),
            (true, _) => code.push(' '),
        }
    }
    let words = code.split(|c: char| !c.is_alphanumeric() && c != '_');
    words.filter(|word| !word.is_empty()).map(str::to_owned).collect()
}

/// The list: each identifier with the crates that may still have it.
fn gone() -> BTreeMap<String, BTreeSet<String>> {
    let text = fs::read_to_string(top().join("tests/suite/identifiers.txt")).unwrap();
    let lines = text.lines().filter(|line| !line.is_empty() && !line.starts_with('#'));
    lines
        .map(|line| {
            let mut words = line.split_whitespace().map(str::to_owned);
            (words.next().unwrap(), words.collect())
        })
        .collect()
}

#[test]
fn no_identifier_of_the_list_is_left() {
    let gone = gone();
    let mut exempt: BTreeSet<_> = gone
        .iter()
        .flat_map(|(word, crates)| crates.iter().map(move |house| (word.clone(), house.clone())))
        .collect();
    let mut found = Vec::new();
    for (path, text) in sources() {
        let house = path.split('/').nth(1).unwrap().to_owned();
        for (number, line) in (1..).zip(text.lines()) {
            for word in identifiers(line) {
                let Some(crates) = gone.get(&word) else { continue };
                exempt.remove(&(word.clone(), house.clone()));
                if !crates.contains(&house) {
                    found.push(format!("{path}:{number}: {word}"));
                }
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
    assert!(exempt.is_empty(), "identifiers.txt exempts what is not there any more: {exempt:?}");
}

#[test]
fn a_public_type_name_stands_for_one_thing() {
    let mut declared: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (path, text) in sources().into_iter().filter(|(path, _)| !path.starts_with("crates/testkit/")) {
        for line in text.lines() {
            let words: Vec<_> = line.split_whitespace().collect();
            if let ["pub", "struct" | "enum" | "trait" | "type", name, ..] = words.as_slice() {
                let name = name.split(|c: char| !c.is_alphanumeric() && c != '_').next().unwrap_or_default();
                if !name.is_empty() {
                    declared.entry(name.to_owned()).or_default().insert(path.clone());
                }
            }
        }
    }
    let shared = BTreeMap::from(SHARED);
    for (name, paths) in &declared {
        let allowed = shared.contains_key(name.as_str());
        assert!(paths.len() < 2 || allowed, "{name} is declared in {paths:?}: give one of them another name");
        assert!(paths.len() > 1 || !allowed, "{name} is declared once now: take it off the list above");
    }
    for name in shared.keys() {
        assert!(declared.contains_key(*name), "{name} is gone: take it off the list above");
    }
}

#[test]
fn texts_and_comments_are_no_identifiers() {
    let words = identifiers(r#"let door = say("a helm \" of", '"', Glance); // Pilot"#);
    assert_eq!(words, ["let", "door", "say", "Glance"]);
}
