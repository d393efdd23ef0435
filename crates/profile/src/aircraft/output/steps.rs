//! An `[[output]]` with `kind = "steps"`.

use super::check::{all_trims, index};
use super::file::OutputFile;
use crate::names::Names;
use crate::read::{Field, Map, Mistakes, Setting, Value, optional};
use crate::words;
use std::time::Duration;
use tallywheel_units::{ButtonNumber, TrimIndex};

/// Presses of virtual buttons. What is `None` has the default of the key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Steps {
    /// The name of the virtual joystick, at most 78 bytes; none to name it after the rig.
    pub device: Option<String>,
    /// Trims with the buttons towards the low and towards the high stop, in the order of the trims, at least
    /// one. No trim and no button twice; buttons from 1 to [`Self::LAST_BUTTON`].
    pub trims: Vec<(TrimIndex, ButtonNumber, ButtonNumber)>,
    /// Presses from stop to stop, 1..=10,000.
    pub presses: u16,
    /// How long a button is pressed, 1..=1,000 ms.
    pub press: Option<Duration>,
    /// How long none is pressed after it, 1..=1,000 ms.
    pub pause: Option<Duration>,
    /// Presses more at each arrival at a stop, 0..=250.
    pub extra: Option<u8>,
    /// How long after the last press the simulator's report tells of it, at most 60,000 ms.
    pub settle: Option<Duration>,
}

impl Steps {
    /// The highest number of a virtual button.
    pub const LAST_BUTTON: u8 = 56;
}

