//! The result of a session: each value with how sure it is and why. No I/O.

use super::pair::Kind;
use serde::Serialize;
use tallywheel_units::ButtonNumber;

/// A learnt value.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Value<T> {
    /// The value, the likeliest where it is not sure.
    pub value: T,
    /// How far the value may be off, in its own unit; `None` where that has no meaning.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plus_minus: Option<f64>,
    /// Whether it can be relied on.
    pub sure: bool,
    /// The reason, one clause.
    pub why: String,
}

impl<T> Value<T> {
    pub(super) fn sure(value: T, why: impl Into<String>) -> Self {
        Self { value, plus_minus: None, sure: true, why: why.into() }
    }

    pub(super) fn unsure(value: T, why: impl Into<String>) -> Self {
        Self { value, plus_minus: None, sure: false, why: why.into() }
    }

    pub(super) fn within(mut self, plus_minus: f64) -> Self {
        self.plus_minus = Some(plus_minus);
        self
    }
}

/// The two buttons, so that the first turn is forward.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Inputs {
    /// The wiring.
    pub kind: Kind,
    /// Forward and backward, or A and B.
    pub buttons: [ButtonNumber; 2],
}

impl Serialize for Inputs {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        use serde::ser::SerializeMap;
        let [first, second] = self.buttons.map(ButtonNumber::get);
        let mut map = serializer.serialize_map(Some(3))?;
        let (wiring, names) = match self.kind {
            Kind::Pulses => ("pulses", ["forward", "backward"]),
            Kind::Quadrature => ("quadrature", ["a", "b"]),
        };
        map.serialize_entry("wiring", wiring)?;
        map.serialize_entry(names[0], &first)?;
        map.serialize_entry(names[1], &second)?;
        map.end()
    }
}

/// The speeds from which counts were missing.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LossSpeed {
    /// The fastest turn of which nothing was missing, its mean speed in turns/s.
    pub none_up_to: Option<f64>,
    /// The slowest turn of which something was missing, its mean speed in turns/s.
    pub from: Option<f64>,
    /// What the board's figures allow by `tallywheel plan`'s formulas, in turns/s.
    pub by_the_figures: Option<f64>,
}

/// A wheel that was found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LearntWheel {
    /// The board, by its place in the recording.
    pub device: usize,
    /// The two buttons and their wiring.
    pub inputs: Value<Inputs>,
    /// Whether they are pressed while the wheel rests.
    pub pressed_at_rest: Value<bool>,
    /// Counts in a turn: pulses, or edges of A and B (4 a cycle).
    pub counts_per_turn: Value<u32>,
    /// Counts in a click; none where no clicks were marked.
    pub counts_per_click: Option<Value<f64>>,
    /// Milliseconds that a button is pressed for a count; pulses only.
    pub pulse_on_ms: Option<Value<f64>>,
    /// Milliseconds between two pulses at the board's fastest; pulses only.
    pub pulse_off_ms: Option<Value<f64>>,
    /// Milliseconds between two reports.
    pub report_interval_ms: Option<Value<f64>>,
    /// From which speed on counts are missing.
    pub losses: Value<LossSpeed>,
}

/// The result of a session.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Learnt {
    /// The wheel, if one was found.
    pub wheel: Option<LearntWheel>,
    /// Notes for the user, one sentence each.
    pub notes: Vec<String>,
}
