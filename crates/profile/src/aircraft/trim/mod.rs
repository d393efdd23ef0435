//! The trims of an aircraft.

mod check;
mod curve;
pub(crate) mod file;

pub(super) use check::{tell_shared_wheels, trim};

use crate::read::At;
use std::time::Duration;
use tallywheel_units::{Degrees, Normalized, Ratio, StopStyle};

/// One trim of an aircraft. All degrees are those of the aircraft's own wheel.
#[derive(Debug, Clone, PartialEq)]
pub struct Trim {
    /// Its name, unique in the aircraft.
    pub name: String,
    /// The name of its wheel, which no other trim has. Whether the rig has it, [`crate::fit()`] tells.
    pub wheel: String,
    /// Wheel rotation from the low stop to the high stop, above 0 and at most [`Degrees::LONGEST_TRAVEL`].
    pub travel: Degrees,
    /// From the low stop to neutral, within the travel.
    pub neutral: Degrees,
    /// What happens past a stop.
    pub stops: StopStyle,
    /// Whether turning the wheel forward moves the trim towards the low stop.
    pub reversed: bool,
    /// Places with a name, in the order of the file; no name twice and none of the words of [`Start`].
    pub positions: Vec<Position>,
    /// Where it starts.
    pub start: Start,
    /// What happens when the simulator reports its trim.
    pub report: OnReport,
    /// The curve from degrees to output, both rising: from the low stop to the high stop, through neutral,
    /// these three included; -1 at a low stop and +1 at a high stop that is not neutral, 0 at neutral. Empty
    /// for straight lines between the three.
    pub curve: Vec<(Degrees, Normalized)>,
    /// The longest that a count may take to arrive at the outputs, 1 to 500 ms; none for at once.
    pub smoothing: Option<Duration>,
    /// The ratios, at least one; the first is in force at the start. No wheel turns more than
    /// [`Degrees::LONGEST_TRAVEL`] for the travel in any of them.
    pub ratios: Vec<Ratio>,
}

impl Trim {
    /// The place that is called so: `low`, `neutral`, `high`, or one of the positions.
    #[must_use]
    pub fn position(&self, name: &str) -> Option<Degrees> {
        match name {
            "low" => Some(Degrees::ZERO),
            "neutral" => Some(self.neutral),
            "high" => Some(self.travel),
            _ => self.positions.iter().find(|position| position.name == name).map(|position| position.at),
        }
    }
}

/// A place with a name.
#[derive(Debug, Clone, PartialEq)]
pub struct Position {
    /// Its name.
    pub name: String,
    /// Degrees from the low stop, within the travel.
    pub at: Degrees,
}

/// Where a trim starts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Start {
    /// Where it was last, or at neutral if that is not known.
    Saved,
    /// At neutral.
    Neutral,
    /// At the low stop.
    Low,
    /// At the high stop.
    High,
    /// As [`Self::Saved`], and nothing is sent until the simulator has reported its trim.
    Simulator,
    /// So many degrees from the low stop, within the travel; named positions too.
    At(Degrees),
}

/// What happens when the simulator reports where its trim is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum OnReport {
    /// The trim goes there: a reference.
    #[default]
    Adopt,
    /// Nothing is sent until the wheel has been turned past there.
    Await,
    /// Nothing; the simulator is sent the wheel's place.
    Override,
}

/// Where a trim names its wheel, its travel and its ratios.
#[derive(Debug, Clone)]
pub(crate) struct TrimOrigin {
    pub(crate) wheel: At,
    /// Whether the wheel has a key of its own and not only the trim's name.
    pub(crate) names_wheel: bool,
    pub(crate) travel: At,
    /// One for each ratio; empty when the file has none.
    pub(crate) ratios: Vec<At>,
}
