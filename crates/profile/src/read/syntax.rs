use super::Mistakes;
use crate::words;
use serde_spanned::Spanned;
use toml::de::{DeTable, DeValue, Error};

/// The largest text, in bytes, that is searched for more than its first mistake of syntax. The parser's own
/// messages for a megabyte of noise would take a hundred megabytes.
const LARGEST_RECOVERED: usize = 1 << 16;

/// The tree that `text` says, or `None` after telling what keeps it from being TOML.
pub(crate) fn parse<'t>(text: &'t str, mistakes: &Mistakes<'_>) -> Option<Spanned<DeValue<'t>>> {
    let (table, errors) = if text.len() <= LARGEST_RECOVERED {
        DeTable::parse_recoverable(text)
    } else {
        match DeTable::parse(text) {
            Ok(table) => (table, Vec::new()),
            Err(error) => (Spanned::new(0..0, DeTable::new()), vec![error]),
        }
    };
    if errors.is_empty() {
        if table.get_ref().is_empty() {
            mistakes.tell(0, "(file)", "keys and their values", "an empty file");
            return None;
        }
        return Some(Spanned::new(table.span(), DeValue::Table(table.into_inner())));
    }
    tell(text, errors, mistakes);
    None
}

/// Tells the first mistake of each line. What follows something left open is not told: the parser read the
/// rest of the file as part of it.
fn tell(text: &str, mut errors: Vec<Error>, mistakes: &Mistakes<'_>) {
    let byte = |error: &Error| error.span().map_or(0, |span| span.start);
    errors.sort_by_key(byte);
    let mut last_line = 0;
    let left_open = errors.iter().any(|error| error.message().starts_with("unclosed"));
    for error in errors {
        let byte = byte(&error);
        let line = mistakes.source().at(byte).line;
        if line == last_line {
            continue;
        }
        last_line = line;
        let (expected, found) = wording(text, &error);
        mistakes.tell(byte, context(text, byte), expected, found);
        if left_open {
            break;
        }
    }
}

/// The parser's message in our two parts. It says `what is wrong, expected this, that`.
fn wording(text: &str, error: &Error) -> (String, String) {
    let span = error.span().unwrap_or(0..0);
    let found = found(text, span.clone());
    let message = error.message();
    if message == "duplicate key" {
        return ("each key once".to_owned(), format!("{found} again"));
    }
    // Words without quotes, and things that look like dates to the parser: our files have none.
    let unquoted = ["string values must be quoted", "invalid time", "invalid date"];
    if unquoted.iter().any(|start| message.starts_with(start)) {
        return ("a number, true, false or text in quotes".to_owned(), found);
    }
    if message.starts_with("unexpected leading zero") {
        return ("a number without a zero in front".to_owned(), found);
    }
    match message.split_once(", expected ") {
        Some((what, expected)) if expected != "nothing" => {
            let plain = |choice| if choice == "newline" { "the end of the line" } else { choice };
            let choices: Vec<_> = expected.split(", ").map(plain).collect();
            (words::one_of(&choices), format!("{found} ({what})"))
        }
        Some((what, _)) => ("TOML".to_owned(), format!("{found} ({what})")),
        None => ("TOML".to_owned(), format!("{found} ({message})")),
    }
}

/// What is at `span`: its text, or where it is empty the character there.
fn found(text: &str, span: std::ops::Range<usize>) -> String {
    match text.get(span.clone()) {
        Some(there) if !there.is_empty() => words::code(there),
        _ => match text.get(span.start..).and_then(|rest| rest.chars().next()) {
            None => "the end of the file".to_owned(),
            Some('\n' | '\r') => "the end of the line".to_owned(),
            Some(c) => words::code(c.encode_utf8(&mut [0; 4])),
        },
    }
}

/// The key that a mistake of syntax is in, as far as the text around it tells: the last `[header]` above and
/// what stands before the `=` of its line, or its first word.
fn context(text: &str, byte: usize) -> String {
    let before = text.get(..byte).unwrap_or("");
    let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
    let line = text.get(line_start..).and_then(|rest| rest.lines().next()).unwrap_or("").trim();
    let header_of =
        |line: &str| line.strip_prefix('[').map(|rest| rest.trim_matches(['[', ']', ' ']).to_owned());
    let word = line.split(|c: char| !is_key_char(c)).next().unwrap_or("");
    let key = line.split_once('=').map_or(word, |(key, _)| key.trim());
    let key = Some(key).filter(|key| is_key(key) && !key.starts_with(|c: char| c.is_ascii_digit()));
    let header = header_of(line)
        .or_else(|| text.get(..line_start)?.lines().rev().find_map(|line| header_of(line.trim())))
        .filter(|header| is_key(header));
    match (header, key) {
        (Some(header), Some(key)) => format!("{header}.{key}"),
        (Some(header), None) => header,
        (None, Some(key)) => key.to_owned(),
        (None, None) => "(file)".to_owned(),
    }
}

/// Whether `text` looks like one of our keys, so that a message may call it one.
fn is_key(text: &str) -> bool {
    (1..=60).contains(&text.len()) && text.chars().all(is_key_char)
}

fn is_key_char(c: char) -> bool {
    c.is_ascii_alphanumeric() || matches!(c, '_' | '-' | '.')
}
