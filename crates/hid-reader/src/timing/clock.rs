//! Report intervals: how long one is, and how many went by between two reports.

use std::ops::Range;
use std::time::Duration;
use tallywheel_units::Timestamp;

/// When a board sends reports.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reporting {
    /// At every interval, whether anything changed or not.
    Steady,
    /// Only at the intervals where something has changed. Silence then says that nothing has.
    OnChange,
}

/// After so many unchanged reports, an interval apart each, a board reports steadily.
const STEADY_AFTER: u8 = 16;
/// Gaps from which the interval is learned.
const LEARNED_FROM: usize = 32;
/// So many gaps must be alike to be the interval.
const ALIKE: usize = 6;
/// Reports that were waiting are read closer together than any board sends them, in nanoseconds: a microframe
/// of high-speed USB is 125 us.
const SHORTEST: u64 = 100_000;
/// The longest interval that a full-speed device can ask for is 255 ms (USB 2.0, bInterval).
const LONGEST: u64 = 255_000_000;
/// After so many intervals of silence the wheel rests in any case; more of them say nothing more.
pub(crate) const SILENCE: u32 = 64;
/// The longest gap of a steady board's reports that is taken at its word, in intervals.
const LATEST: f32 = 8.0;

/// What lies between a report and the one before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Gap {
    /// An interval of so many times its nominal length.
    Live(f32),
    /// The report had been waiting to be read, so it is an interval after the one before.
    Waited,
    /// So many intervals in which nothing can have changed, else there would have been a report.
    Silent(f32),
    /// A board that reports steadily was not heard for so many intervals: either it was read late, and one
    /// interval lies between the two samples, or reports are missing, and all of them do.
    Late(f32),
}

/// Measures time in report intervals.
///
/// | gap in intervals | changes-only or unknown | steady |
/// |---|---|---|
/// | below 1/2 | waited: one interval | likewise |
/// | 1/2 to 3/2 | live | live |
/// | above | silent | late; beyond 8 it may be no steady board after all |
#[derive(Debug, Clone)]
pub(crate) struct Clock {
    /// Nanoseconds; 0 while unknown.
    interval: u64,
    /// Intervals in a nanosecond.
    per_nano: f32,
    given: bool,
    /// The interval may be gone by: it was given, or the board has shown a steady beat. What a board that reports
    /// changes only leaves between its reports may as well be the host's beat at which it fetches those that wait,
    /// and a wheel followed by that beat is followed wrongly where the table is right.
    trusted: bool,
    reporting: Option<Reporting>,
    /// Unchanged reports in a row that came an interval apart.
    steady: u8,
    last: Option<u64>,
    gaps: [u64; LEARNED_FROM],
    length: usize,
}

impl Clock {
    pub(crate) fn new(interval: Option<Duration>, reporting: Option<Reporting>) -> Self {
        let nanos = interval.map_or(0, |interval| u64::try_from(interval.as_nanos()).unwrap_or(u64::MAX));
        let mut clock = Self {
            interval: 0,
            per_nano: 0.0,
            given: nanos != 0,
            trusted: nanos != 0,
            reporting,
            steady: 0,
            last: None,
            gaps: [0; LEARNED_FROM],
            length: 0,
        };
        if nanos != 0 {
            clock.set(nanos);
        }
        clock
    }

    fn set(&mut self, nanos: u64) {
        self.interval = nanos.clamp(SHORTEST, LONGEST);
        self.per_nano = 1.0 / single(self.interval);
    }

    /// The nominal interval in nanoseconds; 0 while it is unknown.
    #[inline]
    pub(crate) const fn interval(&self) -> u64 {
        self.interval
    }

    /// When the last report was read.
    #[inline]
    pub(crate) fn last(&self) -> Option<Timestamp> {
        self.last.map(Timestamp::from_nanos)
    }

    /// The next report does not follow on the last.
    pub(crate) fn forget(&mut self) {
        self.last = None;
        self.steady = 0;
    }

