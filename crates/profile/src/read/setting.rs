use crate::words;
use std::fmt::Display;
use std::net::SocketAddr;
use std::time::Duration;
use tallywheel_units::{ButtonNumber, CountsPerCycle, CountsPerTurn, Ratio, StopStyle};

/// The value of one key: what it may be, in words and in code. A value that is none of what `from_...` takes is
/// a mistake, told with `expected`.
pub(crate) trait Setting: Sized {
    /// Says what belongs there, in one clause without a full stop.
    fn expected() -> String;

    /// Takes text in quotes.
    fn from_text(_text: &str) -> Option<Self> {
        None
    }

    /// Takes a whole number.
    fn from_whole(_number: i64) -> Option<Self> {
        None
    }

    /// Takes any number, whole ones included; it may be infinite or not a number.
    fn from_number(_number: f64) -> Option<Self> {
        None
    }

    /// Takes `true` or `false`.
    fn from_flag(_flag: bool) -> Option<Self> {
        None
    }

    /// The JSON Schema of what it takes: `expected` in the words of a machine.
    #[cfg(test)]
    fn schema() -> serde_json::Value;
}

impl Setting for bool {
    fn expected() -> String {
        "true or false".to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "boolean" })
    }

    fn from_flag(flag: bool) -> Option<Self> {
        Some(flag)
    }
}

impl Setting for SocketAddr {
    fn expected() -> String {
        "an IP address and a port, such as \"127.0.0.1:47820\"".to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "string" })
    }

    fn from_text(text: &str) -> Option<Self> {
        text.parse().ok().filter(|to: &Self| to.port() != 0)
    }
}

/// A setting that is one of a few words.
pub(crate) trait Choice: Copy + PartialEq + 'static {
    /// Each word of the file and what it stands for, in the order in which messages name them.
    const CHOICES: &'static [(&'static str, Self)];

    /// The word for it in the file.
    fn word(self) -> &'static str {
        Self::CHOICES.iter().find(|(_, choice)| *choice == self).map_or("", |(word, _)| word)
    }
}

impl<T: Choice> Setting for T {
    fn expected() -> String {
        words::one_of_quoted(T::CHOICES.iter().map(|(word, _)| word))
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "enum": T::CHOICES.iter().map(|(word, _)| *word).collect::<Vec<_>>() })
    }

    fn from_text(text: &str) -> Option<Self> {
        T::CHOICES.iter().find(|(word, _)| *word == text).map(|(_, choice)| *choice)
    }
}

impl Choice for StopStyle {
    const CHOICES: &'static [(&'static str, Self)] = &[("slip", Self::Slip), ("remember", Self::Remember)];
}

/// A number as a file has it: `i64` for whole ones, `f64` for any.
pub(crate) trait Number: Copy + PartialOrd + Display {
    /// The number, if a whole one will do.
    fn whole(number: i64) -> Option<Self>;

    /// The number, if any will do.
    fn any(number: f64) -> Option<Self>;

    /// The JSON Schema of all from `least` to `most`.
    #[cfg(test)]
    fn schema(least: Self, most: Self) -> serde_json::Value;
}

impl Number for i64 {
    fn whole(number: i64) -> Option<Self> {
        Some(number)
    }

    fn any(_: f64) -> Option<Self> {
        None
    }

    #[cfg(test)]
    fn schema(least: Self, most: Self) -> serde_json::Value {
        serde_json::json!({ "type": "integer", "minimum": least, "maximum": most })
    }
}

impl Number for f64 {
    fn whole(_: i64) -> Option<Self> {
        None
    }

    fn any(number: f64) -> Option<Self> {
        Some(number)
    }

    #[cfg(test)]
    fn schema(least: Self, most: Self) -> serde_json::Value {
        // Whole limits stand there as whole numbers.
        let limit = |limit: f64| limit.to_string().parse::<serde_json::Number>();
        serde_json::json!({ "type": "number", "minimum": limit(least).ok(), "maximum": limit(most).ok() })
    }
}

