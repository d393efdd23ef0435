/// A place in a file for people.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct At {
    /// Counted from 1.
    pub(crate) line: usize,
    /// In characters, counted from 1.
    pub(crate) column: usize,
}

/// A file's name and text, and where its lines begin.
pub(crate) struct Source<'a> {
    file: &'a str,
    text: &'a str,
    line_starts: Vec<usize>,
}

impl<'a> Source<'a> {
    pub(crate) fn new(file: &'a str, text: &'a str) -> Self {
        // A byte order mark is part of the first line's bytes but not of what an editor counts.
        let first = if text.starts_with('\u{feff}') { '\u{feff}'.len_utf8() } else { 0 };
        let rest = text.match_indices('\n').map(|(newline, _)| newline + 1);
        Self { file, text, line_starts: std::iter::once(first).chain(rest).collect() }
    }

    pub(crate) const fn file(&self) -> &'a str {
        self.file
    }

    /// The place of a byte. A byte within a character is taken as that character, one past the end as the end.
    pub(crate) fn at(&self, byte: usize) -> At {
        let line = self.line_starts.partition_point(|start| *start <= byte).max(1);
        let start = self.line_starts.get(line - 1).copied().unwrap_or(0);
        let before = self.text.get(start..).unwrap_or("").char_indices();
        let column = before.take_while(|(i, c)| start + i + c.len_utf8() <= byte).count() + 1;
        At { line, column }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str, byte: usize) -> (usize, usize) {
        let At { line, column } = Source::new("f", text).at(byte);
        (line, column)
    }

    #[test]
    fn lines_and_columns_count_from_one() {
        assert_eq!(at("", 0), (1, 1));
        assert_eq!(at("ab\ncd", 1), (1, 2));
        assert_eq!(at("ab\ncd", 2), (1, 3));
        assert_eq!(at("ab\ncd", 3), (2, 1));
        assert_eq!(at("ab\ncd", 5), (2, 3));
        assert_eq!(at("ab\n", 3), (2, 1));
        assert_eq!(at("ab\r\ncd", 4), (2, 1));
    }

    #[test]
    fn columns_are_characters_and_a_byte_order_mark_is_none() {
        assert_eq!(at("\u{feff}ab", 0), (1, 1));
        assert_eq!(at("\u{feff}ab", 3), (1, 1));
        assert_eq!(at("\u{feff}ab", 4), (1, 2));
        assert_eq!(at("\"\u{e9}\u{20ac}\" x", 8), (1, 6));
        assert_eq!(at("\u{20ac}b", 1), (1, 1));
    }
}
