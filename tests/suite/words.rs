//! Words that are gone stay gone: `words.txt` lists them, and nothing that users see has one of them.
//!
//! Users see README and the files that are shipped, the interface's description, the golden results, the help, and
//! what the program says: the texts in quotation marks in its source, tests aside.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

use std::fs;
use std::path::{Path, PathBuf};
use tallywheel_tests::{run, top};

/// Every line of the list that is no comment, as it stands, so with blanks at its end.
fn words() -> Vec<String> {
    let text = fs::read_to_string(top().join("tests/suite/words.txt")).unwrap();
    text.lines().filter(|line| !line.is_empty() && !line.starts_with('#')).map(str::to_owned).collect()
}

fn files(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { files(&path, into) } else { into.push(path) }
    }
}

/// What stands in quotation marks in a source text, line by line; tests at its end, comments and attributes aside.
/// A text that goes on in the next line counts there too.
fn said(source: &str) -> String {
    let source = source.split("#[cfg(test)]\nmod ").next().unwrap_or_default();
    let mut said = String::new();
    let mut inside = false;
    for line in source.lines() {
        let code = line.trim_start();
        if !inside && (code.starts_with("//") || code.starts_with("#[")) {
            continue;
        }
        let mut chars = line.chars().peekable();
        while let Some(c) = chars.next() {
            match (inside, c) {
                (true, '\\') => said.extend([Some('\\'), chars.next()].into_iter().flatten()),
                // The character '"' is no text.
                (false, '\'') if chars.peek() == Some(&'"') => drop(chars.next()),
                (_, '"') => {
                    said.push('"');
                    inside = !inside;
                }
                (true, c) => said.push(c),
                (false, '/') if chars.peek() == Some(&'/') => break,
                (false, _) => {}
            }
        }
        said.push('\n');
    }
    // A text that was broken in the source reads on.
    let parts = said.split("\\\n").enumerate();
    parts.map(|(place, part)| if place == 0 { part } else { part.trim_start() }).collect()
}

/// What users see, each with where it is from.
fn seen() -> Vec<(String, String)> {
    let mut paths = vec![top().join("README.md"), top().join("crates/daemon/src/api/openapi.json")];
    files(&top().join("config"), &mut paths);
    files(&top().join("packaging/linux"), &mut paths);
    files(&top().join("tests/golden"), &mut paths);
    paths.retain(|path| path.extension().is_none_or(|ending| ending != "png"));
    let mut seen: Vec<_> = paths
        .into_iter()
        .map(|path| (path.display().to_string(), fs::read_to_string(path).unwrap()))
        .collect();
    let mut sources = Vec::new();
    for product in ["units", "profile", "hid-reader", "accumulator", "output", "engine", "tools", "daemon"] {
        files(&top().join("crates").join(product).join("src"), &mut sources);
    }
    let tests =
        |path: &PathBuf| path.file_stem().is_some_and(|name| name.to_string_lossy().ends_with("tests"));
    let folder_of_tests = |path: &PathBuf| path.iter().any(|part| part == "tests");
    sources.retain(|path| path.extension().is_some_and(|e| e == "rs") && !tests(path));
    let inner = top().join("crates");
    sources.retain(|path| !folder_of_tests(&path.strip_prefix(&inner).unwrap().to_path_buf()));
    for path in sources {
        seen.push((path.display().to_string(), said(&fs::read_to_string(&path).unwrap())));
    }
    let man = run(&["man"]);
    assert_eq!(man.code, Some(0), "{}", man.err);
    seen.push(("the manual page".to_owned(), man.out));
    seen
}

#[test]
fn no_word_of_the_list_is_seen() {
    let (words, seen) = (words(), seen());
    assert!(words.len() > 30 && seen.len() > 100, "{} words, {} places", words.len(), seen.len());
    let mut found = Vec::new();
    for (place, text) in &seen {
        for word in &words {
            for line in text.lines().filter(|line| line.contains(word)) {
                let line: String = line.chars().take(160).collect();
                found.push(format!("{place}: {word:?} in {line}"));
            }
        }
    }
    assert!(found.is_empty(), "{} places:\n{}", found.len(), found.join("\n"));
}

#[test]
fn what_is_said_is_found_in_a_source() {
    let source = "//! \"no\"\nfn f() {\n    // \"no\"\n    say(\"one \\\n         two\", '\"', x); // \"no\"\n    say(\"three\");\n}\n\
                  #[cfg(test)]\nmod tests { \"no\" }\n";
    let said = said(source);
    assert!(said.contains("\"one two\"") && said.contains("\"three\"") && !said.contains("no"), "{said}");
}
