//! Whether counts come as they should from detent to detent.
//!
//! A wheel with detents rests in them. So between two rests the counts are a whole multiple of the counts per
//! detent. With n counts per detent in the rig file, of [`STROKES`] strokes between rests
//!
//! | | means |
//! |---|---|
//! | all but one are multiples of 4 n | counts come in fours |
//! | half or more are no multiples of n | counts come one to several detents, or not by detents |
//! | anything else | nothing |
//!
//! Rests are seen when the next count comes: none for [`REST`].

use super::{Evidence, MILLISECOND, Nanos, loss};
use tallywheel_units::{Certainty, Counts, Loss, LossKind, Margin};

const REST: Nanos = 600 * MILLISECOND;
/// Were the counts of a stroke any number, all but one of 16 would be multiples of four by chance once in
/// 80 million.
const STROKES: u32 = 16;

/// The counts of the strokes so far.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct DetentRhythm {
    expected: Option<u64>,
    stroke: Counts,
    last: Option<Nanos>,
    strokes: u32,
    in_fours: u32,
    odd: u32,
    from: Nanos,
    reports: u32,
    told: bool,
}

impl DetentRhythm {
    pub(super) fn new(counts_per_detent: Option<u32>) -> Self {
        Self { expected: counts_per_detent.map(u64::from).filter(|n| *n > 0), ..Self::default() }
    }

    #[inline]
    pub(super) fn count(&mut self, at: Nanos, counts: Counts, sink: &mut impl FnMut(Loss)) {
        if let Some(expected) = self.expected {
            self.stroke(at, counts, expected, sink);
        }
    }

    fn stroke(&mut self, at: Nanos, counts: Counts, expected: u64, sink: &mut impl FnMut(Loss)) {
        match self.last.replace(at) {
            None => self.from = at,
            Some(last) if at.saturating_sub(last) >= REST => self.rest(at, expected, sink),
            Some(_) => {}
        }
        self.stroke += counts;
        self.reports = self.reports.saturating_add(1);
    }

    fn rest(&mut self, at: Nanos, expected: u64, sink: &mut impl FnMut(Loss)) {
        let stroke = std::mem::take(&mut self.stroke).get().unsigned_abs();
        if stroke == 0 {
            return;
        }
        self.strokes += 1;
        self.in_fours += u32::from(stroke.is_multiple_of(expected.saturating_mul(4)));
        self.odd += u32::from(!stroke.is_multiple_of(expected));
        if self.strokes < STROKES {
            return;
        }
        if (self.in_fours + 1 >= STROKES || 2 * self.odd >= STROKES) && !self.told {
            self.told = true;
            // The counts are all there; it is their worth that is wrong, so the margin cannot say it.
            let evidence = Evidence { from: self.from, to: at, reports: self.reports };
            sink(loss(LossKind::WrongCountsPerCycle, Certainty::Inferred, evidence, Margin::CERTAIN));
        }
        (self.strokes, self.in_fours, self.odd, self.from, self.reports) = (0, 0, 0, at, 0);
    }

    pub(super) fn forget(&mut self) {
        *self = Self { expected: self.expected, told: self.told, ..Self::default() };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    use super::super::SECOND;

    /// Sixteen strokes of these counts, a second apart, and one more that shows the last rest.
    fn told(expected: u32, strokes: [i64; 16]) -> usize {
        let (mut rhythm, mut told) = (DetentRhythm::new(Some(expected)), 0);
        for (n, stroke) in (0..).zip(strokes.iter().chain(&[1])) {
            for i in 0..stroke.abs() {
                let at = n * SECOND + i.unsigned_abs() * MILLISECOND;
                rhythm.count(at, Counts::new(stroke.signum()), &mut |_| told += 1);
            }
        }
        told
    }

    #[test]
    fn counts_in_fours_and_ones() {
        let mut strokes = [4, 8, -4, 12, 4, -8, 4, 4, 16, -12, 4, 8, 4, -4, 8, 4];
        assert_eq!([told(1, strokes), told(4, strokes)], [1, 0]);
        strokes[3] = 11;
        assert_eq!([told(1, strokes), told(4, strokes)], [1, 0], "one exception");
        strokes[4] = 3;
        assert_eq!([told(1, strokes), told(4, strokes)], [0, 0], "two exceptions");
        for place in [5, 7, 8, 10, 12, 14] {
            strokes[place] = 7;
        }
        assert_eq!([told(1, strokes), told(4, strokes)], [0, 1]);
    }
}