/// Tells every mistake in the keys that only this kind has.
pub(super) fn check(
    table: &OutputFile,
    byte: usize,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<Steps> {
    let presses = mistakes.required(&table.presses, byte, "output.presses").map(|presses| presses.0);
    let trims = match (&table.low_buttons, &table.high_buttons) {
        (None, None) => in_order(byte, names, mistakes),
        (low, high) => chosen(low, high, byte, names, mistakes),
    };
    Some(Steps {
        device: optional(&table.device)?.map(|name| name.0.clone()),
        trims: trims?,
        presses: presses?,
        press: optional(&table.press_ms)?.map(|time| time.0),
        pause: optional(&table.pause_ms)?.map(|time| time.0),
        extra: optional(&table.extra_presses)?.map(|extra| extra.0),
        settle: optional(&table.settle_ms)?.map(|time| time.0),
    })
}

type Pair = (TrimIndex, ButtonNumber, ButtonNumber);

/// Buttons 1 and 2 for the first trim, 3 and 4 for the second.
fn in_order(byte: usize, names: &Names<'_>, mistakes: &Mistakes<'_>) -> Option<Vec<Pair>> {
    let most = usize::from(Steps::LAST_BUTTON / 2);
    if names.len() > most {
        let expected = format!("the keys `low_buttons` and `high_buttons`, for at most {most} trims");
        mistakes.tell(byte, "output.low_buttons", expected, "nothing");
        return None;
    }
    let numbers = (1..).step_by(2).map(|low| Some((ButtonNumber::new(low)?, ButtonNumber::new(low + 1)?)));
    all_trims(names)?
        .into_iter()
        .zip(numbers)
        .map(|(trim, pair)| pair.map(|(low, high)| (trim, low, high)))
        .collect()
}

fn chosen(
    low: &Map<PadButton>,
    high: &Map<PadButton>,
    byte: usize,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<Pair>> {
    let mut seen = Vec::new();
    let low_found = side(low, "output.low_buttons", byte, names, &mut seen, mistakes);
    let high_found = side(high, "output.high_buttons", byte, names, &mut seen, mistakes);
    let (low_found, high_found) = (low_found?, high_found?);
    let both = tell_missing(&high_found, &low_found, low, "output.low_buttons", mistakes)
        & tell_missing(&low_found, &high_found, high, "output.high_buttons", mistakes);
    let mut pairs: Vec<Pair> = low_found
        .iter()
        .filter_map(|&(trim, low, _)| {
            let (_, high, _) = high_found.iter().find(|(other, ..)| *other == trim)?;
            Some((trim, low, *high))
        })
        .collect();
    pairs.sort_by_key(|(trim, ..)| *trim);
    both.then_some(pairs)
}

/// Whether `found` has a button for each trim that the other direction has one for.
fn tell_missing(
    wanted: &[(TrimIndex, ButtonNumber, &str)],
    found: &[(TrimIndex, ButtonNumber, &str)],
    key: &Map<PadButton>,
    path: &str,
    mistakes: &Mistakes<'_>,
) -> bool {
    let byte = key.as_ref().map_or(0, |field| field.byte);
    let missing = wanted.iter().filter(|(trim, ..)| !found.iter().any(|(other, ..)| other == trim));
    let mut complete = true;
    for (_, _, name) in missing {
        let expected = format!("a button for {} too, as for the other direction", words::quoted(name));
        mistakes.tell(byte, path, expected, "none");
        complete = false;
    }
    complete
}

/// One direction's buttons: the trim, its button and its name.
fn side<'t>(
    buttons: &'t Map<PadButton>,
    path: &str,
    byte: usize,
    names: &Names<'_>,
    seen: &mut Vec<ButtonNumber>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<(TrimIndex, ButtonNumber, &'t str)>> {
    let Some(field) = buttons else {
        mistakes.tell(byte, path, "a button for each trim, as for the other direction", "nothing");
        return None;
    };
    let table = field.value.as_ref()?;
    if table.is_empty() {
        mistakes.tell(field.byte, path, "at least one trim and its button", "an empty table");
    }
    let mut entries: Vec<_> = table.iter().collect();
    entries.sort_by_key(|(name, _)| name.span().start);
    let mut found = Vec::new();
    let mut complete = !entries.is_empty();
    for (name, field) in entries {
        let path = format!("{path}.{}", words::bare(name.get_ref()));
        let trim = names.find(name.get_ref(), name.span().start, &path, "a [[trim]]", mistakes);
        match (trim.and_then(index), unused(field, &path, seen, mistakes)) {
            (Some(trim), Some(button)) => found.push((trim, button, name.get_ref().as_str())),
            _ => complete = false,
        }
    }
    complete.then_some(found)
}

fn unused(
    field: &Field<Value<PadButton>>,
    path: &str,
    seen: &mut Vec<ButtonNumber>,
    mistakes: &Mistakes<'_>,
) -> Option<ButtonNumber> {
    let button = field.setting()?.0;
    if seen.contains(&button) {
        mistakes.tell(field.byte, path, "a button without another use", button.to_string());
        return None;
    }
    seen.push(button);
    Some(button)
}

/// A button of the virtual joystick.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct PadButton(ButtonNumber);

impl Setting for PadButton {
    const EXPECTED: &'static str = "a button number from 1 to 56";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "integer", "minimum": 1, "maximum": Steps::LAST_BUTTON })
    }

    fn from_whole(number: i64) -> Option<Self> {
        let number = u8::try_from(number).ok().filter(|number| *number <= Steps::LAST_BUTTON)?;
        ButtonNumber::new(number).map(Self)
    }
}

/// Presses from stop to stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Presses(u16);

impl Setting for Presses {
    const EXPECTED: &'static str = "a whole number from 1 to 10000";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "integer", "minimum": 1, "maximum": 10_000 })
    }

    fn from_whole(number: i64) -> Option<Self> {
        u16::try_from(number).ok().filter(|presses| (1..=10_000).contains(presses)).map(Self)
    }
}

/// Presses at a stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct ExtraPresses(u8);

impl Setting for ExtraPresses {
    const EXPECTED: &'static str = "a whole number from 0 to 250";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "integer", "minimum": 0, "maximum": 250 })
    }

    fn from_whole(number: i64) -> Option<Self> {
        u8::try_from(number).ok().filter(|presses| *presses <= 250).map(Self)
    }
}

/// How long a press or a pause takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct PressMs(Duration);

impl Setting for PressMs {
    const EXPECTED: &'static str = "milliseconds from 1 to 1000";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "number", "minimum": 1, "maximum": 1_000 })
    }

    fn from_number(number: f64) -> Option<Self> {
        (1.0..=1_000.0).contains(&number).then(|| Self(Duration::from_secs_f64(number / 1_000.0)))
    }
}

/// How long the simulator's report may take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct SettleMs(Duration);

impl Setting for SettleMs {
    const EXPECTED: &'static str = "milliseconds from 0 to 60000";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "number", "minimum": 0, "maximum": 60_000 })
    }

    fn from_number(number: f64) -> Option<Self> {
        (0.0..=60_000.0).contains(&number).then(|| Self(Duration::from_secs_f64(number / 1_000.0)))
    }
}
