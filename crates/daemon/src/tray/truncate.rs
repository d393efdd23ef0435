//! Truncates a message to what the notification area of Windows has room for: a title and a text of fixed size.

use tallywheel_engine::notifications::Message;

/// The room for a title, in UTF-16 code units, without the zero that ends it (`szInfoTitle` of NOTIFYICONDATA).
pub const TITLE_MAX: usize = 63;
/// The room for a text, counted in the same way (`szInfo`).
pub const TEXT_MAX: usize = 255;

/// Stands where text was cut off.
const ELLIPSIS: char = '…';

/// The title and text of a message, truncated to their room.
#[derive(Debug, PartialEq, Eq)]
pub struct TruncatedMessage {
    /// The title, at most [`TITLE_MAX`] units; it may be empty.
    pub title: String,
    /// The text, at most [`TEXT_MAX`] units; it is empty only where the message is.
    pub text: String,
}

impl TruncatedMessage {
    /// Truncates a message.
    #[must_use]
    pub fn of(message: &Message) -> Self {
        let (title, body) = (&message.title, &message.body);
        if body.is_empty() {
            // Without a text Windows would show nothing, and take away what it shows.
            return Self { title: String::new(), text: truncate(title, TEXT_MAX) };
        }
        let short = truncate(title, TITLE_MAX);
        // What happened stands at the end of a title, so one that was cut is said in full below.
        let text = if short == *title { body.clone() } else { format!("{title}\n{body}") };
        Self { title: short, text: truncate(&text, TEXT_MAX) }
    }
}

/// Returns as much from the start of `words` as fits into `units_max` UTF-16 code units; no character is split.
fn truncate(words: &str, units_max: usize) -> String {
    if words.encode_utf16().count() <= units_max {
        return words.to_owned();
    }
    let mut left = units_max.saturating_sub(ELLIPSIS.len_utf16());
    let fitting = words.chars().take_while(|character| {
        let rest = left.checked_sub(character.len_utf16());
        left = rest.unwrap_or(left);
        rest.is_some()
    });
    fitting.chain([ELLIPSIS]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use tallywheel_engine::notifications::Subject;

    fn brief(title: &str, body: &str) -> TruncatedMessage {
        let message =
            Message { subject: Subject::Wish, title: title.to_owned(), body: body.to_owned(), bad: true };
        TruncatedMessage::of(&message)
    }

    #[test]
    fn what_fits_is_left_alone() {
        let title = "t".repeat(TITLE_MAX);
        // Two units each, and one.
        let text = "\u{1F6E9}".repeat(TEXT_MAX / 2) + "x";
        assert_eq!(brief(&title, &text), TruncatedMessage { title, text });
        let told = TruncatedMessage { title: String::new(), text: "The rig file is valid again".to_owned() };
        assert_eq!(brief("The rig file is valid again", ""), told);
    }

    #[test]
    fn a_title_that_was_cut_is_said_in_full_below() {
        let title = format!("C:\\{}\\tallywheel.log could not be opened", "folder".repeat(10));
        let told = brief(&title, "explorer: no");
        assert_eq!(told.title, title.chars().take(TITLE_MAX - 1).chain(['…']).collect::<String>());
        assert_eq!(told.text, format!("{title}\nexplorer: no"));
    }

    /// Characters of one, two and three bytes and one unit, and of four bytes and two units, each at every place.
    #[test]
    fn cut_at_any_place_between_characters() {
        for character in ["a", "é", "…", "\u{1F6E9}"] {
            for start in 0..3 {
                let words = "s".repeat(start) + &character.repeat(TEXT_MAX);
                for units_max in 1..TEXT_MAX {
                    let cut = truncate(&words, units_max);
                    let units = cut.encode_utf16().count();
                    assert!(units == units_max || units == units_max - 1, "{units} of {units_max}: {cut}");
                    let kept = cut.strip_suffix(ELLIPSIS).unwrap();
                    assert!(words.starts_with(kept), "{cut}");
                    let next = words[kept.len()..].chars().next().unwrap();
                    assert!(units - 1 + next.len_utf16() >= units_max, "one more would have fitted: {cut}");
                }
            }
        }
        assert_eq!(brief("", ""), TruncatedMessage { title: String::new(), text: String::new() });
    }
}
