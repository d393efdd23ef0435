//! Text as it may stand in a page, whatever files and boards are called.

/// `text` for use between tags and in attributes. Control characters become blanks.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            letter if letter.is_control() => escaped.push(' '),
            letter => escaped.push(letter),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    /// HTML Living Standard, 13.3 "Serializing HTML fragments": & < > and, in attributes, the quotes.
    #[test]
    fn nothing_of_a_name_is_taken_for_markup() {
        assert_eq!(
            escape("<script>alert('\"&\u{0}\n')</script>"),
            "&lt;script&gt;alert(&#39;&quot;&amp;  &#39;)&lt;/script&gt;"
        );
    }
}
