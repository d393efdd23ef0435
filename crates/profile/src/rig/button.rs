//! `[[button]]`: what other buttons of the boards do.

use super::check::Uses;
use crate::names::{Name, Names};
use crate::read::{Choice, Field, Key, Mistakes, Setting, optional};
use crate::words;
use serde::Deserialize;
use tallywheel_units::{BoardIndex, ButtonNumber, Degrees};

/// A button of a board that does something when it is pressed. The button has no other use.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct ButtonFile {
    /// The name of its board. May be left out when there is only one.
    pub(crate) board: Key<Name>,
    /// The button.
    #[cfg_attr(test, schemars(required))]
    pub(crate) button: Key<ButtonNumber>,
    /// `"align"`: the trim of `wheel` is at `position`. `"next-aircraft"`: the aircraft of the next file is used.
    /// `"hold"`: the outputs stay where they are; pressed again, they follow. `"next-ratio"`: the trim of `wheel`
    /// changes to its next one of `ratios`.
    #[cfg_attr(test, schemars(required))]
    pub(crate) does: Key<Does>,
    /// With `"align"` and `"next-ratio"`: the name of the wheel whose trim is meant.
    pub(crate) wheel: Key<Name>,
    /// With `"align"`: where the trim is, `"neutral"`, `"low"` or `"high"` for a stop, a position's name from the
    /// aircraft file, or degrees from the low stop.
    pub(crate) position: Key<Spot>,
}

/// A button of a board that does something.
#[derive(Debug, Clone, PartialEq)]
pub struct Button {
    /// Its board.
    pub board: BoardIndex,
    /// The button, that is no wheel's.
    pub button: ButtonNumber,
    /// What happens when it is pressed.
    pub does: Press,
}

/// What pressing a button does.
#[derive(Debug, Clone, PartialEq)]
pub enum Press {
    /// The trim on this wheel is there.
    Align {
        /// The wheel's name.
        wheel: String,
        /// Where.
        position: Spot,
    },
    /// Fly the next aircraft.
    NextAircraft,
    /// Hold the outputs, or let them follow.
    Hold,
    /// Change the trim on this wheel to its next ratio.
    NextRatio {
        /// The wheel's name.
        wheel: String,
    },
}

/// A place in the travel of a trim that only the aircraft knows.
#[derive(Debug, Clone, PartialEq)]
pub enum Spot {
    /// `low`, `neutral`, `high` or a position of the aircraft file.
    Named(String),
    /// Degrees from the low stop.
    At(Degrees),
}

/// The words of `does`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Does {
    Align,
    NextAircraft,
    Hold,
    NextRatio,
}

impl Choice for Does {
    const CHOICES: &'static [(&'static str, Self)] = &[
        ("align", Self::Align),
        ("next-aircraft", Self::NextAircraft),
        ("hold", Self::Hold),
        ("next-ratio", Self::NextRatio),
    ];
}

impl Setting for Spot {
    fn expected() -> String {
        "\"neutral\", \"low\", \"high\", the name of a position or degrees from the low stop".to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "anyOf": [
            crate::schema::plain_text(1, 64),
            { "type": "number", "minimum": 0, "maximum": 36000 },
        ] })
    }

    fn from_text(text: &str) -> Option<Self> {
        Name::from_text(text).map(|name| Self::Named(name.0))
    }

    fn from_number(number: f64) -> Option<Self> {
        let degrees = Degrees::new(number)?;
        (degrees >= Degrees::ZERO && degrees <= Degrees::LONGEST_TRAVEL).then_some(Self::At(degrees))
    }
}

/// Tells every mistake in one table. `board` is the place of its board.
pub(super) fn check(
    table: &ButtonFile,
    byte: usize,
    board: Option<usize>,
    wheels: &Names<'_>,
    uses: &mut Uses<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<Button> {
    let ButtonFile { button, does, wheel, position, .. } = table;
    let button = uses.button(button, byte, board, "button.button", "`button` of a [[button]]");
    let does = *mistakes.required(does, byte, "button.does")?;
    let aligns = "does = \"align\"";
    if does != Does::Align {
        mistakes.foreign(position, "button.position", aligns, &said(does));
    }
    let press = match does {
        Does::Align => {
            let wheel = of_wheel(wheel, byte, wheels, mistakes);
            let position = mistakes.required(position, byte, "button.position").cloned();
            Press::Align { wheel: wheel?, position: position? }
        }
        Does::NextRatio => Press::NextRatio { wheel: of_wheel(wheel, byte, wheels, mistakes)? },
        Does::NextAircraft | Does::Hold => {
            mistakes.foreign(wheel, "button.wheel", "does = \"align\" or \"next-ratio\"", &said(does));
            optional(wheel)?;
            if does == Does::Hold { Press::Hold } else { Press::NextAircraft }
        }
    };
    Some(Button { board: BoardIndex::new(u8::try_from(board?).ok()?), button: button?, does: press })
}

fn of_wheel(wheel: &Key<Name>, byte: usize, wheels: &Names<'_>, mistakes: &Mistakes<'_>) -> Option<String> {
    const PATH: &str = "button.wheel";
    let Some(field): &Option<Field<_>> = wheel else {
        mistakes.tell(byte, PATH, wheels.expected("a [[wheel]]"), "nothing");
        return None;
    };
    let name = &field.setting()?.0;
    wheels.find(name, field.byte, PATH, "a [[wheel]]", mistakes)?;
    Some(name.clone())
}

/// The key with its word, as it stands in the file.
fn said(does: Does) -> String {
    format!("does = {}", words::quoted(does.word()))
}
