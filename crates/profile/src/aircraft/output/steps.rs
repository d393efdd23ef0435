//! An `[[output]]` with `kind = "steps"`.

use super::file::OutputFile;
use super::limits::PadButton;
use crate::names::{Names, trim_index};
use crate::output::{KeyPlace, OutputConfig, Pace, StepsTrim};
use crate::read::{Field, Map, Mistakes, Setting, Value, optional};
use crate::words;
use tallywheel_units::{ButtonNumber, TrimIndex};

/// Tells every mistake in the keys that only this kind has.
pub(super) fn check(
    table: &OutputFile,
    byte: usize,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<OutputConfig> {
    let presses = mistakes.required(&table.presses, byte, "output.presses").map(|presses| presses.get());
    if table.low_keys.is_none() && table.high_keys.is_none() {
        let trims = buttons(table, byte, names, mistakes);
        let device = optional(&table.device)?.cloned();
        return Some(OutputConfig::Steps { device, trims: trims?, pace: pace(table, presses?)? });
    }
    const BUTTONS: &str = "buttons of a joystick";
    const KEYS: &str = "`low_keys` or `high_keys`";
    mistakes.foreign(&table.low_buttons, "output.low_buttons", BUTTONS, KEYS);
    mistakes.foreign(&table.high_buttons, "output.high_buttons", BUTTONS, KEYS);
    mistakes.foreign(&table.device, "output.device", BUTTONS, KEYS);
    let paths = ["output.low_keys", "output.high_keys"];
    let trims = chosen([&table.low_keys, &table.high_keys], paths, byte, names, mistakes);
    Some(OutputConfig::Keys { trims: trims?, pace: pace(table, presses?)? })
}

fn pace(table: &OutputFile, presses: u16) -> Option<Pace> {
    let usual = Pace::new(presses);
    Some(Pace {
        presses,
        press: optional(&table.press_ms)?.map_or(usual.press, |time| time.get()),
        pause: optional(&table.pause_ms)?.map_or(usual.pause, |time| time.get()),
        extra: optional(&table.extra_presses)?.map_or(usual.extra, |extra| extra.get()),
        settle: optional(&table.settle_ms)?.map_or(usual.settle, |time| time.get()),
    })
}

fn buttons(
    table: &OutputFile,
    byte: usize,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<StepsTrim>> {
    let keys = [&table.low_buttons, &table.high_buttons];
    if keys.iter().all(|key| key.is_none()) {
        return in_order(byte, names, mistakes);
    }
    let paths = ["output.low_buttons", "output.high_buttons"];
    let chosen: Vec<StepsTrim<PadButton>> = chosen(keys, paths, byte, names, mistakes)?;
    let button = |trim: StepsTrim<PadButton>| StepsTrim {
        trim: trim.trim,
        low: trim.low.get(),
        high: trim.high.get(),
    };
    Some(chosen.into_iter().map(button).collect())
}

/// What can be pressed.
trait Press: Setting + Copy + PartialEq {
    /// What people call it.
    const NOUN: &'static str;

    /// What identifies it in messages.
    fn shown(self) -> String;
}

/// Buttons 1 and 2 for the first trim, 3 and 4 for the second.
fn in_order(byte: usize, names: &Names<'_>, mistakes: &Mistakes<'_>) -> Option<Vec<StepsTrim>> {
    let most = usize::try_from(PadButton::MOST / 2).unwrap_or(0);
    if names.len() > most {
        let expected = format!("the keys `low_buttons` and `high_buttons`, for at most {most} trims");
        mistakes.tell(byte, "output.low_buttons", expected, "nothing");
        return None;
    }
    let numbers = (1..).step_by(2);
    let trims = names.indices()?.into_iter().zip(numbers);
    trims
        .map(|(trim, low)| {
            Some(StepsTrim { trim, low: ButtonNumber::new(low)?, high: ButtonNumber::new(low + 1)? })
        })
        .collect()
}

/// Of both directions, the low one first: the keys of the file and their paths.
fn chosen<P: Press>(
    keys: [&Map<P>; 2],
    paths: [&str; 2],
    byte: usize,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<StepsTrim<P>>> {
    let mut seen = Vec::new();
    let ([low, high], [low_path, high_path]) = (keys, paths);
    let low_found = side(low, low_path, byte, names, &mut seen, mistakes);
    let high_found = side(high, high_path, byte, names, &mut seen, mistakes);
    let (low_found, high_found) = (low_found?, high_found?);
    let both = tell_missing(&high_found, &low_found, low, low_path, mistakes)
        & tell_missing(&low_found, &high_found, high, high_path, mistakes);
    let mut pairs: Vec<StepsTrim<P>> = low_found
        .iter()
        .filter_map(|&(trim, low, _)| {
            let (_, high, _) = high_found.iter().find(|(other, ..)| *other == trim)?;
            Some(StepsTrim { trim, low, high: *high })
        })
        .collect();
    pairs.sort_by_key(|pair| pair.trim);
    both.then_some(pairs)
}

/// Whether `found` has one for each trim that the other direction has one for.
fn tell_missing<P: Press>(
    wanted: &[(TrimIndex, P, &str)],
    found: &[(TrimIndex, P, &str)],
    key: &Map<P>,
    path: &str,
    mistakes: &Mistakes<'_>,
) -> bool {
    let byte = key.as_ref().map_or(0, |field| field.byte);
    let missing = wanted.iter().filter(|(trim, ..)| !found.iter().any(|(other, ..)| other == trim));
    let mut complete = true;
    for (_, _, name) in missing {
        let expected = format!("a {} for {} too, as for the other direction", P::NOUN, words::quoted(name));
        mistakes.tell(byte, path, expected, "none");
        complete = false;
    }
    complete
}

/// What is pressed in one direction: the trim, what is pressed for it and its name.
fn side<'t, P: Press>(
    pressed: &'t Map<P>,
    path: &str,
    byte: usize,
    names: &Names<'_>,
    seen: &mut Vec<P>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<(TrimIndex, P, &'t str)>> {
    let Some(field) = pressed else {
        let expected = format!("a {} for each trim, as for the other direction", P::NOUN);
        mistakes.tell(byte, path, expected, "nothing");
        return None;
    };
    let table = field.value.as_ref()?;
    if table.is_empty() {
        let expected = format!("at least one trim and its {}", P::NOUN);
        mistakes.tell(field.byte, path, expected, "an empty table");
    }
    let mut entries: Vec<_> = table.iter().collect();
    entries.sort_by_key(|(name, _)| name.span().start);
    let mut found = Vec::new();
    let mut complete = !entries.is_empty();
    for (name, field) in entries {
        let path = format!("{path}.{}", words::bare(name.get_ref()));
        let trim = names.find(name.get_ref(), name.span().start, &path, "a [[trim]]", mistakes);
        match (trim.and_then(trim_index), unused(field, &path, seen, mistakes)) {
            (Some(trim), Some(one)) => found.push((trim, one, name.get_ref().as_str())),
            _ => complete = false,
        }
    }
    complete.then_some(found)
}

fn unused<P: Press>(
    field: &Field<Value<P>>,
    path: &str,
    seen: &mut Vec<P>,
    mistakes: &Mistakes<'_>,
) -> Option<P> {
    let one = *field.setting()?;
    if seen.contains(&one) {
        mistakes.tell(field.byte, path, format!("a {} without another use", P::NOUN), one.shown());
        return None;
    }
    seen.push(one);
    Some(one)
}

impl Press for PadButton {
    const NOUN: &'static str = "button";

    fn shown(self) -> String {
        self.get().to_string()
    }
}

impl Press for KeyPlace {
    const NOUN: &'static str = "key";

    fn shown(self) -> String {
        words::quoted(self.name())
    }
}
