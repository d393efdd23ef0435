//! Sentences in lines that fit a terminal.

/// The most characters of a line on a screen: one fewer than a usual terminal has columns.
pub const COLUMNS: usize = 79;

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
    fn lines_are_as_long_as_they_may_be_and_no_longer() {
        assert_eq!(fold("one two three", 2, 9), "  one two\n  three");
        assert_eq!(fold("one two three", 0, 13), "one two three");
        assert_eq!(fold("one two three", 0, 12), "one two\nthree");
        assert_eq!(fold("unbreakable it is", 1, 5), " unbreakable\n it\n is");
    }
}
