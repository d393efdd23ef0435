use super::encoder::{Encoder, Stamp};
use super::number;
use crate::{ConfigProblem, TrimReading};
use tallywheel_profile::Scale;

/// [`Template::Line`](crate::Template::Line).
#[derive(Debug)]
pub(super) struct Line {
    names: Vec<String>,
    scale: Scale,
}

impl Line {
    pub(super) fn new<'a>(names: impl Iterator<Item = &'a str>, scale: Scale) -> Result<Self, ConfigProblem> {
        let names = names.map(|name| {
            let breaks = name.is_empty() || name.chars().any(|c| c.is_whitespace() || c.is_control());
            if breaks { Err(ConfigProblem::NameInLine(name.to_owned())) } else { Ok(name.to_owned()) }
        });
        Ok(Self { names: names.collect::<Result<_, _>>()?, scale })
    }
}

impl Encoder for Line {
    fn largest(&self) -> usize {
        let (low, high) = (self.scale.at_low(), self.scale.at_high());
        let number = number::longest_fixed(low, high, number::USUAL_DIGITS);
        // Each name is followed by a blank, each value by a blank or the newline.
        self.names.iter().map(|name| name.len() + 1 + number + 1).sum()
    }

    fn differs(&mut self, _place: usize, before: &TrimReading, after: &TrimReading) -> bool {
        before.normalized != after.normalized
    }

    fn encode(&self, _stamp: Stamp, readings: &[TrimReading], into: &mut Vec<u8>) {
        for (name, reading) in self.names.iter().zip(readings) {
            into.extend_from_slice(name.as_bytes());
            into.push(b' ');
            number::decimal(self.scale.apply(reading.normalized), into);
            into.push(b' ');
        }
        into.pop();
        into.push(b'\n');
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::samples::{any_reading, any_scale};
    use proptest::prelude::*;
    use tallywheel_units::{AxisValue, Counts, Degrees, Margin, Normalized};

    fn at(position: f64) -> TrimReading {
        TrimReading { normalized: Normalized::clamped(position), ..TrimReading::NEUTRAL }
    }

    fn encode(names: &[&str], readings: &[TrimReading]) -> String {
        let encoder = Line::new(names.iter().copied(), Scale::UNIT).unwrap();
        let mut bytes = Vec::new();
        encoder.encode(Stamp { sequence: 9, time_us: 9 }, readings, &mut bytes);
        assert!(bytes.len() <= encoder.largest(), "{} > {}", bytes.len(), encoder.largest());
        String::from_utf8(bytes).unwrap()
    }

    #[test]
    fn a_datagram_is_the_documented_line() {
        assert_eq!(encode(&["rudder", "elevator"], &[at(-0.25), at(1.0)]), "rudder -0.25 elevator 1\n");
        assert_eq!(encode(&["trim"], &[at(-0.0)]), "trim 0\n");
    }

    #[test]
    fn the_largest_line_is_known_before_the_first() {
        let encoder = Line::new(["rudder", "r"].into_iter(), Scale::UNIT).unwrap();
        assert_eq!(encode(&["rudder", "r"], &[at(-0.123_456_789); 2]).len(), encoder.largest());
    }

    #[test]
    fn a_name_must_not_break_the_line() {
        for bad in ["", "nose up", "tab\t", "line\n", "\u{a0}", "nul\0", "\u{2028}"] {
            let problem = Line::new([bad].into_iter(), Scale::UNIT).map(|_| ()).unwrap_err();
            assert_eq!(problem, ConfigProblem::NameInLine(bad.to_owned()));
        }
        assert!(Line::new(["höhe-1", "a\"b"].into_iter(), Scale::UNIT).is_ok());
    }

    #[test]
    fn only_a_moved_position_makes_a_new_line() {
        let mut line = Line::new(["r"].into_iter(), Scale::UNIT).unwrap();
        let doubtful = TrimReading { margin: Margin::UNKNOWN, ..at(0.5) };
        assert!(!line.differs(0, &at(0.5), &doubtful));
        assert!(line.differs(0, &at(0.5), &at(0.500_001)));
    }

    /// A reader of the generic text protocol as FlightGear documents it (docs-mini/README.protocol, ASCII
    /// form): a data set ends at `line_separator` and is ignored without one, `var_separator` parts its
    /// chunks, and each chunk is taken by its place and type. Ours are newline and space; chunks string,
    /// float, string, float.
    fn generic_reader(datagram: &str) -> Option<Vec<(String, f32)>> {
        let set = datagram.split_once('\n')?.0;
        let chunks: Vec<_> = set.split(' ').collect();
        chunks.chunks(2).map(|pair| Some(((*pair.first()?).to_owned(), pair.get(1)?.parse().ok()?))).collect()
    }

    proptest! {
        #[test]
        fn no_reading_makes_it_larger_than_the_largest(
            readings in proptest::collection::vec(any_reading(), 3), scale in any_scale(),
        ) {
            let encoder = Line::new(["a", "b", "c"].into_iter(), scale).unwrap();
            let mut bytes = Vec::new();
            encoder.encode(Stamp { sequence: 0, time_us: 0 }, &readings, &mut bytes);
            prop_assert!(bytes.len() <= encoder.largest());
        }

        #[test]
        fn a_generic_text_reader_sees_names_and_positions(first in -1.0..=1.0, second in -1.0..=1.0) {
            let text = encode(&["rudder", "elevator"], &[at(first), at(second)]);
            let read = generic_reader(&text).unwrap();
            prop_assert_eq!(read.len(), 2);
            prop_assert_eq!(&read[0].0, "rudder");
            prop_assert_eq!(&read[1].0, "elevator");
            for ((_, seen), sent) in read.iter().zip([first, second]) {
                prop_assert!((f64::from(*seen) - sent).abs() < 1e-7, "{} for {}", seen, sent);
            }
            prop_assert_eq!(generic_reader(text.trim_end()), None);
        }
    }

    #[test]
    fn the_other_readings_do_not_matter() {
        let reading = TrimReading {
            degrees: Degrees::FULL_TURN,
            normalized: Normalized::MAX,
            axis: AxisValue::MIN,
            counts: Counts::ONE,
            margin: Margin::UNKNOWN,
        };
        assert_eq!(encode(&["r"], &[reading]), "r 1\n");
    }
}