    /// Whether silence says that nothing changes.
    pub(crate) fn silence_speaks(&self) -> bool {
        match self.reporting {
            Some(Reporting::Steady) => false,
            Some(Reporting::OnChange) => true,
            None => self.steady < STEADY_AFTER,
        }
    }

    /// A report was read at `at`; `changed` says whether anything did with it.
    ///
    /// `None` for the first, and while the interval is unknown or cannot be trusted.
    #[inline]
    pub(crate) fn report(&mut self, at: Timestamp, changed: bool) -> Option<Gap> {
        let now = at.nanos();
        let gap = now.saturating_sub(self.last.replace(now)?);
        if !self.given {
            self.learn(gap);
        }
        if self.interval == 0 {
            return None;
        }
        let ticks = self.ticks(gap);
        if (0.5..1.5).contains(&ticks) {
            if !changed {
                self.steady = self.steady.saturating_add(1);
                self.trusted |= !self.silence_speaks();
            }
            return self.trusted.then_some(Gap::Live(ticks));
        }
        let gap = self.odd(ticks);
        self.trusted.then_some(gap)
    }

    /// As [`Self::report`] for what nearly every report is: one that is an interval after the last, of a board whose
    /// beat is known. Returns how many intervals; `None`, and nothing has changed, for any other.
    #[inline]
    pub(crate) fn live(&mut self, at: Timestamp, changed: bool) -> Option<f32> {
        let now = at.nanos();
        let ticks = self.ticks(now.saturating_sub(self.last?));
        // A shorter one may be news about the interval.
        let shortest = if self.given { 0.5 } else { 0.65 };
        if !self.trusted || ticks < shortest || ticks >= 1.5 {
            return None;
        }
        self.last = Some(now);
        self.steady = self.steady.saturating_add(u8::from(!changed));
        Some(ticks)
    }

    /// Whether `other` measures gaps as this one does.
    pub(crate) fn measures_as(&self, other: &Self) -> bool {
        (self.interval, self.given, self.trusted) == (other.interval, other.given, other.trusted)
    }

    /// So many nanoseconds in intervals.
    #[inline]
    pub(crate) fn ticks(&self, nanos: u64) -> f32 {
        single(nanos) * self.per_nano
    }

    /// Gaps in nanoseconds that [`Self::live`] takes as soon as the beat is known, those near its limits left out.
    pub(crate) const fn surely_live(&self) -> Range<u64> {
        self.interval / 4 * 3..self.interval / 4 * 5
    }

    /// Whether the board is known to report steadily, so that one report more says nothing about it.
    pub(crate) const fn is_steady(&self) -> bool {
        self.trusted && self.steady >= STEADY_AFTER
    }

    /// The last report was read at `last`, and those before it were live.
    pub(crate) const fn resume(&mut self, last: Timestamp) {
        self.last = Some(last.nanos());
    }

    /// What a gap of so many nanoseconds comes to, for a board that is not known to report steadily.
    pub(crate) fn measure(&self, nanos: u64) -> Gap {
        let ticks = self.ticks(nanos);
        if ticks < 0.5 {
            Gap::Waited
        } else if ticks < 1.5 {
            Gap::Live(ticks)
        } else {
            Gap::Silent(ticks)
        }
    }

    #[cold]
    fn odd(&mut self, ticks: f32) -> Gap {
        if ticks < 0.5 {
            return Gap::Waited;
        }
        let gap = if self.silence_speaks() { Gap::Silent(ticks) } else { Gap::Late(ticks.min(LATEST)) };
        if ticks > LATEST {
            self.steady = 0;
        }
        gap
    }

    /// So many whole intervals have gone by until `at` without a report.
    pub(crate) fn silent_until(&self, at: Timestamp) -> u32 {
        let Some(last) = self.last.filter(|_| self.interval != 0) else { return 0 };
        let gone = at.nanos().saturating_sub(last) / self.interval;
        u32::try_from(gone).unwrap_or(u32::MAX).min(SILENCE)
    }

