//! The aircraft file.

mod check;
pub(crate) mod file;
mod output;
mod title;
mod trim;

pub(crate) use check::check;

use crate::output::OutputConfig;
use crate::read::At;
pub use title::{Specificity, TitleChoice, TitlePattern, choose_by_title};
pub(crate) use trim::TrimOrigin;
pub use trim::{OnReport, Position, Start, Trim};

/// A checked aircraft: names are unique, every place is within its travel, outputs name trims that
/// there are. Two are equal when they say the same, wherever it stands in their files.
#[derive(Debug, Clone, PartialEq)]
pub struct Aircraft {
    /// The aircraft's name.
    pub name: String,
    /// Which titles that a simulator reports mean this aircraft; none twice, maybe none at all.
    pub titles: Vec<TitlePattern>,
    /// Whether it is for every title that no pattern of any aircraft matches.
    pub default: bool,
    /// The trims, at least one; a [`TrimIndex`](tallywheel_units::TrimIndex) is a place in this list.
    pub trims: Vec<Trim>,
    /// Where positions are published, maybe nowhere.
    pub outputs: Vec<OutputConfig>,
    pub(crate) origin: Origin,
}

/// Where an aircraft was read, for errors that only a rig or other aircraft bring to light.
#[derive(Debug, Clone)]
pub(crate) struct Origin {
    pub(crate) file: String,
    /// One for each pattern.
    pub(crate) titles: Vec<At>,
    pub(crate) default: Option<At>,
    pub(crate) trims: Vec<TrimOrigin>,
}

impl PartialEq for Origin {
    /// Where something is written is no part of what it says.
    fn eq(&self, _: &Self) -> bool {
        true
    }
}
