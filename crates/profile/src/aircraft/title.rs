//! Which aircraft file is for the aircraft that a simulator has loaded.

use crate::Aircraft;
use crate::read::Setting;
use crate::words;
use std::fmt;

/// A pattern for the title that a simulator reports. `*` stands for any characters, also none, `?` for exactly
/// one. Capital and small letters are alike.
#[derive(Debug, Clone)]
pub struct TitlePattern {
    text: String,
    parts: Vec<Part>,
}

/// What one character of a pattern stands for. The order is that of the canonical form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Part {
    Is(char),
    AnyOne,
    AnyMany,
}

/// How closely a pattern describes what it matches; the greatest is the most specific.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Specificity {
    /// Characters other than `*` and `?`.
    literal: usize,
    /// Fewer `*` are more specific, so this is the number not used of all there could be.
    unstarred: usize,
}

impl TitlePattern {
    /// The longest pattern in characters.
    pub const LONGEST: usize = 255;

    /// `None` for an empty text, one of more than [`Self::LONGEST`] characters or with line breaks.
    #[must_use]
    pub fn new(text: &str) -> Option<Self> {
        let fits = (1..=Self::LONGEST).contains(&text.chars().count());
        (fits && !text.contains(char::is_control)).then(|| Self { text: text.to_owned(), parts: parts(text) })
    }

    /// As it was written.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.text
    }

    /// Whether the whole of `title` is what the pattern says.
    #[must_use]
    pub fn matches(&self, title: &str) -> bool {
        self.matches_folded(&fold(title).collect::<Vec<_>>())
    }

    /// How closely it describes a title: the more characters other than `*` and `?` the closer, and of two with
    /// the same number the one with fewer `*`.
    #[must_use]
    pub fn specificity(&self) -> Specificity {
        let literal = self.parts.iter().filter(|part| matches!(part, Part::Is(_))).count();
        let stars = self.parts.iter().filter(|part| matches!(part, Part::AnyMany)).count();
        Specificity { literal, unstarred: usize::MAX - stars }
    }

    /// Goes through the title once and back only to the last `*`, so the time is at most the product of the
    /// lengths.
    fn matches_folded(&self, title: &[char]) -> bool {
        let (mut part, mut at) = (0, 0);
        // The last `*` passed and where in the title it stopped taking characters.
        let mut star: Option<(usize, usize)> = None;
        loop {
            let here = title.get(at);
            match (self.parts.get(part), here) {
                (Some(Part::AnyMany), _) => {
                    star = Some((part, at));
                    part += 1;
                }
                (Some(Part::AnyOne), Some(_)) => (part, at) = (part + 1, at + 1),
                (Some(Part::Is(c)), Some(found)) if c == found => (part, at) = (part + 1, at + 1),
                (None, None) => return true,
                (_, None) => return false,
                (_, Some(_)) => {
                    let Some((star_part, taken)) = star else { return false };
                    star = Some((star_part, taken + 1));
                    (part, at) = (star_part + 1, taken + 1);
                }
            }
        }
    }
}

impl PartialEq for TitlePattern {
    /// Equal patterns match the same titles, however they are written.
    fn eq(&self, other: &Self) -> bool {
        self.parts == other.parts
    }
}

impl Eq for TitlePattern {}

impl fmt::Display for TitlePattern {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        words::quoted(&self.text).fmt(f)
    }
}

impl Setting for TitlePattern {
    fn expected() -> String {
        "text of 1 to 255 characters without line breaks, in which * stands for any \
                                    characters and ? for one"
            .to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "string", "minLength": 1, "maxLength": 255, "pattern": r"^[^\u0000-\u001f\u007f-\u009f]*$" })
    }

    fn from_text(text: &str) -> Option<Self> {
        Self::new(text)
    }
}

/// Small letters. Both sides go through it, so what is alike is alike in any script.
fn fold(text: &str) -> impl Iterator<Item = char> {
    text.chars().flat_map(char::to_lowercase)
}

/// The canonical form: folded, and in a row of wildcards every `?` before one `*`, which means the same.
fn parts(text: &str) -> Vec<Part> {
    let mut parts = Vec::with_capacity(text.len());
    let mut star = false;
    for c in fold(text) {
        match c {
            '*' => star = true,
            '?' => parts.push(Part::AnyOne),
            c => {
                if std::mem::take(&mut star) {
                    parts.push(Part::AnyMany);
                }
                parts.push(Part::Is(c));
            }
        }
    }
    if star {
        parts.push(Part::AnyMany);
    }
    parts
}

/// Which of several aircraft is for a title. The numbers are places in the list that was given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TitleChoice {
    /// This one has the most specific pattern that matches.
    Matched(usize),
    /// No pattern matches, and this one is for all other titles.
    Default(usize),
    /// These match with patterns that are equally specific, or all are for other titles. Nothing is chosen; the
    /// user has to make one pattern more specific.
    Tie(Vec<usize>),
    /// None is for this title.
    Nothing,
}

/// Chooses the aircraft whose most specific matching pattern is the most specific of all; where no pattern
/// matches, the aircraft that is the default. `aircraft` are names, which play no part, and files.
#[must_use]
pub fn choose_by_title(aircraft: &[(&str, &Aircraft)], title: &str) -> TitleChoice {
    let title: Vec<char> = fold(title).collect();
    let mut best: Option<Specificity> = None;
    let mut places = Vec::new();
    for (place, (_, file)) in aircraft.iter().enumerate() {
        let matching = file.titles.iter().filter(|pattern| pattern.matches_folded(&title));
        let Some(closest) = matching.map(TitlePattern::specificity).max() else { continue };
        if best.is_none_or(|best| closest > best) {
            best = Some(closest);
            places.clear();
        }
        if best == Some(closest) {
            places.push(place);
        }
    }
    if let Some(one_or_tie) = one_or_tie(places, TitleChoice::Matched) {
        return one_or_tie;
    }
    let defaults = aircraft.iter().enumerate().filter(|(_, (_, file))| file.default).map(|(place, _)| place);
    one_or_tie(defaults.collect(), TitleChoice::Default).unwrap_or(TitleChoice::Nothing)
}

fn one_or_tie(places: Vec<usize>, one: impl Fn(usize) -> TitleChoice) -> Option<TitleChoice> {
    match places.as_slice() {
        [] => None,
        [only] => Some(one(*only)),
        _ => Some(TitleChoice::Tie(places)),
    }
}
