//! Wiring "quadrature": the published table where no more than one edge falls between two reports, and above
//! that a tracker that goes by the wheel's motion (`crate::tracking`).
//!
//! A leading B is forward, so the lines (A, B) run 00, 10, 11, 01, 00. Number these phases 0, 1, 2, 3:
//!
//! | was \ is | 0: 00 | 1: 10 | 2: 11 | 3: 01 |
//! |---|---|---|---|---|
//! | 0: 00 | 0 | +1 | illegal | -1 |
//! | 1: 10 | -1 | 0 | +1 | illegal |
//! | 2: 11 | illegal | -1 | 0 | +1 |
//! | 3: 01 | +1 | illegal | -1 | 0 |
//!
//! It is the same table in ST RM0365 (table 118), TI SPRUIW9C (table 23-3) and the Linux counter
//! documentation (generic-counter.rst). An illegal pair, both lines changed, means at least two edges; which
//! way the table cannot say. The tracker can, once it knows the report interval; until then nothing is counted
//! and the loss is told.
//!
//! These are edges. Counts at x2 are both edges of A; at x1 A rising while going forward and A falling while
//! going back, so that a wheel that trembles on one edge goes +1 -1 +1 -1 and never runs away. With e the
//! edges so far, e = phase (mod 4), the tally is e at x4, floor((e+1)/2) at x2 and floor((e+3)/4) at x1, and
//! a step counts the difference.

use super::step::Step;
use crate::timing::{Sample, SampleClock};
use crate::tracking::{Beat, Tracked, Tracker};
use std::time::Duration;
use tallywheel_units::{Certainty, Counts, CountsPerCycle, CountsPerTurn, Loss, LossKind, Margin, Timestamp};

/// Edges of a cycle.
const ONE_CYCLE: Counts = Counts::new(4);

/// Decodes one wheel's lines A and B.
#[derive(Debug, Clone)]
pub(crate) struct Quadrature {
    per_cycle: CountsPerCycle,
    tracker: Tracker,
    /// Counts that belong to edges which were not counted, as nobody could say which way they went.
    skipped: Counts,
    /// The doubt that was told last.
    told: Margin,
    /// Both lines changed at once since the tally was last certain.
    both_changed: bool,
    /// Counts by which the tally stands off the likeliest, in the middle between two that are as likely.
    middle: Counts,
}

impl Quadrature {
    /// The same state again says how fast the wheel is.
    pub(crate) const EVERY_SAMPLE: bool = true;

    /// For a wheel of which no more is known than its counts per cycle; see [`Self::know`].
    pub(crate) fn new(per_cycle: CountsPerCycle) -> Self {
        Self {
            per_cycle,
            tracker: Tracker::new(None),
            skipped: Counts::ZERO,
            told: Margin::CERTAIN,
            both_changed: false,
            middle: Counts::ZERO,
        }
    }

    /// The wheel has so many counts per turn; before its first report.
    pub(crate) fn know(&mut self, per_turn: CountsPerTurn) {
        let edges = per_turn.get().saturating_mul(4 / self.per_cycle.get());
        self.tracker.know(edges);
    }

    /// As [`Self::step`] for what nearly every report is: one of a slow wheel in which nothing is in doubt. `None`, and
    /// nothing has changed, for any other.
    #[inline]
    pub(crate) fn plain(&mut self, clock: &SampleClock, sample: &Sample, a: bool, b: bool) -> Option<Counts> {
        if !self.told.is_certain() {
            return None;
        }
        let before = self.tracker.edges();
        let edges = self.tracker.fast_step(clock, sample, a, b)?;
        self.both_changed = false;
        Some(self.between(before, before + edges))
    }

    /// Whether [`Self::on_beat`] takes the reports from here on, those in which a line of the wheel changes.
    pub(crate) fn keep(&mut self, clock: &SampleClock, beat: &Beat) -> bool {
        let can = self.tracker.can_keep(clock) && self.told.is_certain();
        if can {
            self.tracker.keep(beat);
        }
        can
    }

    /// As [`Self::plain`] for the last report of the beat that is kept, in which B changed if `second`, else A. After
    /// `None` the beat has to end, and the report is then to be taken as any other.
    #[inline]
    pub(crate) fn on_beat(&mut self, beat: &Beat, second: bool) -> Option<Counts> {
        let before = self.tracker.edges();
        let edges = self.tracker.on_beat(beat, second)?;
        Some(self.between(before, before + edges))
    }

    /// Ends the beat; see [`Tracker::leave`].
    pub(crate) fn leave(&mut self, beat: &Beat, all_but_last: bool) -> bool {
        self.tracker.leave(beat, all_but_last)
    }

    #[inline]
    pub(crate) fn step(
        &mut self,
        at: Timestamp,
        (clock, sample): (&SampleClock, &Sample),
        a: bool,
        b: bool,
    ) -> Step {
        let before = self.tracker.edges();
        let first = self.tracker.is_new();
        let Tracked { edges, skipped, found, lost, missing } = self.tracker.step(clock, sample, a, b);
        if first {
            return Step::default();
        }
        if edges == 0
            && !skipped
            && lost.is_none()
            && missing.is_none()
            && !self.tracker.is_following()
            && self.told.is_certain()
        {
            return Step::default();
        }
        if skipped {
            self.skipped += self.between(before, before + 2);
            let doubt = self.in_counts(before + 2, self.tracker.doubt());
            let changed = doubt != std::mem::replace(&mut self.told, doubt);
            // While the first reports are kept it is put right as soon as the interval is known; until then it is in doubt.
            let loss = (!self.tracker.keeps_first_reports()).then(|| self.both_lines(at, before));
            return Step { loss, doubt: changed.then_some(doubt), ..Step::default() };
        }
        self.both_changed |= self.tracker.both_changed();
        let mut step = self.tracked(at, before, lost);
        if let Some(missing) = missing {
            let lasted = Duration::from_nanos(clock.interval().saturating_mul(sample.missing));
            step.loss =
                Some(self.reports_missing(at, missing + lost.unwrap_or_default(), sample.missing, lasted));
        }
        if found {
            step.counts += std::mem::replace(&mut self.skipped, Counts::ZERO);
        }
        step
    }

