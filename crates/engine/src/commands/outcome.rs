//! What became of a command.

use std::fmt;
use tallywheel_accumulator::Change;
use tallywheel_units::{Counts, Ratio};

/// What was done.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// The trim is where it was said to be.
    Aligned {
        /// The trim's name.
        trim: String,
        /// How far it moved, and its margin before and now.
        change: Change,
    },
    /// Another aircraft is flown, or it was flown already.
    Flying {
        /// The aircraft file's name without `.toml`.
        stem: String,
        /// The aircraft's name.
        aircraft: String,
        /// It was flown already, and nothing was done.
        was_flying: bool,
    },
    /// The trim has another ratio between wheel and trim.
    RatioChanged {
        /// The trim's name.
        trim: String,
        /// The ratio in force now.
        ratio: Ratio,
        /// What became of its position, which stays at its degrees.
        change: Change,
    },
    /// The outputs are held (`true`) or follow.
    Held(bool),
    /// All files were read; so many said something new, and so many of them are wrong.
    Reloaded {
        /// How many files say something new, or are gone.
        changed: usize,
        /// How many files are not valid now.
        wrong: usize,
    },
    /// The board is told with its next report; what is wrong then is a loss in the log.
    Confirmed {
        /// The wheel's name.
        wheel: String,
        /// How many counts those turns are, forward positive.
        counts: Counts,
    },
}

/// Why a command was not carried out, made where that is found out. The command line, the API and the tray show these
/// fields as they are.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{detail}; {cure}")]
pub struct Refusal {
    /// What the one who asked can do next.
    pub kind: RefusalKind,
    /// Why it was not done: one clause without a full stop.
    pub detail: String,
    /// How to get it done: one clause without a full stop.
    pub cure: String,
}

/// Refusals by what the one who asked does next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RefusalKind {
    /// The command names something that does not exist: ask for another.
    NotFound,
    /// The command, or a file that it needs, is not valid: correct that.
    NotValid,
    /// The command cannot be carried out in the present state: change the state first.
    NotNow,
}

impl Refusal {
    /// Makes a refusal for a command that names something that does not exist.
    pub fn not_found(detail: impl Into<String>, cure: impl Into<String>) -> Self {
        Self { kind: RefusalKind::NotFound, detail: detail.into(), cure: cure.into() }
    }

    /// Makes a refusal for a command that is not valid or needs a file that is not.
    pub fn not_valid(detail: impl Into<String>, cure: impl Into<String>) -> Self {
        Self { kind: RefusalKind::NotValid, detail: detail.into(), cure: cure.into() }
    }

    /// Makes a refusal for a command that cannot be carried out in the present state.
    pub fn not_now(detail: impl Into<String>, cure: impl Into<String>) -> Self {
        Self { kind: RefusalKind::NotNow, detail: detail.into(), cure: cure.into() }
    }

    /// Refuses the trim `given`, which the aircraft does not have; `trims` are those that it has.
    pub fn no_such_trim<'a>(given: &str, trims: impl IntoIterator<Item = &'a str>) -> Self {
        Self::not_found(
            format!("there is no trim or wheel {given}"),
            one_of(trims, "see `tallywheel status`"),
        )
    }

    /// Refuses the wheel `given`, which the rig does not have; `wheels` are those that it has.
    pub fn no_such_wheel<'a>(given: &str, wheels: impl IntoIterator<Item = &'a str>) -> Self {
        Self::not_found(format!("there is no wheel {given}"), one_of(wheels, "see `tallywheel status`"))
    }

    /// Refuses the position `given`, which `trim` does not have; `positions` are the names that it has.
    pub fn no_such_position<'a>(
        trim: &str,
        given: &str,
        positions: impl IntoIterator<Item = &'a str>,
    ) -> Self {
        let cure = one_of(positions, "say neutral, low, high or degrees");
        Self::not_valid(format!("trim {trim} has no position {given}"), cure)
    }

    /// Refuses the place `given` in the list of `trim`'s ratios, which is counted from 0 and has `ratios` places.
    #[must_use]
    pub fn no_such_ratio(trim: &str, given: usize, ratios: usize) -> Self {
        Self::not_found(format!("trim {trim} has no ratio {given}"), format!("it has {ratios}"))
    }

    /// Refuses a board's button that the rig file gives nothing to do.
    #[must_use]
    pub fn no_such_button() -> Self {
        Self::not_found("the rig file gives this button nothing to do", "say in the rig file what it does")
    }

    /// Refuses the aircraft `given`, for which there is no file; `aircraft` are the file names that there are.
    pub fn no_such_aircraft<'a>(given: &str, aircraft: impl IntoIterator<Item = &'a str>) -> Self {
        Self::not_found(format!("there is no aircraft {given}"), one_of(aircraft, "see `tallywheel fly`"))
    }

    /// Refuses the aircraft of the file `file_name`, which does not go together with the rig for `reason`.
    #[must_use]
    pub fn unflyable(file_name: &str, reason: &str) -> Self {
        Self::not_valid(
            format!("aircraft {file_name} cannot be flown: {reason}"),
            "correct its file; `tallywheel check` looks at all",
        )
    }

    /// Refuses `turns` whole turns, which are more than anybody makes.
    #[must_use]
    pub fn too_many_turns(turns: i32) -> Self {
        Self::not_valid(format!("{turns} turns are too many"), "say fewer")
    }

    /// Refuses everything, because the program is ending.
    #[must_use]
    pub fn ending() -> Self {
        Self::not_now("the program is ending", "start it again with `tallywheel run`")
    }
}

/// Lists what there is to choose from, or says `otherwise` where there is nothing.
fn one_of<'a>(choices: impl IntoIterator<Item = &'a str>, otherwise: &str) -> String {
    let choices: Vec<_> = choices.into_iter().collect();
    if choices.is_empty() { otherwise.to_owned() } else { format!("there are: {}", choices.join(", ")) }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_refusal_says_what_to_do() {
        use RefusalKind::{NotFound, NotNow, NotValid};
        let some = ["rudder", "elevator"];
        for (refusal, kind, text) in [
            (
                Refusal::no_such_trim("x", some),
                NotFound,
                "there is no trim or wheel x; there are: rudder, elevator",
            ),
            (
                Refusal::no_such_trim("x", []),
                NotFound,
                "there is no trim or wheel x; see `tallywheel status`",
            ),
            (Refusal::no_such_wheel("x", some), NotFound, "there is no wheel x; there are: rudder, elevator"),
            (
                Refusal::no_such_position("rudder", "x; y", ["take-off"]),
                NotValid,
                "trim rudder has no position x; y; there are: take-off",
            ),
            (Refusal::no_such_aircraft("x", []), NotFound, "there is no aircraft x; see `tallywheel fly`"),
            (
                Refusal::unflyable("dimmerly", "it has no wheel"),
                NotValid,
                "aircraft dimmerly cannot be flown: it has no wheel; correct its file; `tallywheel check` looks at \
                 all",
            ),
            (Refusal::too_many_turns(5000), NotValid, "5000 turns are too many; say fewer"),
            (Refusal::ending(), NotNow, "the program is ending; start it again with `tallywheel run`"),
        ] {
            assert_eq!((refusal.to_string().as_str(), refusal.kind), (text, kind));
        }
        let position = Refusal::no_such_position("rudder", "x; y", ["take-off"]);
        assert_eq!(position.cure, "there are: take-off", "whatever stands in a name");
    }
}
