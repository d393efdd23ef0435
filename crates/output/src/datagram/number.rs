use std::io::Write;

/// Bytes of the longest number that [`json`] writes: sign, digit, point, 16 digits, `e-308`; or `0.0000`
/// and 17 digits with sign.
pub(super) const LONGEST_JSON: usize = 24;
/// Digits after the point where nobody says how many.
pub(super) const USUAL_DIGITS: u8 = 9;

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

/// `value` rounded to so many digits after the point, all of them written; no exponent, no `-0`.
pub(super) fn fixed(value: f64, digits: u8, into: &mut Vec<u8>) {
    let start = into.len();
    let _infallible = write!(into, "{value:.0$}", usize::from(digits));
    let written = into.get(start..).unwrap_or_default();
    if written.first() == Some(&b'-') && !written.iter().any(|byte| (b'1'..=b'9').contains(byte)) {
        into.remove(start);
    }
}

/// `value` rounded to nine digits after the point; no trailing zeros, no exponent, no `-0`.
pub(super) fn decimal(value: f64, into: &mut Vec<u8>) {
    let start = into.len();
    fixed(value, USUAL_DIGITS, into);
    if !into.iter().skip(start).any(|&byte| byte == b'.') {
        return;
    }
    while into.last() == Some(&b'0') {
        into.pop();
    }
    if into.last() == Some(&b'.') {
        into.pop();
    }
}

/// Bytes of the longest number that [`fixed`] and [`decimal`] write for values between these two: that of one of
/// the ends, since none in between is farther from 0 on the same side.
pub(super) fn longest_fixed(low: f64, high: f64, digits: u8) -> usize {
    let length = |end| {
        let mut text = Vec::new();
        fixed(end, digits, &mut text);
        text.len()
    };
    length(low).max(length(high))
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
        assert_eq!(text(json, 580.0), "580");
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
            prop_assert!(text.len() <= longest_fixed(-1.0, 1.0, USUAL_DIGITS), "{text}");
            prop_assert!(!text.contains('e') && text != "-0" && !text.ends_with('.'), "{text}");
            let back: f64 = text.parse().unwrap();
            prop_assert!((back - value).abs() <= 0.5e-9 + f64::EPSILON, "{text} for {value}");
        }
    }

    #[test]
    fn fixed_digits_are_all_there() {
        let fixed = |value, digits| {
            let mut bytes = Vec::new();
            fixed(value, digits, &mut bytes);
            String::from_utf8(bytes).unwrap()
        };
        let cases = [
            (1.0, 3, "1.000"),
            (-1.0, 0, "-1"),
            (-0.0004, 3, "0.000"),
            (-0.0006, 3, "-0.001"),
            (-0.0, 0, "0"),
            (0.999_96, 4, "1.0000"),
            (1e9, 1, "1000000000.0"),
        ];
        for (value, digits, expected) in cases {
            assert_eq!(fixed(value, digits), expected);
        }
    }

    proptest! {
        #[test]
        fn no_number_between_is_longer_than_the_ends(
            low in -1e9..1e9, high in -1e9..1e9, part in 0.0..=1.0, digits in 0_u8..=15,
        ) {
            let (low, high, part): (f64, f64, f64) = (low, high, part);
            for (low, high) in [(low, high), (low.min(0.0), 0.0), (0.0, high.max(0.0)), (-1e-12, 1.0)] {
                let mut bytes = Vec::new();
                let value = (low + part * (high - low)).clamp(low.min(high), low.max(high));
                fixed(value, digits, &mut bytes);
                prop_assert!(bytes.len() <= longest_fixed(low, high, digits));
            }
        }
    }

    /// The longest there are, so that the limits are no guess: 17 digits (IEEE 754 binary64) each.
    #[test]
    fn the_longest_numbers_fill_the_limits() {
        assert_eq!(text(json, -1.797_693_134_862_315_7e308).len(), LONGEST_JSON - 1);
        assert_eq!(text(json, -2.225_073_858_507_201_4e-308).len(), LONGEST_JSON);
        assert_eq!(text(json, -0.000_012_345_678_901_234_567).len(), LONGEST_JSON);
        assert_eq!(text(decimal, -0.123_456_789).len(), longest_fixed(-1.0, 1.0, USUAL_DIGITS));
    }
}
