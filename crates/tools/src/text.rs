//! Wording that all commands share: lines that fit a terminal, plurals, signs, the caution.

/// The most characters of a line on a screen: one fewer than a usual terminal has columns.
pub const COLUMNS: usize = 79;

/// What whoever wires a board is told, wherever that is spoken of.
pub const CAUTION: &str = "For simulators only, never for real aircraft. Wire with the board unplugged, and within the \
                           limits that its maker gives.";

/// `1 loss`, `2 losses`.
#[must_use]
pub fn plural(number: u64, what: &str) -> String {
    let ending = match (number, what.ends_with('s')) {
        (1, _) => "",
        (_, true) => "es",
        (_, false) => "s",
    };
    format!("{number} {what}{ending}")
}

/// `number` to so many places with its sign, and a zero without one.
#[must_use]
pub fn signed(number: f64, places: usize) -> String {
    let text = format!("{number:+.places$}");
    let zero = text.chars().all(|c| !c.is_ascii_digit() || c == '0');
    if zero { text.trim_start_matches(['+', '-']).to_owned() } else { text }
}

/// A whole number with its sign, and a zero without one.
#[must_use]
pub fn signed_count(number: i64) -> String {
    if number == 0 { "0".to_owned() } else { format!("{number:+}") }
}

/// `sentence` in lines of at most `columns` characters, each after `indent` blanks; a longer word has a line of its own.
#[must_use]
pub fn fold(sentence: &str, indent: usize, columns: usize) -> String {
    let (mut text, mut length) = (String::new(), 0);
    for word in sentence.split_whitespace() {
        let word_length = word.chars().count();
        if length == 0 || length + 1 + word_length > columns {
            if length > 0 {
                text.push('\n');
            }
            text.extend(std::iter::repeat_n(' ', indent));
            length = indent;
        } else {
            text.push(' ');
            length += 1;
        }
        text += word;
        length += word_length;
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_one() {
        assert_eq!([0, 1, 2].map(|n| plural(n, "loss")), ["0 losses", "1 loss", "2 losses"]);
        assert_eq!(plural(1, "report"), "1 report");
    }

    #[test]
    fn a_zero_has_no_sign() {
        assert_eq!(
            [-0.00001, 0.0, 0.5, -1.0].map(|x| signed(x, 4)),
            ["0.0000", "0.0000", "+0.5000", "-1.0000"]
        );
        assert_eq!([0, 3, -3].map(signed_count), ["0", "+3", "-3"]);
    }

    #[test]
    fn lines_are_as_long_as_they_may_be_and_no_longer() {
        assert_eq!(fold("one two three", 2, 9), "  one two\n  three");
        assert_eq!(fold("one two three", 0, 13), "one two three");
        assert_eq!(fold("one two three", 0, 12), "one two\nthree");
        assert_eq!(fold("unbreakable it is", 1, 5), " unbreakable\n it\n is");
    }
}
