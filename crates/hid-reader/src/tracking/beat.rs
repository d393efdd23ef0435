//! One clock for all wheels of a board, while they are calm.
//!
//! A board samples all of its lines at once, so its reports have one time. While nothing is in doubt about any of its
//! wheels, their clocks and what they keep of the last reports would be copies of each other. Then one beat is kept for
//! all, and a wheel is looked at only when its phase changes: how many reports went by meanwhile says the rest.

use super::recent::KEPT;
use crate::timing::Clock;
use tallywheel_units::Timestamp;

/// Gaps that are kept: more than those of a wheel, as the last report may turn out to be none that leaves it calm.
const GAPS: usize = 32;
const _: () = assert!(GAPS > KEPT);

/// The reports of a board's calm wheels.
#[derive(Debug, Clone)]
pub(crate) struct Beat {
    /// The wheels' clocks as they stood before the first report.
    clock: Clock,
    /// Gaps in nanoseconds that are taken: from the shortest on, so many.
    shortest: u64,
    taken: u64,
    /// When the last report was read, in nanoseconds.
    last: u64,
    /// Nanoseconds from the report before to report `n`, at `n` modulo their number.
    gaps: [u64; GAPS],
    reports: u64,
}

/// A report of a [`Beat`] by its number; the first has 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Report(u64);

impl Report {
    /// By how many reports this is later than `earlier`; 0 where it is not.
    #[inline]
    pub(super) const fn after(self, earlier: Self) -> u64 {
        self.0.saturating_sub(earlier.0)
    }
}

impl Beat {
    /// Goes on from where `clock` stands; `None` where that has seen no report.
    pub(super) fn of(clock: &Clock) -> Option<Self> {
        let (last, live) = (clock.last()?.nanos(), clock.surely_live());
        let (shortest, taken) = (live.start, live.end.saturating_sub(live.start));
        Some(Self { clock: clock.clone(), shortest, taken, last, gaps: [0; GAPS], reports: 0 })
    }

    /// Whether `clock`, which took each report for itself, would go on as this beat does.
    pub(super) fn is_that_of(&self, clock: &Clock) -> bool {
        clock.last().is_some_and(|last| last.nanos() == self.last) && self.clock.measures_as(clock)
    }

    /// Takes a report that was read at `at`, if it is about an interval after the last one. If not, nothing has changed.
    #[inline]
    pub(crate) fn take(&mut self, at: Timestamp) -> bool {
        let gap = at.nanos().wrapping_sub(self.last);
        if gap.wrapping_sub(self.shortest) >= self.taken {
            return false;
        }
        self.reports += 1;
        if let Some(slot) = self.gaps.get_mut(place(self.reports)) {
            *slot = gap;
        }
        self.last = at.nanos();
        true
    }

    /// Whether there were so many reports that a wheel needs none from before.
    pub(crate) fn is_long(&self) -> bool {
        self.reports >= u64::try_from(KEPT).unwrap_or(u64::MAX)
    }

    /// The last report.
    #[inline]
    pub(super) const fn last(&self) -> Report {
        Report(self.reports)
    }

    /// The report before the last one.
    #[inline]
    pub(super) const fn one_before(&self) -> Report {
        Report(self.reports.saturating_sub(1))
    }

    /// When `report` was read, one of the last two.
    pub(super) fn read_at(&self, report: Report) -> Timestamp {
        let gap = self.gaps.get(place(self.reports)).copied().unwrap_or_default();
        Timestamp::from_nanos(if report == self.last() { self.last } else { self.last.saturating_sub(gap) })
    }

    /// How many intervals the reports up to `report` took, one of the last two, the oldest first.
    pub(super) fn ticks_until(&self, report: Report) -> [f32; KEPT] {
        let mut ticks = [1.0; KEPT];
        for (ticks, number) in ticks.iter_mut().rev().zip((0..=report.0).rev()) {
            let gap = self.gaps.get(place(number)).copied().unwrap_or_default();
            *ticks = self.clock.ticks(gap);
        }
        ticks
    }
}

#[expect(clippy::as_conversions, reason = "the remainder is small")]
#[inline]
const fn place(report: u64) -> usize {
    (report % GAPS as u64) as usize
}
