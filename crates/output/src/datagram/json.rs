use super::encoder::{Encoder, Stamp};
use super::number;
use crate::TrimReading;
use std::fmt::Write as _;
use std::io::Write as _;
use tallywheel_profile::Scale;

const HEAD: &str = "{\"tallywheel\":1,\"sequence\":";
const TIME: &str = ",\"time_us\":";
const TRIMS: &str = ",\"trims\":{";
const POSITION: &str = ":{\"position\":";
const AXIS: &str = ",\"axis\":";
const DEGREES: &str = ",\"degrees\":";
const COUNTS: &str = ",\"counts\":";
const MARGIN: &str = ",\"margin\":";
const TAIL: &str = "}}";

/// Digits of `u64::MAX`.
const LONGEST_U64: usize = 20;
/// `-32767`.
const LONGEST_AXIS: usize = 6;
/// Characters of `i64::MIN`.
const LONGEST_COUNTS: usize = 20;
/// Brackets, comma and twice the digits of `i64::MAX`.
const LONGEST_MARGIN: usize = 2 * 19 + 3;

/// [`Template::Json`](crate::Template::Json).
#[derive(Debug)]
pub(super) struct Json {
    /// Each trim's name as a JSON string, quotes included.
    names: Vec<String>,
    scale: Scale,
}

impl Json {
    pub(super) fn new<'a>(names: impl Iterator<Item = &'a str>, scale: Scale) -> Self {
        Self { names: names.map(quoted).collect(), scale }
    }
}

impl Encoder for Json {
    fn largest(&self) -> usize {
        let fixed = POSITION.len() + AXIS.len() + DEGREES.len() + COUNTS.len() + MARGIN.len();
        let numbers = 2 * number::LONGEST_JSON + LONGEST_AXIS + LONGEST_COUNTS + LONGEST_MARGIN;
        let trims: usize = self.names.iter().map(|name| name.len() + fixed + numbers + "},".len()).sum();
        HEAD.len() + TIME.len() + TRIMS.len() + 2 * LONGEST_U64 + trims + TAIL.len()
    }

    fn differs(&mut self, _place: usize, before: &TrimReading, after: &TrimReading) -> bool {
        before != after
    }

    fn encode(&self, stamp: Stamp, readings: &[TrimReading], into: &mut Vec<u8>) {
        let Stamp { sequence, time_us } = stamp;
        // Writing to a Vec cannot fail.
        let _infallible = write!(into, "{HEAD}{sequence}{TIME}{time_us}{TRIMS}");
        for (place, (name, reading)) in self.names.iter().zip(readings).enumerate() {
            if place > 0 {
                into.push(b',');
            }
            let _infallible = write!(into, "{name}{POSITION}");
            number::json(self.scale.apply(reading.normalized), into);
            let _infallible = write!(into, "{AXIS}{}{DEGREES}", reading.axis.get());
            number::json(reading.degrees.get(), into);
            let _infallible = write!(into, "{COUNTS}{}{MARGIN}", reading.counts.get());
            let margin = reading.margin;
            let _infallible = if margin.is_unknown() {
                into.write_all(b"null")
            } else {
                write!(into, "[{},{}]", margin.low().get(), margin.high().get())
            };
            into.push(b'}');
        }
        into.extend_from_slice(TAIL.as_bytes());
    }
}

