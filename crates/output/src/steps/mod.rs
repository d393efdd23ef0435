//! Presses of two buttons or two keys, for simulators that offer "trim left" and "trim right" and no axis.
//!
//! What arrives after any sequence of turns, once the presses are made: presses towards the high stop less
//! presses towards the low stop = step of the position - step where it began, where step =
//! round((axis + 32767) x presses / 65534), halves away from neutral; `nearest` has the rule, `walker` the
//! table of all that can happen. Extra presses at a stop come on top and are swallowed by the simulator's own
//! end.
//!
//! At opening the simulator is taken to be where the trim is, so nothing moves. Where that is wrong, the next
//! arrival at a stop brings both together, or the simulator's report does ([`Output::told`](crate::Output)).

use crate::{ConfigProblem, Frame, Output, OutputError};
use tallywheel_profile::{KeysTrim, Pace, StepsTrim};
use tallywheel_units::{AxisValue, Timestamp};

#[cfg(any(not(target_os = "linux"), test))]
mod absent;
mod buttons;
#[cfg(windows)]
mod keyboard;
#[cfg(any(not(windows), test))]
mod keyboard_absent;
#[cfg(test)]
mod model;
mod nearest;
mod output;
#[cfg(target_os = "linux")]
mod pad;
#[cfg(test)]
mod tests;
mod walker;

#[cfg(not(target_os = "linux"))]
use absent as system;
#[cfg(windows)]
use keyboard as system_keys;
#[cfg(not(windows))]
use keyboard_absent as system_keys;
#[cfg(target_os = "linux")]
use pad as system;

/// Whether this kind of system takes virtual buttons.
pub(crate) const fn check() -> Result<(), ConfigProblem> {
    system::check()
}

/// Whether this kind of system takes keys.
pub(crate) const fn check_keys() -> Result<(), ConfigProblem> {
    system_keys::check()
}

/// Opens the buttons with the simulator taken to be where `start` has the trims, or at neutral.
pub(crate) fn open(
    name: String,
    device_name: &str,
    trims: &[StepsTrim],
    pace: Pace,
    start: Option<&Frame<'_>>,
) -> Result<Box<dyn Output>, OutputError> {
    check()?;
    system::open(
        name,
        device_name,
        pace,
        &places(trims, start)?,
        start.map_or(Timestamp::START, |frame| frame.at),
    )
}

/// The same with keys.
pub(crate) fn open_keys(
    name: String,
    trims: &[KeysTrim],
    pace: Pace,
    start: Option<&Frame<'_>>,
) -> Result<Box<dyn Output>, OutputError> {
    check_keys()?;
    system_keys::open(name, pace, &places(trims, start)?, start.map_or(Timestamp::START, |frame| frame.at))
}

fn places<B: Copy>(
    trims: &[StepsTrim<B>],
    start: Option<&Frame<'_>>,
) -> Result<Vec<(StepsTrim<B>, AxisValue)>, ConfigProblem> {
    trims
        .iter()
        .map(|&trim| {
            let axis = match start {
                None => AxisValue::NEUTRAL,
                Some(frame) => frame.trim(trim.trim).ok_or(ConfigProblem::NoSuchTrim(trim.trim))?.axis,
            };
            Ok((trim, axis))
        })
        .collect()
}
