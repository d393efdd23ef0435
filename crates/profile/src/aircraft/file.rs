//! What an aircraft file may say. The doc comments here are the one description of its keys.

use super::Start;
use super::output::file::OutputFile;
use crate::names::Name;
use crate::read::{Key, Setting, Tables};
use serde::Deserialize;
use tallywheel_units::{Degrees, StopStyle};

/// How one aircraft's trims behave and where their positions go. It never names a board or a button.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct AircraftFile {
    /// The aircraft's name.
    pub(crate) name: Key<Name>,
    /// The trims, one table each, at least one.
    pub(crate) trim: Tables<TrimFile>,
    /// Where the positions are published, one table each. Without any, nothing is published.
    pub(crate) output: Tables<OutputFile>,
}

/// One trim: a wheel of the rig and the travel that the real trim wheel has.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct TrimFile {
    /// A name for the trim, that no other trim of the aircraft has.
    pub(crate) name: Key<Name>,
    /// The name of the wheel, from the rig file. Default: the trim's name. A wheel moves one trim only.
    pub(crate) wheel: Key<Name>,
    /// Degrees that the wheel turns from the low stop to the high stop. More than a turn is usual: two turns
    /// are 720.
    pub(crate) travel_degrees: Key<Travel>,
    /// Degrees from the low stop to neutral. Default: the middle of the travel. At a stop, 0 or the whole
    /// travel, the trim goes to one side only.
    pub(crate) neutral_degrees: Key<Angle>,
    /// What happens when the wheel is turned past a stop. `"slip"`, the default: nothing, and turning back
    /// moves the trim at once. `"remember"`: it must first be turned back as far.
    pub(crate) stops: Key<StopStyle>,
    /// Whether turning the wheel forward moves the trim towards the low stop. Default false.
    pub(crate) reversed: Key<bool>,
    /// Where the trim is when the program starts: `"neutral"`, the default, `"low"` or `"high"` for a stop, or
    /// degrees from the low stop.
    pub(crate) start: Key<Start>,
}

/// A travel, at most [`Degrees::LONGEST_TRAVEL`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Travel(pub(crate) Degrees);

impl Setting for Travel {
    const EXPECTED: &'static str = "degrees, above 0 and at most 36000";

    fn from_number(number: f64) -> Option<Self> {
        let degrees = Degrees::new(number)?;
        (degrees > Degrees::ZERO && degrees <= Degrees::LONGEST_TRAVEL).then_some(Self(degrees))
    }
}

/// Degrees from the low stop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Angle(pub(crate) Degrees);

impl Setting for Angle {
    const EXPECTED: &'static str = "degrees from 0 to the travel";

    fn from_number(number: f64) -> Option<Self> {
        let degrees = Degrees::new(number)?;
        (degrees >= Degrees::ZERO && degrees <= Degrees::LONGEST_TRAVEL).then_some(Self(degrees))
    }
}

impl Setting for Start {
    const EXPECTED: &'static str = "\"neutral\", \"low\", \"high\" or degrees from 0 to the travel";

    fn from_text(text: &str) -> Option<Self> {
        match text {
            "neutral" => Some(Self::Neutral),
            "low" => Some(Self::Low),
            "high" => Some(Self::High),
            _ => None,
        }
    }

    fn from_number(number: f64) -> Option<Self> {
        Angle::from_number(number).map(|angle| Self::At(angle.0))
    }
}
