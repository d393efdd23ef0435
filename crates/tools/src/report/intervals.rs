//! How much time lies between one count and the next while a wheel turns one way.

use std::time::Duration;
use tallywheel_units::{Counts, Timestamp};

/// Bins in which a time ten times as long lies.
pub const BINS_PER_DECADE: u32 = 12;
/// The shortest and the longest interval that are told apart, as powers of ten of a millisecond.
const DECADES: (i32, i32) = (-1, 3);
const BINS: usize = 48;

/// A histogram with bins of equal ratio from 0.1 ms to 1 s.
#[derive(Debug, Clone)]
pub struct Intervals {
    bins: [u64; BINS],
    shortest: Option<Duration>,
    number: u64,
    last: Option<(Timestamp, bool)>,
}

impl Default for Intervals {
    fn default() -> Self {
        Self { bins: [0; BINS], shortest: None, number: 0, last: None }
    }
}

impl Intervals {
    /// A wheel moved by `counts` at `at`. Several counts at once are taken to be evenly spread since the
    /// last; a turn back or a rest of more than a second begins anew.
    pub fn count(&mut self, at: Timestamp, counts: Counts) {
        let forward = counts.get() > 0;
        if let Some((last, was_forward)) = self.last.replace((at, forward))
            && was_forward == forward
            && let Ok(steps) = u32::try_from(counts.abs().get())
            && let Some(interval) = at.since(last).checked_div(steps)
            && interval <= Duration::from_secs(1)
        {
            self.number = self.number.saturating_add(u64::from(steps));
            self.shortest = Some(self.shortest.map_or(interval, |shortest| shortest.min(interval)));
            if let Some(bin) = self.bins.get_mut(bin(interval)) {
                *bin = bin.saturating_add(u64::from(steps));
            }
        }
    }

    /// What came before is not continued.
    pub const fn forget(&mut self) {
        self.last = None;
    }

    /// How many intervals there are.
    #[must_use]
    pub const fn number(&self) -> u64 {
        self.number
    }

    /// The shortest one.
    #[must_use]
    pub const fn shortest(&self) -> Option<Duration> {
        self.shortest
    }

    /// The bins that hold anything: from and to, in ms, and how many intervals.
    pub fn bins(&self) -> impl Iterator<Item = (f64, f64, u64)> + '_ {
        let edge = |n: u32| 10_f64.powf(f64::from(DECADES.0) + f64::from(n) / f64::from(BINS_PER_DECADE));
        let bins = (0_u32..).zip(self.bins.iter().copied()).filter(|(_, number)| *number > 0);
        bins.map(move |(n, number)| (edge(n), edge(n + 1), number))
    }
}

/// The bin of an interval; those outside are in the first and the last one.
fn bin(interval: Duration) -> usize {
    let decades = (interval.as_secs_f64() * 1e3).max(1e-9).log10() - f64::from(DECADES.0);
    let place = (decades * f64::from(BINS_PER_DECADE)).floor();
    // There is no checked conversion from a float; few bins are found faster by looking than by rounding.
    (0..BINS).take_while(|n| u32::try_from(*n).is_ok_and(|n| f64::from(n) < place)).count().min(BINS - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counted(counts: &[(u64, i64)]) -> Intervals {
        let mut intervals = Intervals::default();
        for (micros, counts) in counts {
            intervals.count(Timestamp::from_micros(*micros), Counts::new(*counts));
        }
        intervals
    }

    #[test]
    fn bins_reach_from_a_tenth_of_a_millisecond_to_a_second() {
        assert_eq!(bin(Duration::ZERO), 0);
        assert_eq!(bin(Duration::from_micros(101)), 0);
        assert_eq!(bin(Duration::from_micros(1_001)), 12);
        assert_eq!(bin(Duration::from_micros(10_001)), 24);
        assert_eq!(bin(Duration::from_millis(999)), BINS - 1);
        assert_eq!(bin(Duration::from_secs(100)), BINS - 1);
        let intervals = counted(&[(0, 1), (5_000, 1), (10_000, 1)]);
        let bins: Vec<_> = intervals.bins().collect();
        assert_eq!(bins.len(), 1);
        assert!(bins[0].0 <= 5.0 && 5.0 < bins[0].1 && bins[0].2 == 2, "{bins:?}");
    }

    #[test]
    fn turning_back_and_resting_are_no_intervals() {
        let intervals = counted(&[(0, 1), (10_000, -1), (20_000, -1), (5_000_000, -1)]);
        assert_eq!((intervals.number(), intervals.shortest()), (1, Some(Duration::from_millis(10))));
    }

    #[test]
    fn several_counts_at_once_share_the_time() {
        let intervals = counted(&[(0, 1), (12_000, 3)]);
        assert_eq!((intervals.number(), intervals.shortest()), (3, Some(Duration::from_millis(4))));
    }
}
