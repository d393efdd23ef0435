//! Whether counts come as they should from detent to detent.
//!
//! A wheel with detents rests in them. So between two rests the counts are a whole multiple of the counts per
//! detent, and their greatest common divisor over some strokes is the counts per detent: 4 where the rig file
//! says 1 means counts in fours; 1 where it says 4 means one count for four detents or so.
//!
//! Rests are seen when the next count comes: no count for [`REST`].

use super::{Evidence, Nanos, SECOND, loss};
use tallywheel_units::{Certainty, Counts, Loss, LossKind, Margin};

const REST: Nanos = SECOND / 5;
/// So many strokes tell: were the counts of a stroke any number, all would be even by chance once in 4,000.
const STROKES: u32 = 12;

/// The counts of the strokes so far.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct DetentRhythm {
    expected: Option<u64>,
    stroke: Counts,
    last: Option<Nanos>,
    divisor: u64,
    strokes: u32,
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
        self.divisor = common_divisor(self.divisor, stroke);
        self.strokes += 1;
        if self.strokes < STROKES {
            return;
        }
        if self.divisor != expected && !self.told {
            self.told = true;
            // The counts are all there; it is their worth that is wrong, so the margin cannot say it.
            let evidence = Evidence { from: self.from, to: at, reports: self.reports };
            sink(loss(LossKind::WrongCountsPerCycle, Certainty::Inferred, evidence, Margin::CERTAIN));
        }
        (self.divisor, self.strokes, self.from, self.reports) = (0, 0, at, 0);
    }

    pub(super) fn forget(&mut self) {
        *self = Self { expected: self.expected, told: self.told, ..Self::default() };
    }
}

fn common_divisor(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { common_divisor(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Twelve strokes of these counts, a second apart, and a thirteenth that shows the last rest.
    fn told(expected: u32, strokes: [i64; 12]) -> usize {
        let (mut rhythm, mut told) = (DetentRhythm::new(Some(expected)), 0);
        for (n, stroke) in (0..).zip(strokes.iter().chain(&[1])) {
            for i in 0..stroke.abs() {
                let at = n * SECOND + i.unsigned_abs() * 1_000_000;
                rhythm.count(at, Counts::new(stroke.signum()), &mut |_| told += 1);
            }
        }
        told
    }

    #[test]
    fn counts_in_fours_and_ones() {
        let fours = [4, 8, -4, 12, 4, -8, 4, 4, 16, -12, 4, 8];
        assert_eq!([told(1, fours), told(4, fours), told(2, fours)], [1, 0, 1]);
        let ones = [4, 7, -4, 12, 5, -8, 4, 3, 16, -12, 4, 8];
        assert_eq!([told(1, ones), told(4, ones), told(2, ones)], [0, 1, 1]);
    }
}
