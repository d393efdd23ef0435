//! How long a report interval is.
//!
//! Every gap between two reports is a whole number of intervals, give or take how late they were read. So the interval is
//! the longest time that goes evenly into the gaps: of all candidates the longest whose score is near the best, the score
//! being a periodogram of the gaps with a triangle in place of the cosine. It has to stand out of what gaps at random
//! would score by so many standard deviations.

use super::real;
use crate::parameters::interval::{
    EACH, ENOUGH, FARTHEST, KEPT, LEAST_GAPS, LEAST_SCORE, LONGEST, NEARLY, SHORTEST, SIGNIFICANT, STEP,
    TOO_SHORT,
};

/// Gaps from which the interval is found.
#[derive(Debug, Clone)]
pub(super) struct IntervalEstimator {
    gaps: [u64; KEPT],
    length: usize,
    next: usize,
    fresh: u32,
}

impl IntervalEstimator {
    pub(super) const fn new() -> Self {
        Self { gaps: [0; KEPT], length: 0, next: 0, fresh: 0 }
    }

    /// Takes a gap in nanoseconds. Returns whether there is enough that is new to look for the interval.
    #[inline]
    pub(super) fn push(&mut self, gap: u64) -> bool {
        if !(SHORTEST..=LONGEST).contains(&gap) {
            return false;
        }
        if let Some(slot) = self.gaps.get_mut(self.next) {
            *slot = gap;
        }
        self.next = (self.next + 1) % KEPT;
        self.length = (self.length + 1).min(KEPT);
        self.fresh += 1;
        self.length >= ENOUGH && self.fresh >= EACH
    }

    /// The mean gap of a board that reports at every interval, with the longest and shortest left out; `None` where the
    /// gaps are not those of such a board.
    pub(super) fn mean(&mut self) -> Option<f64> {
        self.fresh = 0;
        let mut sorted = self.gaps;
        let sorted = sorted.get_mut(..self.length)?;
        sorted.sort_unstable();
        let median = *sorted.get(self.length / 2)?;
        let near = |gap: &&u64| (median / 2..=median.saturating_mul(3) / 2).contains(*gap);
        let (sum, count) =
            sorted.iter().filter(near).fold((0, 0), |(sum, count), gap| (sum + gap, count + 1_u32));
        let most = u32::try_from(self.length).unwrap_or(u32::MAX);
        (count >= 16 && count * 4 >= most * 3).then(|| real(sum) / f64::from(count))
    }

    /// The interval in nanoseconds, if the gaps have one.
    #[cold]
    pub(super) fn find(&mut self) -> Option<f64> {
        self.fresh = 0;
        let gaps = self.gaps.get(..self.length)?;
        let mut sorted = self.gaps;
        let sorted = sorted.get_mut(..self.length)?;
        sorted.sort_unstable();
        // Some gap is of one interval, if any is to be trusted.
        let (shortest, longest) = (real(*sorted.first()?) * 0.45, real(*sorted.get(self.length / 4)?) * 1.1);
        let mut best = 0.0;
        let mut found = None;
        let mut candidate = longest;
        while candidate > shortest {
            if let Some(score) = score(gaps, candidate)
                && score * NEARLY > best
            {
                (best, found) = (score, Some(candidate));
            }
            candidate /= STEP;
        }
        found.map(|found| fit(gaps, fit(gaps, found)))
    }
}

/// How well `interval` goes into the gaps, up to 1; `None` where that may be chance.
fn score(gaps: &[u64], interval: f64) -> Option<f64> {
    let (mut sum, mut count) = (0.0, 0_u32);
    for gap in gaps {
        let gap = real(*gap) / interval;
        if gap < TOO_SHORT {
            sum -= 1.0;
        } else if gap < FARTHEST {
            sum += 1.0 - 4.0 * (gap - gap.round()).abs();
        } else {
            continue;
        }
        count += 1;
    }
    let counted = f64::from(count);
    let score = sum / counted;
    let significant = score * counted.sqrt() > SIGNIFICANT / 3.0_f64.sqrt() && score > LEAST_SCORE;
    (usize::try_from(count).is_ok_and(|count| count >= LEAST_GAPS) && significant).then_some(score)
}

/// The interval near `interval` that goes best into the gaps, by least squares.
fn fit(gaps: &[u64], interval: f64) -> f64 {
    let (mut sum, mut squares) = (0.0, 0.0);
    for gap in gaps {
        let gap = real(*gap);
        let number = (gap / interval).round();
        if (1.0..FARTHEST).contains(&number) && (gap / interval - number).abs() < 0.3 {
            sum += number * gap;
            squares += number * number;
        }
    }
    if squares > 0.0 { sum / squares } else { interval }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(gaps: impl Iterator<Item = u64>) -> Option<u64> {
        let mut estimator = IntervalEstimator::new();
        gaps.for_each(|gap| {
            estimator.push(gap);
        });
        estimator.find().map(|nanos| super::super::whole(nanos / 1000.0))
    }

    #[test]
    fn the_interval_is_the_longest_that_goes_into_all_gaps() {
        let gaps = |interval: u64| {
            (0..48_u64).map(move |n| {
                interval * (1 + [0, 2, 1, 5, 0, 3, 6, 1][usize::try_from(n % 8).unwrap()])
                    + (n * 7919) % 90_000
            })
        };
        for millis in [1, 2, 4, 8, 16, 32] {
            let found = found(gaps(millis * 1_000_000)).unwrap();
            assert!((millis * 1000..millis * 1015 + 60).contains(&found), "{millis}: {found}");
        }
    }

    #[test]
    fn gaps_without_a_beat_have_no_interval() {
        let gaps = (0..64_u64).map(|n| 5_000_000 + (n * n * 7_919_377) % 37_000_000);
        assert_eq!(found(gaps), None);
    }

    #[test]
    fn a_waiting_report_teaches_nothing() {
        let mut estimator = IntervalEstimator::new();
        assert!((0..200).all(|_| !estimator.push(20_000)));
    }
}
