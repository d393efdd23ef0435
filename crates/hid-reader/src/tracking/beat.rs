//! One account of the reports of a board for all of its wheels, while nothing is in doubt about any of them.
//!
//! A board samples all of its lines at once, so what the wheels keep of the last reports would be copies of each other. Then
//! one is kept for all, and a wheel is looked at only when its phase changes: how many reports went by meanwhile says the
//! rest.

use crate::parameters::recent::KEPT;
use crate::timing::{Sample, single};

/// Lengths that are kept: more than those of a wheel, as the last report may turn out to be none that leaves it calm.
const LENGTHS: usize = 32;
const _: () = assert!(LENGTHS > KEPT);

/// The reports of a board's calm wheels.
#[derive(Debug, Clone)]
pub(crate) struct Beat {
    /// The last report.
    sample: Sample,
    /// Intervals from the report before to report `n`, at `n` modulo their number.
    ticks: [f32; LENGTHS],
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
    /// Goes on from the report that was sampled so.
    pub(crate) const fn of(sample: Sample) -> Self {
        Self { sample, ticks: [1.0; LENGTHS], reports: 0 }
    }

    /// Takes the report an interval after the last one.
    #[inline]
    pub(crate) fn take(&mut self, sample: &Sample) {
        self.reports += 1;
        if let Some(slot) = self.ticks.get_mut(place(self.reports)) {
            *slot = single(sample.time - self.sample.time);
        }
        self.sample = *sample;
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

    /// The number and the time of `report`, one of the last two.
    pub(super) fn place_of(&self, report: Report) -> (u64, f64) {
        let Sample { number, time, .. } = self.sample;
        let ticks = self.ticks.get(place(self.reports)).copied().unwrap_or(1.0);
        if report == self.last() {
            (number, time)
        } else {
            (number.saturating_sub(1), time - f64::from(ticks))
        }
    }

    /// How many intervals the reports up to `report` took, one of the last two, the oldest first.
    pub(super) fn ticks_until(&self, report: Report) -> [f32; KEPT] {
        let mut ticks = [1.0; KEPT];
        for (ticks, number) in ticks.iter_mut().rev().zip((1..=report.0).rev()) {
            *ticks = self.ticks.get(place(number)).copied().unwrap_or(1.0);
        }
        ticks
    }
}

#[expect(clippy::as_conversions, reason = "the remainder is small")]
#[inline]
const fn place(report: u64) -> usize {
    (report % LENGTHS as u64) as usize
}
