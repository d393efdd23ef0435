//! Wording shared by all messages.

use toml::de::DeValue;

/// The most characters of the file's own text that a message repeats.
const MOST_REPEATED: usize = 40;

/// Whether `text` is without line breaks, other control characters and blanks at its ends.
pub(crate) fn is_plain(text: &str) -> bool {
    !text.contains(char::is_control) && text.trim() == text
}

/// `text` in quotes, control characters escaped, cut when long.
pub(crate) fn quoted(text: &str) -> String {
    let mut chars = text.chars();
    let head: String = chars.by_ref().take(MOST_REPEATED).collect();
    let rest = if chars.next().is_some() { "..." } else { "" };
    format!("{head:?}{rest}")
}

/// Code in backticks, control characters escaped, cut when long.
pub(crate) fn code(text: &str) -> String {
    let mut chars = text.chars();
    let mut head = String::new();
    for c in chars.by_ref().take(MOST_REPEATED) {
        if c.is_control() {
            head.extend(c.escape_debug());
        } else {
            head.push(c);
        }
    }
    let rest = if chars.next().is_some() { "..." } else { "" };
    format!("`{head}{rest}`")
}

/// `a`, `a or b`, `a, b or c`.
pub(crate) fn one_of<T: AsRef<str>>(choices: &[T]) -> String {
    match choices {
        [] => "nothing".to_owned(),
        [only] => only.as_ref().to_owned(),
        [first @ .., last] => {
            let first: Vec<_> = first.iter().map(AsRef::as_ref).collect();
            format!("{} or {}", first.join(", "), last.as_ref())
        }
    }
}

/// The choices, each once and in quotes; where there are many, those first in the list.
pub(crate) fn one_of_quoted<T: AsRef<str>>(choices: impl IntoIterator<Item = T>) -> String {
    const MOST: usize = 10;
    let mut quotes: Vec<String> = Vec::new();
    for choice in choices {
        let quote = quoted(choice.as_ref());
        if !quotes.contains(&quote) {
            quotes.push(quote);
        }
    }
    if quotes.len() > MOST {
        let more = quotes.len() - MOST;
        quotes.truncate(MOST);
        quotes.push(format!("{more} others"));
    }
    one_of(&quotes)
}

/// What a value in the file is, for the `found` of a message.
pub(crate) fn value(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => quoted(text),
        DeValue::Integer(number) => cut(&number.to_string()),
        DeValue::Float(number) => cut(&number.to_string()),
        DeValue::Boolean(flag) => flag.to_string(),
        DeValue::Datetime(time) => format!("the date or time {time}"),
        DeValue::Array(list) if list.is_empty() => "an empty list".to_owned(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}

/// The choice that was probably meant: the most alike, if it is alike enough.
pub(crate) fn nearest<'a>(text: &str, choices: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // The measure takes time with the product of the lengths; nothing that long was meant for one of ours.
    if text.len() > 4 * MOST_REPEATED {
        return None;
    }
    let alike = |choice: &'a str| (strsim::jaro_winkler(&text.to_lowercase(), choice), choice);
    choices
        .into_iter()
        .map(alike)
        .filter(|(likeness, _)| *likeness >= 0.8)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, choice)| choice)
}

fn cut(text: &str) -> String {
    let mut chars = text.chars();
    let head: String = chars.by_ref().take(MOST_REPEATED).collect();
    if chars.next().is_some() { head + "..." } else { head }
}

/// A key as it may stand in a dotted path: as it is when it is plain, otherwise in quotes.
pub(crate) fn bare(key: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-');
    if key.len() <= MOST_REPEATED && key.chars().all(plain) { key.to_owned() } else { quoted(key) }
}
