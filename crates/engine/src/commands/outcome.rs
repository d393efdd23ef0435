//! What became of a command.

use std::fmt;
use tallywheel_accumulator::Change;
use tallywheel_units::{Counts, Ratio};

/// What was done.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// The trim is where it was said to be.
    Aligned { trim: String, change: Change },
    /// Another aircraft is flown, or it was flown already.
    Flying { stem: String, aircraft: String, was_flying: bool },
    /// The trim has another ratio between wheel and trim.
    RatioChanged { trim: String, ratio: Ratio, change: Change },
    /// The outputs are held (`true`) or follow.
    Held(bool),
    /// All files were read; so many said something new, and so many of them are wrong.
    Reloaded { changed: usize, wrong: usize },
    /// The board is told with its next report; what is wrong then is a loss in the log.
    Confirmed { wheel: String, counts: Counts },
}

/// Why nothing was done.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// The aircraft has no such trim.
    #[error("there is no trim or wheel {given}; there are: {}", choices.join(", "))]
    NoSuchTrim { given: String, choices: Vec<String> },
    /// The rig has no such wheel.
    #[error("there is no wheel {given}; there are: {}", choices.join(", "))]
    NoSuchWheel { given: String, choices: Vec<String> },
    /// The trim has no position of this name.
    #[error("trim {trim} has no position {given}; there are: {}", choices.join(", "))]
    NoSuchPosition { trim: String, given: String, choices: Vec<String> },
    /// The trim has no such ratio; they are counted from 0.
    #[error("trim {trim} has no ratio {given}; it has {ratios}")]
    NoSuchRatio { trim: String, given: usize, ratios: usize },
    /// The rig gives the button nothing to do.
    #[error("the rig file gives this button nothing to do")]
    NoSuchButton,
    /// There is no such aircraft.
    #[error("there is no aircraft {given}; there are: {}", choices.join(", "))]
    NoSuchAircraft { given: String, choices: Vec<String> },
    /// The aircraft cannot be flown; its file or the rig has to change.
    #[error("aircraft {stem} cannot be flown: {reason}")]
    Unflyable { stem: String, reason: String },
    /// So many turns are more than anybody makes.
    #[error("{turns} turns are too many")]
    TooFar { turns: i32 },
    /// The program is ending.
    #[error("the program is ending")]
    Ending,
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Aligned { trim, change } => write!(f, "trim {trim} aligned: {change}"),
            Self::Flying { aircraft, was_flying: true, .. } => write!(f, "flying {aircraft} already"),
            Self::Flying { aircraft, .. } => write!(f, "flying {aircraft}"),
            Self::RatioChanged { trim, ratio, .. } => write!(f, "trim {trim}: ratio {ratio}"),
            Self::Held(true) => f.write_str("outputs are held"),
            Self::Held(false) => f.write_str("outputs follow"),
            Self::Reloaded { changed, wrong } => {
                write!(f, "files read again: {changed} changed, {wrong} wrong")
            }
            Self::Confirmed { wheel, counts } => write!(f, "wheel {wheel} turned by {counts} counts"),
        }
    }
}
