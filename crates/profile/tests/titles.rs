//! Which aircraft file is for which title.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "helpers of tests may stop at the first surprise"
)]

mod common;

use common::good_aircraft;
use expect_test::expect;
use proptest::prelude::*;
use tallywheel_profile::{Aircraft, TitleChoice, TitlePattern, aircraft, choose_by_title, together};

fn file(head: &str) -> String {
    format!("name = \"x\"\n{head}\n[[trim]]\nname = \"a\"\ntravel_degrees = 90\n")
}

fn with_titles(titles: &[&str]) -> Aircraft {
    good_aircraft(&file(&format!("titles = {titles:?}")))
}

fn default() -> Aircraft {
    good_aircraft(&file("default = true"))
}

fn choice(aircraft: &[Aircraft], title: &str) -> TitleChoice {
    let named: Vec<_> = aircraft.iter().map(|aircraft| ("file", aircraft)).collect();
    choose_by_title(&named, title)
}

fn pattern(text: &str) -> TitlePattern {
    TitlePattern::new(text).unwrap()
}

#[test]
fn what_a_pattern_matches() {
    let matches: [(&str, &[&str]); 11] = [
        ("Kettrin 2", &["Kettrin 2", "KETTRIN 2", "kettrin 2"]),
        ("Kettrin 2*", &["Kettrin 2", "Kettrin 2 floatplane", "kettrin 22"]),
        ("*kettrin*", &["Kettrin", "A kettrin", "the KETTRIN 2", "kettrin kettrin"]),
        ("?ettrin", &["Kettrin", "kettrin", "Xettrin"]),
        ("K*n?2", &["Kettrin 2", "kn-2", "ken ken n 2"]),
        ("*", &["", "anything at all"]),
        ("**", &["", "x"]),
        ("*?", &["x", "xy"]),
        ("a*b*c", &["abc", "a-b-c", "abcbc", "aabbcc"]),
        ("\u{c5}ngstr\u{f6}m*", &["\u{e5}NGSTR\u{d6}M 1"]),
        ("stra\u{df}e", &["STRA\u{1e9e}E"]),
    ];
    for (text, titles) in matches {
        for title in titles {
            assert!(pattern(text).matches(title), "{text} {title}");
        }
    }
    let not: [(&str, &[&str]); 7] = [
        ("Kettrin 2", &["Kettrin 2 ", " Kettrin 2", "Kettrin", "Kettrin 22", ""]),
        ("Kettrin 2*", &["A Kettrin 2", "Kettrin"]),
        ("?ettrin", &["ettrin", "Kkettrin"]),
        ("*?", &[""]),
        ("a*b*c", &["acb", "ab", "abcd"]),
        ("[a-z]", &["b", "a-z"]),
        ("a.c", &["abc"]),
    ];
    for (text, titles) in not {
        for title in titles {
            assert!(!pattern(text).matches(title), "{text} {title}");
        }
    }
}

#[test]
fn what_is_no_pattern() {
    assert_eq!(TitlePattern::new(""), None);
    assert_eq!(TitlePattern::new("a\nb"), None);
    assert_eq!(TitlePattern::new(&"x".repeat(256)), None);
    assert!(TitlePattern::new(&"\u{e9}".repeat(255)).is_some());
}

/// More characters win, then fewer `*`.
#[test]
fn the_order_of_patterns() {
    let order =
        ["*", "????", "K*", "Ke*n*", "*Kett*", "Kett*", "?Kett", "Kettrin*", "Kettrin?2*", "Kettrin 2"];
    for (place, less) in order.iter().enumerate() {
        for more in order.iter().skip(place + 1) {
            let (less, more) = (pattern(less), pattern(more));
            assert!(less.specificity() <= more.specificity(), "{less} {more}");
        }
    }
    for (less, more) in
        [("*", "????"), ("K*", "Ke*n*"), ("*Kett*", "Kett*"), ("Kett*", "?Kett"), ("Kettrin?2*", "Kettrin 2")]
    {
        assert!(pattern(less).specificity() < pattern(more).specificity(), "{less} {more}");
    }
}

#[test]
fn the_most_specific_wins() {
    let aircraft = [with_titles(&["Kettrin*"]), with_titles(&["Kettrin 2*", "Tindlow*"]), default()];
    for (title, expected) in [
        ("Kettrin 1", TitleChoice::Matched(0)),
        ("Kettrin 2 floatplane", TitleChoice::Matched(1)),
        ("tindlow", TitleChoice::Matched(1)),
        ("Dimmerly", TitleChoice::Default(2)),
        ("", TitleChoice::Default(2)),
    ] {
        assert_eq!(choice(&aircraft, title), expected, "{title}");
    }
    assert_eq!(choice(&aircraft[..2], "Dimmerly"), TitleChoice::Nothing);
    assert_eq!(choice(&[], "Dimmerly"), TitleChoice::Nothing);
}