    /// Whether all counts so far will stay, for all that is known.
    pub(crate) fn is_calm(&self) -> bool {
        !self.tracker.is_following() && self.told.is_certain()
    }

    /// It is `at`, and no report has come since the last.
    pub(crate) fn rest(&mut self, clock: &SampleClock, at: Timestamp) -> Step {
        let before = self.tracker.edges();
        let Tracked { lost, missing, .. } = self.tracker.elapsed(clock, at);
        let mut step = self.tracked(at, before, lost);
        if let Some(missing) = missing {
            step.loss = Some(self.reports_missing(at, missing + lost.unwrap_or_default(), 0, Duration::ZERO));
        }
        step
    }

    fn reports_missing(&self, at: Timestamp, edges: Margin, reports: u64, lasted: Duration) -> Loss {
        let bound = self.in_counts(self.tracker.edges(), edges);
        let (kind, certainty) = (LossKind::ReportsMissing, Certainty::Inferred);
        Loss { kind, certainty, at, lasted, reports: u32::try_from(reports).unwrap_or(u32::MAX), bound }
    }

    /// When [`Self::rest`] is to be called if no report comes before.
    #[inline]
    pub(crate) fn due(&self, clock: &SampleClock) -> Option<Timestamp> {
        self.tracker.due(clock)
    }

    /// Reports are missing before the next one.
    pub(crate) fn interrupt(&mut self, at: Timestamp) -> Step {
        let before = self.tracker.edges();
        let lost = self.tracker.interrupt();
        self.tracked(at, before, lost)
    }

    fn tracked(&mut self, at: Timestamp, before: i64, lost: Option<Margin>) -> Step {
        let now = self.tracker.edges();
        let (bound, lost_middle) = self.about_middle(now, lost.unwrap_or_default());
        let (doubt, middle) = self.about_middle(now, self.tracker.doubt());
        let was = std::mem::replace(&mut self.middle, middle);
        let counts = self.between(before, now) + middle + lost_middle - was;
        let loss = lost.map(|lost| {
            // Two edges one way or the other: the reports themselves show as much.
            let knock = self.both_changed && lost.low() + lost.high() <= ONE_CYCLE;
            let (kind, certainty) = if knock {
                (LossKind::BothLinesChanged, Certainty::Observed)
            } else {
                (LossKind::TurnedTooHard, Certainty::Inferred)
            };
            Loss { kind, certainty, at, lasted: Duration::ZERO, reports: 1, bound }
        });
        self.both_changed &= self.tracker.is_following();
        let changed = doubt != std::mem::replace(&mut self.told, doubt);
        Step { counts, loss, doubt: changed.then_some(doubt) }
    }

    /// A doubt about edge `e` in counts, and by how many counts the tally better stands off: where the wheel
    /// may as well have gone two edges one way as the other, it is off by two at most in the middle, as the
    /// table's tally is, and else by four.
    fn about_middle(&self, e: i64, edges: Margin) -> (Margin, Counts) {
        let counts = self.in_counts(e, edges);
        if !(self.both_changed && self.tracker.is_tie() && edges.low() + edges.high() == ONE_CYCLE) {
            return (counts, Counts::ZERO);
        }
        let middle = Counts::new((counts.high().get() - counts.low().get()) / 2);
        (Margin::new(counts.low() + middle, counts.high() - middle), middle)
    }

    /// What so many edges about edge `e` are in counts.
    fn in_counts(&self, e: i64, edges: Margin) -> Margin {
        if edges.is_certain() || self.per_cycle == CountsPerCycle::X4 {
            return edges;
        }
        let (low, high) = (e.saturating_sub(edges.low().get()), e.saturating_add(edges.high().get()));
        Margin::new(self.between(low, e), self.between(e, high))
    }

    /// Two edges from `was`, either way.
    #[cold]
    fn both_lines(&self, at: Timestamp, was: i64) -> Loss {
        Loss {
            kind: LossKind::BothLinesChanged,
            certainty: Certainty::Observed,
            at,
            lasted: Duration::ZERO,
            reports: 1,
            bound: Margin::new(self.between(was, was - 2), self.between(was, was + 2)),
        }
    }

    /// Whether something was in doubt.
    pub(crate) fn forget(&mut self) -> bool {
        self.tracker.forget();
        self.skipped = Counts::ZERO;
        self.middle = Counts::ZERO;
        self.both_changed = false;
        !std::mem::take(&mut self.told).is_certain()
    }

    /// How many counts the tally may be off after so many reports in a row are gone.
    pub(crate) fn hidden_in(&self, reports: u64) -> Counts {
        let cycles = self.tracker.hidden_in(reports);
        Counts::new(cycles.saturating_mul(i64::from(self.per_cycle.get())))
    }

    #[inline]
    fn between(&self, from: i64, to: i64) -> Counts {
        self.tally(to) - self.tally(from)
    }

    /// Counts at edge `e`.
    #[inline]
    fn tally(&self, e: i64) -> Counts {
        Counts::new(match self.per_cycle {
            CountsPerCycle::X4 => e,
            CountsPerCycle::X2 => (e + 1).div_euclid(2),
            CountsPerCycle::X1 => (e + 3).div_euclid(4),
        })
    }
}

#[cfg(test)]
mod tests;
