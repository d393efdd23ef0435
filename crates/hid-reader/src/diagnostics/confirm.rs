//! A turn that somebody confirms: the loss is measured then, not guessed, and what the reports cannot tell
//! (exchanged lines) shows.

use super::{Evidence, Nanos, loss};
use tallywheel_units::{Certainty, Counts, Loss, LossKind, Margin};

/// A confirmed turn shorter than this is too short to tell a factor by.
const ENOUGH: i64 = 8;

/// Counts since the last confirmation.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Tally {
    counts: Counts,
    reports: u32,
    since: Nanos,
}

impl Tally {
    #[inline]
    pub(super) fn count(&mut self, counts: Counts) {
        self.counts += counts;
        self.reports = self.reports.saturating_add(1);
    }

    /// The wheel truly turned by `turned` counts since the last confirmation. The bound is what is measured:
    /// exactly the difference.
    ///
    /// | counted, about | means |
    /// |---|---|
    /// | -1 x | lines exchanged |
    /// | 4, 2, 1/2, 1/4 x, either sign | counts per cycle wrong |
    /// | anything else | nothing |
    pub(super) fn confirm(&mut self, at: Nanos, turned: Counts, sink: &mut impl FnMut(Loss)) {
        let Self { counts, reports, since } = std::mem::replace(self, Self { since: at, ..Self::default() });
        let (counted, truth) = (counts.get(), turned.get());
        if truth.saturating_abs() < ENOUGH {
            return;
        }
        // Within an eighth: a hand does not stop exactly on its mark.
        let about = |a: i64, b: i64| {
            let (a, b) = (i128::from(a), i128::from(b));
            (a - b).abs() * 8 <= b.abs()
        };
        let times = |n: i64| about(counted.saturating_abs(), truth.saturating_abs().saturating_mul(n));
        let parts = |n: i64| about(counted.saturating_abs().saturating_mul(n), truth.saturating_abs());
        let kind = if about(counted.saturating_neg(), truth) {
            LossKind::LinesSwapped
        } else if times(4) || times(2) || parts(4) || parts(2) {
            LossKind::WrongCountsPerCycle
        } else {
            return;
        };
        let off = turned - counts;
        let bound =
            if off < Counts::ZERO { Margin::new(off, Counts::ZERO) } else { Margin::new(Counts::ZERO, off) };
        sink(loss(kind, Certainty::Observed, Evidence { from: since, to: at, reports }, bound));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_relation_of_truth_and_count() {
        let told = |truth: i64, counted: i64| {
            let (mut tally, mut told) = (Tally::default(), None);
            tally.count(Counts::new(counted));
            tally.confirm(1, Counts::new(truth), &mut |loss| told = Some((loss.kind, loss.bound)));
            if let Some((_, bound)) = told {
                assert!(bound.covers(Counts::new(truth) - Counts::new(counted)), "{truth} {counted}");
            }
            told.map(|(kind, _)| kind)
        };
        for sign in [1, -1] {
            let told = |truth: i64, counted: i64| told(sign * truth, sign * counted);
            for counted in [96, 90, 100, 60, 140, 0, 1, 300] {
                assert_eq!(told(96, counted), None, "{counted}");
            }
            assert_eq!(told(96, -96), Some(LossKind::LinesSwapped));
            assert_eq!(told(96, -94), Some(LossKind::LinesSwapped));
            for counted in [384, -384, 380, 192, 48, 47, 24, -24] {
                assert_eq!(told(96, counted), Some(LossKind::WrongCountsPerCycle), "{counted}");
            }
            assert_eq!(told(4, 16), None, "too short to tell");
        }
        assert_eq!(told(i64::MIN / 2, i64::MAX / 2), Some(LossKind::LinesSwapped));
    }
}
