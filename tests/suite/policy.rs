//! Licences and origins of everything that is built in. The same policy stands in `.deny.toml` for those
//! who have a network: advisories need one, so they are not checked here.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

use serde_json::Value;
use tallywheel_tests::{metadata, top};

/// Licences that allow us to ship a binary under MIT without conditions on our own code.
fn allowed() -> Vec<String> {
    let text = std::fs::read_to_string(top().join(".deny.toml")).unwrap();
    let list = text.split_once("allow = [").unwrap().1.split_once(']').unwrap().0;
    list.split('"').skip(1).step_by(2).map(str::to_owned).collect()
}

/// One more licence for one crate each.
fn exceptions() -> Vec<(String, String)> {
    let text = std::fs::read_to_string(top().join(".deny.toml")).unwrap();
    let list = text.split_once("exceptions = [").unwrap().1.split_once("]\n").unwrap().0;
    let words: Vec<_> = list.split('"').skip(1).step_by(2).map(str::to_owned).collect();
    words.chunks_exact(2).map(|pair| (pair[0].clone(), pair[1].clone())).collect()
}

#[test]
fn every_dependency_has_an_allowed_licence() {
    let allowed = allowed();
    let exceptions = exceptions();
    let decided = [("ksni", "Unlicense"), ("borrow-or-share", "MIT-0")];
    let decided = decided.map(|(of, licence)| (of.to_owned(), licence.to_owned()));
    assert_eq!(exceptions, decided, "each is a decision of its own");
    assert!(allowed.iter().any(|l| l == "MIT") && allowed.iter().all(|l| !l.contains("GPL")), "{allowed:?}");
    let packages = metadata()["packages"].as_array().unwrap();
    assert!(packages.len() > 50, "only {} packages: metadata is incomplete", packages.len());
    for package in packages {
        let name = package["name"].as_str().unwrap();
        let licence = package["license"].as_str().unwrap_or_else(|| panic!("{name} states no licence"));
        let expression = spdx::Expression::parse_mode(licence, spdx::ParseMode::LAX)
            .unwrap_or_else(|e| panic!("{name}: licence {licence}: {e}"));
        assert!(
            expression.evaluate(|r| r.license.id().is_some_and(|id| allowed.iter().any(|a| a == id.name)
                || exceptions.iter().any(|(of, a)| of == name && a == id.name))),
            "{name} is under {licence}, which is not in .deny.toml"
        );
    }
}

#[test]
fn every_dependency_comes_from_the_registry() {
    for package in metadata()["packages"].as_array().unwrap() {
        match &package["source"] {
            Value::Null => assert!(package["name"].as_str().unwrap().starts_with("tallywheel")),
            source => assert!(source.as_str().unwrap().starts_with("registry+"), "{}", package["name"]),
        }
    }
}

#[test]
fn our_own_crates_are_mit_and_forbid_unsafe_code() {
    for package in metadata()["packages"].as_array().unwrap() {
        if package["source"].is_null() {
            assert_eq!(package["license"], "MIT");
            let manifest = std::fs::read_to_string(package["manifest_path"].as_str().unwrap()).unwrap();
            assert!(
                manifest.contains("[lints]\nworkspace = true"),
                "{} opts out of the lints",
                package["name"]
            );
        }
    }
    let workspace = std::fs::read_to_string(top().join("Cargo.toml")).unwrap();
    assert!(workspace.contains("unsafe_code = \"forbid\""));
}
