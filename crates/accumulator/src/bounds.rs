use crate::TrimConfig;
use tallywheel_units::{Counts, FixedCounts, Margin, StopStyle};

/// One end of the interval that the true position lies in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Bound {
    at: FixedCounts,
    /// A loss without a limit was on this side. `at` is the stop then, or with stops that remember so far away
    /// that no wheel brings it back.
    unknown: bool,
}

impl Bound {
    fn distance(self, distance: FixedCounts) -> Counts {
        if self.unknown { NO_LIMIT } else { whole_counts_up(distance) }
    }
}

/// The interval that the true position lies in, by interval arithmetic.
///
/// Every count moves the true position, the tally and both bounds by the same monotone map, so the truth stays
/// between the bounds. A stop that slips maps all of them to one point when they are wound past it: that is how
/// a stop makes a doubtful position certain again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Bounds {
    low: Bound,
    high: Bound,
}

impl Bounds {
    /// Nothing in doubt.
    pub(crate) const fn certain(position: FixedCounts) -> Self {
        let bound = Bound { at: position, unknown: false };
        Self { low: bound, high: bound }
    }

    /// Whether the truth can only be in one place.
    pub(crate) fn is_certain(&self) -> bool {
        self.low == self.high && !self.low.unknown
    }

    /// After the tally moved by `map`, which must be monotone.
    pub(crate) fn moved(self, stops: StopStyle, map: impl Fn(FixedCounts) -> FixedCounts) -> Self {
        let bound = |b: Bound| Bound { at: map(b.at), ..b };
        Self { low: bound(self.low), high: bound(self.high) }.proved(stops)
    }

    /// After up to `by` counts went unseen; `map` is what the stops do to a position.
    pub(crate) fn widened(
        self,
        by: Margin,
        stops: StopStyle,
        map: impl Fn(FixedCounts) -> FixedCounts,
    ) -> Self {
        let far = |counts: Counts| FixedCounts::from_counts(counts);
        let low =
            Bound { at: map(self.low.at - far(by.low())), unknown: self.low.unknown || by.low() == NO_LIMIT };
        let high = Bound {
            at: map(self.high.at + far(by.high())),
            unknown: self.high.unknown || by.high() == NO_LIMIT,
        };
        Self { low, high }.proved(stops)
    }

    /// What a reading says: whole counts, rounded outward, of what is visible between the stops.
    #[inline]
    pub(crate) fn margin(&self, config: &TrimConfig, visible: FixedCounts) -> Margin {
        // By far the most common case, on every report's way.
        if self.is_certain() { Margin::CERTAIN } else { self.in_doubt(config, visible) }
    }

    #[cold]
    #[inline(never)]
    fn in_doubt(&self, config: &TrimConfig, visible: FixedCounts) -> Margin {
        Margin::new(
            self.low.distance(visible - config.clamp(self.low.at)),
            self.high.distance(config.clamp(self.high.at) - visible),
        )
    }

    /// Whole counts, rounded outward, wherever the stops are.
    pub(crate) fn around(&self, position: FixedCounts) -> Margin {
        Margin::new(self.low.distance(position - self.low.at), self.high.distance(self.high.at - position))
    }

    /// A slipping stop that has taken both bounds to one point has proved the position.
    fn proved(self, stops: StopStyle) -> Self {
        if stops == StopStyle::Slip && self.low.at == self.high.at {
            Self::certain(self.low.at)
        } else {
            self
        }
    }
}

/// How a [`Margin`] says that a side has no limit.
const NO_LIMIT: Counts = Margin::UNKNOWN.low();

fn whole_counts_up(distance: FixedCounts) -> Counts {
    let raw = distance.raw().max(0);
    let whole = raw >> FixedCounts::FRACTION_BITS;
    let rest = raw & (FixedCounts::ONE.raw() - 1);
    Counts::new(whole + i64::from(rest != 0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_of_a_count_is_a_whole_count_of_doubt() {
        for (raw, counts) in [(0, 0), (1, 1), (1 << 20, 1), ((1 << 20) + 1, 2), (3 << 20, 3)] {
            assert_eq!(whole_counts_up(FixedCounts::from_raw(raw)), Counts::new(counts), "{raw}");
        }
        assert!(whole_counts_up(FixedCounts::from_raw(i64::MAX)) < NO_LIMIT);
    }
}
