//! An `[[output]]` with `kind = "steps"`.

use super::check::{all_trims, index};
use super::file::OutputFile;
use crate::names::Names;
use crate::read::{Field, Map, Mistakes, Setting, Value, bounded, milliseconds, optional, whole};
use crate::words;
use std::time::Duration;
use tallywheel_units::{ButtonNumber, KeyPlace, TrimIndex};

/// Presses. What is `None` has the default of the key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Steps {
    /// What is pressed.
    pub pressed: Pressed,
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

/// What is pressed for which trims: towards the low and towards the high stop, in the order of the trims, at least one.
/// No trim, button or key twice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Pressed {
    /// Buttons of a virtual joystick.
    Buttons {
        /// Its name, at most 78 bytes; none to name it after the rig.
        device: Option<String>,
        /// Buttons from 1 to [`Steps::LAST_BUTTON`].
        trims: Vec<(TrimIndex, ButtonNumber, ButtonNumber)>,
    },
    /// Keys of the keyboard.
    Keys(Vec<(TrimIndex, KeyPlace, KeyPlace)>),
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
    let presses = mistakes.required(&table.presses, byte, "output.presses").map(|presses| presses.get());
    let pressed = if table.low_keys.is_some() || table.high_keys.is_some() {
        keys(table, byte, names, mistakes)
    } else {
        buttons(table, byte, names, mistakes)
    };
    Some(Steps {
        pressed: pressed?,
        presses: presses?,
        press: optional(&table.press_ms)?.map(|time| time.get()),
        pause: optional(&table.pause_ms)?.map(|time| time.get()),
        extra: optional(&table.extra_presses)?.map(|extra| extra.get()),
        settle: optional(&table.settle_ms)?.map(|time| time.get()),
    })
}

fn buttons(table: &OutputFile, byte: usize, names: &Names<'_>, mistakes: &Mistakes<'_>) -> Option<Pressed> {
    let trims = match (&table.low_buttons, &table.high_buttons) {
        (None, None) => in_order(byte, names, mistakes),
        (low, high) => {
            let paths = ["output.low_buttons", "output.high_buttons"];
            let pairs: Vec<Pair<PadButton>> = chosen([low, high], paths, byte, names, mistakes)?;
            Some(pairs.into_iter().map(|(trim, low, high)| (trim, low.get(), high.get())).collect())
        }
    };
    let device = optional(&table.device)?.map(|name| name.0.clone());
    Some(Pressed::Buttons { device, trims: trims? })
}

fn keys(table: &OutputFile, byte: usize, names: &Names<'_>, mistakes: &Mistakes<'_>) -> Option<Pressed> {
    const BUTTONS: &str = "buttons of a joystick";
    const KEYS: &str = "`low_keys` or `high_keys`";
    mistakes.foreign(&table.low_buttons, "output.low_buttons", BUTTONS, KEYS);
    mistakes.foreign(&table.high_buttons, "output.high_buttons", BUTTONS, KEYS);
    mistakes.foreign(&table.device, "output.device", BUTTONS, KEYS);
    let (low, high) = (&table.low_keys, &table.high_keys);
    chosen([low, high], ["output.low_keys", "output.high_keys"], byte, names, mistakes).map(Pressed::Keys)
}

/// What can be pressed.
trait Press: Setting + Copy + PartialEq {
    /// What people call it.
    const NOUN: &'static str;

    /// What identifies it in messages.
    fn shown(self) -> String;
}

type Pair<P> = (TrimIndex, P, P);

/// Buttons 1 and 2 for the first trim, 3 and 4 for the second.
fn in_order(byte: usize, names: &Names<'_>, mistakes: &Mistakes<'_>) -> Option<Vec<Pair<ButtonNumber>>> {
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

/// Of both directions, the low one first: the keys of the file and their paths.
fn chosen<P: Press>(
    keys: [&Map<P>; 2],
    paths: [&str; 2],
    byte: usize,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<Pair<P>>> {
    let mut seen = Vec::new();
    let ([low, high], [low_path, high_path]) = (keys, paths);
    let low_found = side(low, low_path, byte, names, &mut seen, mistakes);
    let high_found = side(high, high_path, byte, names, &mut seen, mistakes);
    let (low_found, high_found) = (low_found?, high_found?);
    let both = tell_missing(&high_found, &low_found, low, low_path, mistakes)
        & tell_missing(&low_found, &high_found, high, high_path, mistakes);
    let mut pairs: Vec<Pair<P>> = low_found
        .iter()
        .filter_map(|&(trim, low, _)| {
            let (_, high, _) = high_found.iter().find(|(other, ..)| *other == trim)?;
            Some((trim, low, *high))
        })
        .collect();
    pairs.sort_by_key(|(trim, ..)| *trim);
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
        match (trim.and_then(index), unused(field, &path, seen, mistakes)) {
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

bounded! {
    /// A button of the virtual joystick: the kernel has names for 16 joystick buttons and 40 more.
    pub(crate) PadButton(ButtonNumber): i64 = 1..=56, "a button number", button;
    /// Presses from stop to stop.
    pub(crate) Presses(u16): i64 = 1..=10_000, "a whole number", whole;
    /// Presses more at each arrival at a stop.
    pub(crate) ExtraPresses(u8): i64 = 0..=250, "a whole number", whole;
    /// How long a press or a pause takes.
    pub(crate) PressMs(Duration): f64 = 1.0..=1_000.0, "milliseconds", milliseconds;
    /// How long the simulator's report may take.
    pub(crate) SettleMs(Duration): f64 = 0.0..=60_000.0, "milliseconds", milliseconds;
}

fn button(number: i64) -> Option<ButtonNumber> {
    ButtonNumber::new(u8::try_from(number).ok()?)
}