    /// The moment so many intervals after the last report.
    pub(crate) fn after(&self, intervals: u32) -> Option<Timestamp> {
        let last = self.last.filter(|_| self.interval != 0)?;
        Some(Timestamp::from_nanos(last.saturating_add(self.interval.saturating_mul(u64::from(intervals)))))
    }

    /// The interval is the shortest gap that occurs often: a board that reports changes only leaves gaps of
    /// one interval and of several.
    fn learn(&mut self, gap: u64) {
        if !(SHORTEST..=LONGEST).contains(&gap) {
            return;
        }
        // Once known, only what is much shorter is news.
        if self.interval != 0 && gap > self.interval * 3 / 5 {
            return;
        }
        if let Some(slot) = self.gaps.get_mut(self.length) {
            *slot = gap;
            self.length += 1;
        }
        let enough = if self.interval == 0 { LEARNED_FROM } else { ALIKE };
        if self.length < enough {
            return;
        }
        let mut sorted = self.gaps;
        let sorted = sorted.get_mut(..self.length).unwrap_or_default();
        sorted.sort_unstable();
        self.length = 0;
        for alike in sorted.windows(ALIKE) {
            let (Some(&first), Some(&last)) = (alike.first(), alike.last()) else { break };
            let limit = first * 13 / 10;
            if last <= limit {
                // All that are as long as these, not just the shortest.
                let alike = || sorted.iter().filter(|gap| (first..=limit).contains(gap));
                let count = u64::try_from(alike().count()).unwrap_or(1).max(1);
                self.set(alike().sum::<u64>() / count);
                return;
            }
        }
    }
}

#[expect(clippy::as_conversions, reason = "single precision is enough for a part of an interval")]
#[inline]
fn single(nanos: u64) -> f32 {
    nanos as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gaps(reporting: Option<Reporting>, unchanged: u32, millis: &[u64]) -> Vec<Gap> {
        let mut clock = Clock::new(Some(Duration::from_millis(4)), reporting);
        let mut now = Timestamp::START;
        assert_eq!(clock.report(now, true), None, "the first follows on nothing");
        for _ in 0..unchanged {
            now = now.after(Duration::from_millis(4));
            clock.report(now, false);
        }
        let gap = |millis: &u64| {
            now = now.after(Duration::from_millis(*millis));
            clock.report(now, true).unwrap()
        };
        millis.iter().map(gap).collect()
    }

    #[test]
    fn the_table_of_gaps() {
        use Gap::{Late, Live, Silent, Waited};
        let millis = [1, 3, 5, 8, 40, 1];
        let changes = [Waited, Live(0.75), Live(1.25), Silent(2.0), Silent(10.0), Waited];
        assert_eq!(gaps(None, 0, &millis), changes);
        assert_eq!(gaps(Some(Reporting::OnChange), 100, &millis), changes);
        let steady = [Waited, Live(0.75), Live(1.25), Late(2.0), Late(8.0), Waited];
        assert_eq!(gaps(Some(Reporting::Steady), 0, &millis), steady);
        assert_eq!(gaps(None, 16, &millis), steady);
        assert_eq!(gaps(None, 16, &[40, 8]), [Late(8.0), Silent(2.0)], "no steady board is silent so long");
    }

    #[test]
    fn the_interval_is_learned_from_the_shortest_gaps_that_are_alike() {
        let mut clock = Clock::new(None, None);
        let mut now = Timestamp::START;
        for n in 0..40_u64 {
            assert_eq!(clock.interval() != 0, n > 32, "{n}");
            clock.report(now, true);
            now = now.after(Duration::from_micros(
                [8000, 16_100, 7800, 25_000, 8200][usize::try_from(n % 5).unwrap()],
            ));
        }
        let learned = clock.interval() / 1000;
        assert!((7900..8100).contains(&learned), "{learned}");
    }

    #[test]
    fn a_waiting_report_teaches_nothing() {
        let mut clock = Clock::new(None, None);
        for n in 0..200 {
            clock.report(Timestamp::from_micros(n * 20), true);
        }
        assert_eq!(clock.interval(), 0);
    }
}
