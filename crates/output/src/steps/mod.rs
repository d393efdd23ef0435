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

use crate::{ConfigProblem, Frame, Output, OutputError, axis};
use tallywheel_units::{AxisValue, KeyPlace, Timestamp};

#[cfg(any(not(target_os = "linux"), test))]
mod absent;
mod buttons;
mod config;
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

pub use config::{KeysTrim, Pace, StepsTrim};

/// The highest number of a virtual button: the kernel has names for 16 joystick buttons and 40 more.
const LAST_BUTTON: u8 = 56;

/// Checks everything that the configuration and the kind of system alone decide.
pub(crate) fn check(device_name: &str, trims: &[StepsTrim], pace: &Pace) -> Result<(), ConfigProblem> {
    check_words(device_name, trims, pace)?;
    system::check()
}

fn check_words(device_name: &str, trims: &[StepsTrim], pace: &Pace) -> Result<(), ConfigProblem> {
    axis::check_name(device_name)?;
    check_trims(trims, pace, |button| match button.get() {
        ..=LAST_BUTTON => Ok(()),
        _ => Err(ConfigProblem::ButtonTooHigh(button)),
    })?;
    once(trims).map_err(ConfigProblem::ButtonTwice)
}

/// The same for keys.
pub(crate) fn check_keys(trims: &[KeysTrim], pace: &Pace) -> Result<(), ConfigProblem> {
    check_key_words(trims, pace)?;
    system_keys::check()
}

fn check_key_words(trims: &[KeysTrim], pace: &Pace) -> Result<(), ConfigProblem> {
    check_trims(trims, pace, |_| Ok(()))?;
    once(trims).map_err(ConfigProblem::KeyTwice)
}

fn check_trims<B: Copy>(
    trims: &[StepsTrim<B>],
    pace: &Pace,
    possible: impl Fn(B) -> Result<(), ConfigProblem>,
) -> Result<(), ConfigProblem> {
    pace.check()?;
    if trims.is_empty() {
        return Err(ConfigProblem::NoTrims);
    }
    all(trims).try_for_each(possible)
}

fn all<B: Copy>(trims: &[StepsTrim<B>]) -> impl Iterator<Item = B> {
    trims.iter().flat_map(|trim| [trim.low, trim.high])
}

/// Fails with the first that is pressed for two purposes.
fn once<B: Copy + PartialEq>(trims: &[StepsTrim<B>]) -> Result<(), B> {
    let mut seen = Vec::with_capacity(2 * trims.len());
    for pressed in all(trims) {
        if seen.contains(&pressed) {
            return Err(pressed);
        }
        seen.push(pressed);
    }
    Ok(())
}

/// The keys of an output, for its name.
pub(crate) fn keys(trims: &[KeysTrim]) -> Vec<&'static str> {
    all(trims).map(KeyPlace::name).collect()
}

/// Opens the buttons with the simulator taken to be where `start` has the trims, or at neutral.
pub(crate) fn open(
    name: String,
    device_name: &str,
    trims: &[StepsTrim],
    pace: Pace,
    start: Option<&Frame<'_>>,
) -> Result<Box<dyn Output>, OutputError> {
    check(device_name, trims, &pace)?;
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
    check_keys(trims, &pace)?;
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
