//! What a `[[trim]]` may say. The doc comments here are the one description of its keys.

use crate::names::Name;
use crate::read::{Choice, Key, List, Map, Rows, Setting, bounded, milliseconds};
use serde::Deserialize;
use std::time::Duration;
use tallywheel_units::{Degrees, Ratio, StopStyle};

use super::OnReport;

/// One trim: a wheel of the rig and the travel that the real trim wheel has.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct TrimFile {
    /// A name for the trim, that no other trim of the aircraft has.
    #[cfg_attr(test, schemars(required))]
    pub(crate) name: Key<Name>,
    /// The name of the wheel, from the rig file. Default: the trim's name. A wheel moves one trim only.
    pub(crate) wheel: Key<Name>,
    /// Degrees that the wheel turns from the low stop to the high stop. More than a turn is usual: two turns
    /// are 720. All degrees of a trim are those of the aircraft's own wheel; `ratios` says how far yours turns
    /// for them.
    #[cfg_attr(test, schemars(required))]
    pub(crate) travel_degrees: Key<Travel>,
    /// Degrees from the low stop to neutral. Default: the middle of the travel. At a stop, 0 or the whole
    /// travel, the trim goes to one side only.
    pub(crate) neutral_degrees: Key<Angle>,
    /// What happens when the wheel is turned past a stop. `"slip"`, the default: nothing, and turning back
    /// moves the trim at once. `"remember"`: it must first be turned back as far.
    pub(crate) stops: Key<StopStyle>,
    /// Whether turning the wheel forward moves the trim towards the low stop. Default false.
    pub(crate) reversed: Key<bool>,
    /// Places with a name, in degrees from the low stop, such as `{ take-off = 300, landing = 410 }`. The trim
    /// can be aligned to them and can start there. `neutral`, `low` and `high` are there already; no position
    /// can be called so, nor `saved` or `simulator`.
    pub(crate) positions: Map<Angle>,
    /// Where the trim is when the program starts or the aircraft changes. `"saved"`, the default: where it was
    /// last in this aircraft, or neutral if it never was in use. `"neutral"`; `"low"` or `"high"` for a stop;
    /// the name of one of `positions`; or degrees from the low stop. `"simulator"`: as `"saved"`, but nothing
    /// is sent until the simulator has reported where its trim is.
    pub(crate) start: Key<StartAt>,
    /// What happens when the simulator reports where its trim is. `"adopt"`, the default: the wheel never had
    /// a place of its own, so the simulator's is taken over. `"await"`: nothing is sent until you have turned
    /// the wheel past the simulator's place. `"override"`: the report changes nothing, and the simulator
    /// gets the wheel's.
    pub(crate) report: Key<OnReport>,
    /// Points of a curve from degrees to output, such as `[[100, -0.9], [250, -0.3]]`. The output is -1 at the
    /// low stop, 0 at neutral and +1 at the high stop, whether these points are given or not. From point to
    /// point degrees rise and the output never falls. The curve is smooth, goes through every point and swings
    /// beyond none. Default: straight lines from each stop to neutral.
    pub(crate) curve: Rows<AnyNumber>,
    /// The most milliseconds that a count takes to arrive at the outputs in small steps, 1 to 500. The
    /// output never passes the wheel and is never more than one count behind. Default: each count at once.
    pub(crate) smoothing_ms: Key<SmoothingMs>,
    /// Degrees that the trim moves for one degree of the wheel in your hand, such as `[1, 0.5]`. The first is
    /// in force when the aircraft is chosen; you can change to another at any time, and the trim stays where
    /// it is. Default: `[1]`.
    pub(crate) ratios: List<Ratio>,
}

/// A travel, at most [`Degrees::LONGEST_TRAVEL`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Travel(pub(crate) Degrees);

impl Setting for Travel {
    fn expected() -> String {
        "degrees, above 0 and at most 36000".to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "number", "exclusiveMinimum": 0, "maximum": 36000 })
    }

    fn from_number(number: f64) -> Option<Self> {
        let degrees = Degrees::new(number)?;
        (degrees > Degrees::ZERO && degrees <= Degrees::LONGEST_TRAVEL).then_some(Self(degrees))
    }
}

/// Degrees from the low stop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Angle(pub(crate) Degrees);

impl Setting for Angle {
    fn expected() -> String {
        "degrees from 0 to the travel".to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "number", "minimum": 0, "maximum": 36000 })
    }

    fn from_number(number: f64) -> Option<Self> {
        let degrees = Degrees::new(number)?;
        (degrees >= Degrees::ZERO && degrees <= Degrees::LONGEST_TRAVEL).then_some(Self(degrees))
    }
}

/// Where a trim starts, the name of a position not looked up yet.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum StartAt {
    Saved,
    Neutral,
    Low,
    High,
    Simulator,
    Named(String),
    Degrees(Degrees),
}

/// The words that mean something as a `start`, so no position can be called so.
pub(crate) const START_WORDS: [&str; 5] = ["saved", "neutral", "low", "high", "simulator"];

impl Setting for StartAt {
    fn expected() -> String {
        "\"saved\", \"neutral\", \"low\", \"high\", \"simulator\", the name of one of \
                                    the positions, or degrees from 0 to the travel"
            .to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "anyOf": [
            { "enum": START_WORDS },
            crate::schema::plain_text(1, 64),
            { "type": "number", "minimum": 0, "maximum": 36000 },
        ] })
    }

    fn from_text(text: &str) -> Option<Self> {
        Some(match text {
            "saved" => Self::Saved,
            "neutral" => Self::Neutral,
            "low" => Self::Low,
            "high" => Self::High,
            "simulator" => Self::Simulator,
            _ => Self::Named(Name::from_text(text)?.0),
        })
    }

    fn from_number(number: f64) -> Option<Self> {
        Angle::from_number(number).map(|angle| Self::Degrees(angle.0))
    }
}

impl Choice for OnReport {
    const CHOICES: &'static [(&'static str, Self)] =
        &[("adopt", Self::Adopt), ("await", Self::Await), ("override", Self::Override)];
}

/// A number of a curve; whether it is one that belongs there, the check of the whole curve tells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct AnyNumber(pub(crate) f64);

impl Setting for AnyNumber {
    fn expected() -> String {
        "a number".to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "number" })
    }

    fn from_number(number: f64) -> Option<Self> {
        number.is_finite().then_some(Self(number))
    }
}

bounded! {
    /// How long a count may take to arrive at the outputs.
    pub(crate) SmoothingMs(Duration): f64 = 1.0..=500.0, "milliseconds", milliseconds;
}
