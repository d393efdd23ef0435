use tallywheel_units::{AxisValue, Counts, Degrees, Margin, Normalized, Timestamp, TrimIndex};

/// Where one trim is, in every unit that an output may want.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrimReading {
    /// Degrees of wheel rotation from the low stop.
    pub degrees: Degrees,
    /// -1 at the low stop, 0 at neutral, +1 at the high stop.
    pub normalized: Normalized,
    /// The same on the virtual axis, -32767..=32767.
    pub axis: AxisValue,
    /// The tally of applied counts.
    pub counts: Counts,
    /// How many counts the tally may be off.
    pub margin: Margin,
}

impl TrimReading {
    /// A trim at neutral that nobody has moved.
    pub const NEUTRAL: Self = Self {
        degrees: Degrees::ZERO,
        normalized: Normalized::NEUTRAL,
        axis: AxisValue::NEUTRAL,
        counts: Counts::ZERO,
        margin: Margin::CERTAIN,
    };
}

/// Every trim of the aircraft at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame<'a> {
    /// When these readings were true, on the clock that also times the board's reports.
    pub at: Timestamp,
    /// The number of the frame; it grows from frame to frame.
    pub sequence: u64,
    /// The readings, in the order of the aircraft file.
    pub trims: &'a [TrimReading],
}

impl Frame<'_> {
    pub(crate) fn trim(&self, index: TrimIndex) -> Option<&TrimReading> {
        self.trims.get(index.get())
    }
}

/// Readings and ranges of every kind, for tests that must hold for all.
#[cfg(test)]
pub(crate) mod samples {
    use super::TrimReading;
    use proptest::prelude::*;
    use tallywheel_profile::Scale;
    use tallywheel_units::{AxisValue, Counts, Degrees, Margin, Normalized};

    pub(crate) fn any_reading() -> impl Strategy<Value = TrimReading> {
        let position = prop_oneof![Just(-1.0), Just(0.0), Just(-0.0), Just(1.0), -1.0..=1.0, any::<f64>()];
        let degrees = prop_oneof![0.0..36_000.0, any::<f64>()];
        let margin = prop_oneof![
            Just(Margin::UNKNOWN),
            (any::<i64>(), any::<i64>())
                .prop_map(|(low, high)| Margin::new(Counts::new(low), Counts::new(high))),
        ];
        (position, degrees, any::<i64>(), any::<i64>(), margin).prop_map(
            |(position, degrees, axis, counts, margin)| TrimReading {
                degrees: Degrees::new(degrees).unwrap_or(Degrees::ZERO),
                normalized: Normalized::clamped(position),
                axis: AxisValue::clamped(axis),
                counts: Counts::new(counts),
                margin,
            },
        )
    }

    pub(crate) fn any_scale() -> impl Strategy<Value = Scale> {
        let end = || prop_oneof![Just(-1.0), Just(0.0), Just(1.0), -1e9..1e9, -1.0..1.0];
        (end(), end()).prop_filter_map("two ends", |(low, high)| Scale::new(low, high))
    }
}
