use std::io::Write;

/// Bytes of the longest number that [`json`] writes: sign, digit, point, 16 digits, `e-308`; or `0.0000`
/// and 17 digits with sign.
pub(super) const LONGEST_JSON: usize = 24;
/// Bytes of the longest position that [`decimal`] writes: `-0.` and nine digits.
pub(super) const LONGEST_DECIMAL: usize = 12;

/// The shortest text that reads back as the same float, as RFC 8259 has numbers. `value` must be finite.
pub(super) fn json(value: f64, into: &mut Vec<u8>) {
    // Adding 0 turns -0 into 0. Writing to a Vec cannot fail.
    let value = value + 0.0;
    let magnitude = value.abs();
    let _infallible = if magnitude != 0.0 && !(1e-5..1e16).contains(&magnitude) {
        write!(into, "{value:e}")
    } else {
        write!(into, "{value}")
    };
}

/// `value`, -1..=1, rounded to nine digits after the point; no trailing zeros, no exponent, no `-0`.
pub(super) fn decimal(value: f64, into: &mut Vec<u8>) {
    let start = into.len();
    let _infallible = write!(into, "{value:.9}");
    while into.len() > start && into.last() == Some(&b'0') {
        into.pop();
    }
    if into.last() == Some(&b'.') {
        into.pop();
    }
    if into.get(start..) == Some(b"-0") {
        into.truncate(start);
        into.push(b'0');
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn text(write: fn(f64, &mut Vec<u8>), value: f64) -> String {
        let mut bytes = b"before ".to_vec();
        write(value, &mut bytes);
        String::from_utf8(bytes).unwrap().strip_prefix("before ").unwrap().to_owned()
    }

    #[test]
    fn whole_numbers_stay_whole() {
        for (value, expected) in [(-1.0, "-1"), (0.0, "0"), (-0.0, "0"), (1.0, "1"), (0.25, "0.25")] {
            assert_eq!(text(json, value), expected);
            assert_eq!(text(decimal, value), expected);
        }
        assert_eq!(text(json, 635.0), "635");
    }

    #[test]
    fn very_small_and_very_large_numbers_take_an_exponent_in_json_only() {
        assert_eq!(text(json, 0.000_01), "0.00001");
        assert_eq!(text(json, 0.000_009), "9e-6");
        assert_eq!(text(json, 1e15), "1000000000000000");
        assert_eq!(text(json, -1e16), "-1e16");
        assert_eq!(text(decimal, 0.000_009), "0.000009");
        assert_eq!(text(decimal, -1e-10), "0");
        assert_eq!(text(decimal, 1.0 - 1e-10), "1");
        assert_eq!(text(decimal, -0.987_654_321_4), "-0.987654321");
    }

    proptest! {
        /// RFC 8259 has one grammar for numbers; serde_json is the outside reader of it.
        #[test]
        fn json_numbers_read_back_as_the_same_float(value in any::<f64>().prop_filter("finite", |v| v.is_finite())) {
            let text = text(json, value);
            prop_assert!(text.len() <= LONGEST_JSON, "{text}");
            let back: f64 = serde_json::from_str(&text).unwrap();
            prop_assert_eq!(back, value);
        }

        #[test]
        fn decimals_read_back_to_nine_digits(value in -1.0..=1.0) {
            let text = text(decimal, value);
            prop_assert!(text.len() <= LONGEST_DECIMAL, "{text}");
            prop_assert!(!text.contains('e') && text != "-0" && !text.ends_with('.'), "{text}");
            let back: f64 = text.parse().unwrap();
            prop_assert!((back - value).abs() <= 0.5e-9 + f64::EPSILON, "{text} for {value}");
        }
    }

    /// The longest there are, so that the limits are no guess: 17 digits (IEEE 754 binary64) each.
    #[test]
    fn the_longest_numbers_fill_the_limits() {
        assert_eq!(text(json, -1.797_693_134_862_315_7e308).len(), LONGEST_JSON - 1);
        assert_eq!(text(json, -2.225_073_858_507_201_4e-308).len(), LONGEST_JSON);
        assert_eq!(text(json, -0.000_012_345_678_901_234_567).len(), LONGEST_JSON);
        assert_eq!(text(decimal, -0.123_456_789).len(), LONGEST_DECIMAL);
    }
}
