//! How coarse the times of presses are, where nobody said what the report interval is.
//!
//! Times between presses are multiples of the report interval, read a little late. So the longest candidate of which
//! [`ENOUGH`] of the last 16 are multiples is taken for it; 12 of 16 by chance are rarer than one in a thousand, as a
//! candidate takes in less than a third of all times. Until 16 were seen it is presumed to be [`PRESUMED`].

use super::{MILLISECOND, Nanos};

/// Report intervals in ms: powers of two frames (Linux, Windows) and multiples of them, and decimal ones of boards that
/// report on a timer of their own. Common practice, no source.
const CANDIDATES: [u64; 11] = [3, 4, 5, 6, 8, 10, 12, 16, 20, 24, 32];
/// So many of the last 16 have to be multiples.
const ENOUGH: u32 = 13;
/// The interval before there is anything to tell it by: that of most boards. Common practice, no source.
const PRESUMED: Nanos = 8 * MILLISECOND;
/// Longer times say little, as a clock's error grows with them.
const LONGEST: Nanos = 400 * MILLISECOND;
/// How much a time may differ from a multiple, as read late: this, and a twelfth of the candidate.
const LATE: Nanos = 150_000;

#[derive(Debug, Clone, Default)]
pub(super) struct Grain {
    hits: [u16; CANDIDATES.len()],
    seen: u8,
    last: Nanos,
}

impl Grain {
    /// Takes the time between two presses.
    pub(super) fn interval(&mut self, interval: Nanos) {
        let last = std::mem::replace(&mut self.last, interval);
        // Of even turning any time is a multiple.
        if interval > LONGEST || interval.abs_diff(last) < 2 * MILLISECOND {
            return;
        }
        self.seen = self.seen.saturating_add(1);
        for (hits, candidate) in self.hits.iter_mut().zip(CANDIDATES) {
            let candidate = candidate * MILLISECOND;
            let over = interval % candidate;
            let off = over.min(candidate - over);
            let hit = interval >= candidate && off <= LATE + candidate / 12;
            *hits = *hits << 1 | u16::from(hit);
        }
    }

    /// The report interval, where it shows; or else what is presumed as long as too little was seen.
    pub(super) fn estimate(&self) -> Option<Nanos> {
        let hit = self.hits.iter().zip(CANDIDATES).rev().find(|(hits, _)| hits.count_ones() >= ENOUGH);
        let hit = hit.map(|(_, candidate)| candidate * MILLISECOND);
        hit.or((self.seen < 16).then_some(PRESUMED))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn multiples_show_and_others_do_not() {
        let estimate = |times: &[u64]| {
            let mut grain = Grain::default();
            times.iter().for_each(|time| grain.interval(*time));
            grain.estimate()
        };
        let late = |n: u64| n * 37_000 % 290_000;
        let spin = |grain: u64| -> Vec<_> {
            (0..24)
                .map(|n| {
                    (50 + n * n % 23) * MILLISECOND / grain / MILLISECOND * grain * MILLISECOND + late(n)
                })
                .collect()
        };
        assert_eq!(estimate(&spin(4)), Some(4 * MILLISECOND));
        assert_eq!(estimate(&spin(8)), Some(8 * MILLISECOND));
        assert_eq!(estimate(&spin(1)), None);
        assert_eq!(estimate(&spin(4)[..10]), Some(PRESUMED));
    }
}