/// Declares settings that are a number between two limits. Each limit stands once, here: reading, message and schema
/// take it from the type.
///
/// A line is `Name(what it holds): number of the file = least..=most, "what to call it in a message", how the number
/// becomes what it holds;`.
macro_rules! bounded {
    ($($(#[$doc:meta])* $vis:vis $name:ident($value:ty): $number:ty = $limits:expr, $words:literal, $make:path;)+) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        $vis struct $name($value);

        impl $name {
            /// The least that a file may say, in its own unit.
            $vis const LEAST: $number = *($limits).start();
            /// The most that a file may say, in its own unit.
            $vis const MOST: $number = *($limits).end();

            /// Takes a number in the unit of the file; `None` outside of [`Self::LEAST`]..=[`Self::MOST`].
            #[must_use]
            $vis fn new(number: $number) -> Option<Self> {
                if (Self::LEAST..=Self::MOST).contains(&number) { $make(number).map(Self) } else { None }
            }

            /// Returns what the number stands for.
            #[must_use]
            $vis const fn get(self) -> $value {
                self.0
            }
        }

        impl $crate::read::Setting for $name {
            fn expected() -> String {
                format!("{} from {} to {}", $words, Self::LEAST, Self::MOST)
            }

            #[cfg(test)]
            fn schema() -> serde_json::Value {
                $crate::read::Number::schema(Self::LEAST, Self::MOST)
            }

            fn from_whole(number: i64) -> Option<Self> {
                Self::new($crate::read::Number::whole(number)?)
            }

            fn from_number(number: f64) -> Option<Self> {
                Self::new($crate::read::Number::any(number)?)
            }
        }
    )+};
}
pub(crate) use bounded;

/// A whole number as a type that holds no more than it has to.
pub(crate) fn whole<T: TryFrom<i64>>(number: i64) -> Option<T> {
    T::try_from(number).ok()
}

/// Any number as it is.
#[expect(clippy::unnecessary_wraps, reason = "numbers of other kinds may not fit")]
pub(crate) const fn real(number: f64) -> Option<f64> {
    Some(number)
}

/// A whole number of milliseconds.
pub(crate) fn whole_milliseconds(number: i64) -> Option<Duration> {
    u64::try_from(number).ok().map(Duration::from_millis)
}

/// Milliseconds and parts of one.
pub(crate) fn milliseconds(number: f64) -> Option<Duration> {
    seconds(number / 1000.0)
}

/// Seconds and parts of one.
pub(crate) fn seconds(number: f64) -> Option<Duration> {
    Duration::try_from_secs_f64(number).ok()
}

impl Setting for ButtonNumber {
    fn expected() -> String {
        format!("a button number from 1 to {}", Self::LAST)
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        Number::schema(1, i64::from(Self::LAST.get()))
    }

    fn from_whole(number: i64) -> Option<Self> {
        Self::new(u8::try_from(number).ok()?)
    }
}

impl Setting for CountsPerTurn {
    fn expected() -> String {
        format!("a whole number from 1 to {}", Self::MAX)
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        Number::schema(1, i64::from(Self::MAX))
    }

    fn from_whole(number: i64) -> Option<Self> {
        Self::new(u32::try_from(number).ok()?)
    }
}

impl Setting for Ratio {
    fn expected() -> String {
        format!("a number from {} to {}", Self::MIN, Self::MAX)
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        Number::schema(Self::MIN.get(), Self::MAX.get())
    }

    fn from_number(number: f64) -> Option<Self> {
        Self::new(number)
    }
}

impl Setting for CountsPerCycle {
    fn expected() -> String {
        "1, 2 or 4".to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "enum": [1, 2, 4] })
    }

    fn from_whole(number: i64) -> Option<Self> {
        [Self::X1, Self::X2, Self::X4].into_iter().find(|per_cycle| i64::from(per_cycle.get()) == number)
    }
}