#[test]
fn a_tie_chooses_nothing() {
    let aircraft =
        [with_titles(&["*kettrin*"]), with_titles(&["*Tindlow*"]), with_titles(&["*kettrin*tindlow*"])];
    assert_eq!(choice(&aircraft[..2], "Tindlow and Kettrin"), TitleChoice::Tie(vec![0, 1]));
    assert_eq!(choice(&aircraft, "Kettrin and Tindlow"), TitleChoice::Matched(2));
    assert_eq!(choice(&aircraft, "Kettrin"), TitleChoice::Matched(0));
    // A less specific pattern of a third file, or a default, does not break a tie.
    let aircraft = [with_titles(&["Kettrin*"]), with_titles(&["*"]), default(), with_titles(&["kettrin*"])];
    assert_eq!(choice(&aircraft, "Kettrin"), TitleChoice::Tie(vec![0, 3]));
    assert_eq!(choice(&[default(), default()], "Kettrin"), TitleChoice::Tie(vec![0, 1]));
    // Two patterns of one file are no tie.
    let aircraft = [with_titles(&["*kettrin*", "*tindlow*"])];
    assert_eq!(choice(&aircraft, "Tindlow and Kettrin"), TitleChoice::Matched(0));
}

#[test]
fn what_files_must_not_say_together() {
    let read =
        |name: &str, head: &str| aircraft(name, &file(head)).unwrap_or_else(|errors| panic!("{errors}"));
    let a = read("a.toml", "titles = [\"Kettrin*\", \"Tindlow?*\"]\ndefault = true");
    let b = read("b.toml", "default = true\ntitles = [\n  \"Dimmerly\",\n  \"KETTRIN**\",\n]");
    let c = read("c.toml", "titles = [\"tindlow*?\"]\ndefault = false");
    let d = read("d.toml", "titles = [\"Kettrin\", \"*Kettrin*\"]");
    together(&[&a, &d]).unwrap();
    together(&[]).unwrap();
    expect![[r#"
        b.toml:2:11: default: expected true in one aircraft file only, found true, as in "a.toml"
        c.toml:2:11: titles: expected a pattern that no other aircraft file has, found "tindlow*?", as in "a.toml"
        b.toml:5:3: titles: expected a pattern that no other aircraft file has, found "KETTRIN**", as in "a.toml""#]]
    .assert_eq(&together(&[&a, &b, &c, &d]).unwrap_err().to_string());
}

/// The definition of a pattern, without the code.
fn matches_by_definition(pattern: &[char], title: &[char]) -> bool {
    match (pattern.split_first(), title.split_first()) {
        (None, None) => true,
        (Some(('*', rest)), _) => (0..=title.len()).any(|taken| matches_by_definition(rest, &title[taken..])),
        (Some(('?', rest)), Some((_, left))) => matches_by_definition(rest, left),
        (Some((c, rest)), Some((found, left))) if c == found => matches_by_definition(rest, left),
        _ => false,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3_000))]

    #[test]
    fn a_pattern_matches_what_its_definition_says(text in "[ab*?]{1,9}", title in "[abAB]{0,9}") {
        let characters = |text: &str| text.to_lowercase().chars().collect::<Vec<_>>();
        let expected = matches_by_definition(&characters(&text), &characters(&title));
        prop_assert_eq!(pattern(&text).matches(&title), expected);
    }

    /// Equal patterns are those that match the same: all titles that are short enough to tell them apart.
    #[test]
    fn equal_patterns_match_the_same(a in "[aA*?]{1,4}", b in "[aA*?]{1,4}") {
        let same = (0..=6).all(|length| {
            let title = "a".repeat(length);
            let other = format!("{title}b");
            pattern(&a).matches(&title) == pattern(&b).matches(&title)
                && pattern(&a).matches(&other) == pattern(&b).matches(&other)
                && pattern(&a).matches(&format!("b{title}")) == pattern(&b).matches(&format!("b{title}"))
        });
        if pattern(&a) == pattern(&b) {
            prop_assert!(same);
            prop_assert_eq!(pattern(&a).specificity(), pattern(&b).specificity());
        }
    }

    /// Whatever is asked, time stays short: a title of a kilobyte against the worst pattern.
    #[test]
    fn any_pattern_and_any_title(text in ".{1,255}", title in ".{0,1000}") {
        if let Some(pattern) = TitlePattern::new(&text) {
            let _ = pattern.matches(&title);
            prop_assert!(pattern.matches(&text) || text.contains(['*', '?']));
        }
    }

    /// What is chosen does not depend on the order of the files.
    #[test]
    fn the_order_of_files_does_not_matter(
        titles in prop::collection::vec(prop::collection::vec("[ab*?]{1,4}", 1..3), 1..5),
        title in "[ab]{0,4}",
    ) {
        let files: Vec<Aircraft> = titles
            .iter()
            .filter_map(|titles| aircraft("f", &file(&format!("titles = {titles:?}"))).ok())
            .collect();
        let backward: Vec<Aircraft> = files.iter().rev().cloned().collect();
        let turned = |place: usize| files.len() - 1 - place;
        let expected = match choice(&files, &title) {
            TitleChoice::Matched(place) => TitleChoice::Matched(turned(place)),
            TitleChoice::Default(place) => TitleChoice::Default(turned(place)),
            TitleChoice::Tie(places) => TitleChoice::Tie(places.into_iter().rev().map(turned).collect()),
            TitleChoice::Nothing => TitleChoice::Nothing,
        };
        prop_assert_eq!(choice(&backward, &title), expected);
    }
}
