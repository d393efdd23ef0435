//! The aircraft file.

mod check;
pub(crate) mod file;
mod output;

pub(crate) use check::check;
pub use output::{AxisCode, Destination, Output, Scale, Template};

use crate::read::At;
use tallywheel_units::{Degrees, StopStyle};

/// A checked aircraft: names are unique, neutral and start are within the travel, outputs name trims that
/// there are. Two are equal when they say the same, wherever it stands in their files.
#[derive(Debug, Clone, PartialEq)]
pub struct Aircraft {
    /// The aircraft's name.
    pub name: String,
    /// The trims, at least one; a [`TrimIndex`](tallywheel_units::TrimIndex) is a place in this list.
    pub trims: Vec<Trim>,
    /// Where positions are published, maybe nowhere.
    pub outputs: Vec<Output>,
    pub(crate) origin: Origin,
}

/// One trim of an aircraft.
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
    /// Where it starts.
    pub start: Start,
}

/// Where a trim starts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Start {
    /// At neutral.
    Neutral,
    /// At the low stop.
    Low,
    /// At the high stop.
    High,
    /// So many degrees from the low stop, within the travel.
    At(Degrees),
}

/// Where an aircraft was read, for errors that only a rig brings to light.
#[derive(Debug, Clone)]
pub(crate) struct Origin {
    pub(crate) file: String,
    pub(crate) trims: Vec<TrimOrigin>,
}

/// Where a trim names its wheel and its travel.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TrimOrigin {
    pub(crate) wheel: At,
    /// Whether the wheel has a key of its own and not only the trim's name.
    pub(crate) names_wheel: bool,
    pub(crate) travel: At,
}

impl PartialEq for Origin {
    /// Where something is written is no part of what it says.
    fn eq(&self, _: &Self) -> bool {
        true
    }
}