/// `name` as a JSON string (RFC 8259, section 7: quote, backslash and U+0000..=U+001F must be escaped).
fn quoted(name: &str) -> String {
    let mut quoted = String::with_capacity(name.len() + 2);
    quoted.push('"');
    for c in name.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            '\0'..='\u{1f}' => {
                // Writing to a String cannot fail.
                let _infallible = write!(quoted, "\\u{:04x}", u32::from(c));
            }
            _ => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::samples::{any_reading, any_scale};
    use proptest::prelude::*;
    use serde_json::{Value, json};
    use tallywheel_units::{AxisValue, Counts, Degrees, Margin, Normalized};

    fn reading(position: f64, axis: i64, degrees: f64, counts: i64, margin: Margin) -> TrimReading {
        TrimReading {
            degrees: Degrees::new(degrees).unwrap(),
            normalized: Normalized::clamped(position),
            axis: AxisValue::clamped(axis),
            counts: Counts::new(counts),
            margin,
        }
    }

    fn encode(names: &[&str], sequence: u64, time_us: u64, readings: &[TrimReading]) -> String {
        let encoder = Json::new(names.iter().copied(), Scale::UNIT);
        let mut bytes = Vec::new();
        encoder.encode(Stamp { sequence, time_us }, readings, &mut bytes);
        assert!(bytes.len() <= encoder.largest(), "{} > {}", bytes.len(), encoder.largest());
        String::from_utf8(bytes).unwrap()
    }

    #[test]
    fn a_datagram_is_the_documented_object() {
        let rudder = reading(-0.25, -8192, 240.0, -21, Margin::CERTAIN);
        let elevator = reading(1.0, 32767, 580.0, 170, Margin::UNKNOWN);
        assert_eq!(
            encode(&["rudder", "elevator"], 12, 1_795_574_403_400_150, &[rudder, elevator]),
            "{\"tallywheel\":1,\"sequence\":12,\"time_us\":1795574403400150,\"trims\":{\
             \"rudder\":{\"position\":-0.25,\"axis\":-8192,\"degrees\":240,\"counts\":-21,\"margin\":[0,0]},\
             \"elevator\":{\"position\":1,\"axis\":32767,\"degrees\":580,\"counts\":170,\"margin\":null}}}"
        );
    }

    #[test]
    fn a_limit_on_one_side_only_is_none() {
        let doubt = Margin::new(Counts::new(4), Margin::UNKNOWN.high());
        let text = encode(&["t"], 0, 0, &[reading(0.0, 0, 0.0, 0, doubt)]);
        assert!(text.contains("\"margin\":null"), "{text}");
    }

    /// The worst readings, against the limit that `open` checks: it may be too high by a few bytes, never
    /// too low.
    #[test]
    fn the_largest_datagram_is_known_before_the_first() {
        let most = Counts::new(i64::MAX - 1);
        let worst = reading(
            -2.225_073_858_507_201_4e-308,
            -32767,
            -2.225_073_858_507_201_4e-308,
            i64::MIN,
            Margin::both(most),
        );
        let names = ["a\0b", "\u{1f}", "\u{10ffff}"];
        let text = encode(&names, u64::MAX, u64::MAX, &[worst; 3]);
        let spare = Json::new(names.into_iter(), Scale::UNIT).largest() - text.len();
        // The last trim has no comma.
        assert_eq!(spare, 1);
    }

    #[test]
    fn the_range_changes_the_position_and_nothing_else() {
        let reading = reading(1.0, 32767, 580.0, 170, Margin::CERTAIN);
        let encoder = Json::new(["t"].into_iter(), Scale::new(0.0, 100.0).unwrap().reversed());
        let mut bytes = Vec::new();
        encoder.encode(Stamp { sequence: 0, time_us: 0 }, &[reading], &mut bytes);
        let value: Value = serde_json::from_slice(&bytes).unwrap();
        let expected = json!({"position": 0, "axis": 32767, "degrees": 580, "counts": 170, "margin": [0, 0]});
        assert_eq!(value["trims"]["t"], expected);
    }

    proptest! {
        #[test]
        fn no_reading_makes_it_larger_than_the_largest(
            readings in proptest::collection::vec(any_reading(), 3), scale in any_scale(),
            sequence in any::<u64>(), time_us in any::<u64>(),
        ) {
            let encoder = Json::new(["a", "b", "c"].into_iter(), scale);
            let mut bytes = Vec::new();
            encoder.encode(Stamp { sequence, time_us }, &readings, &mut bytes);
            prop_assert!(bytes.len() <= encoder.largest());
        }

        /// serde_json is the outside reader: whatever the names and readings, it sees them as they were.
        #[test]
        fn every_datagram_reads_back(
            names in proptest::collection::btree_set(any::<String>(), 1..4),
            sequence in any::<u64>(),
            time_us in any::<u64>(),
            position in -1.0..=1.0,
            degrees in -1e6..1e6,
            axis in any::<i64>(),
            counts in any::<i64>(),
            low in 0..i64::MAX,
            high in 0..i64::MAX,
        ) {
            let margin = Margin::new(Counts::new(low), Counts::new(high));
            let reading = reading(position, axis, degrees, counts, margin);
            let names: Vec<_> = names.iter().map(String::as_str).collect();
            let readings = vec![reading; names.len()];
            let text = encode(&names, sequence, time_us, &readings);
            let value: Value = serde_json::from_str(&text).unwrap();
            prop_assert_eq!(&value["tallywheel"], &json!(1));
            prop_assert_eq!(&value["sequence"], &json!(sequence));
            prop_assert_eq!(&value["time_us"], &json!(time_us));
            prop_assert_eq!(value["trims"].as_object().unwrap().len(), names.len());
            for name in names {
                let trim = &value["trims"][name];
                prop_assert_eq!(trim["position"].as_f64().unwrap(), reading.normalized.get());
                prop_assert_eq!(trim["degrees"].as_f64().unwrap(), degrees);
                prop_assert_eq!(&trim["axis"], &json!(reading.axis.get()));
                prop_assert_eq!(&trim["counts"], &json!(counts));
                prop_assert_eq!(&trim["margin"], &json!([low, high]));
            }
        }
    }
}
