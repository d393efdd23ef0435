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

#[cfg(test)]
impl TrimReading {
    /// A trim at neutral that nobody has moved.
    pub(crate) const NEUTRAL: Self = Self {
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
