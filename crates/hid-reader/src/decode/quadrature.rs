//! Wiring "quadrature" by the published table: right as long as no more than one edge falls between two
//! reports.
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
//! way nobody can say. The table counts nothing then and goes on from the new phase.
//!
//! These are edges. Counts at x2 are both edges of A; at x1 A rising while going forward and A falling while
//! going back, so that a wheel that trembles on one edge goes +1 -1 +1 -1 and never runs away. With e the
//! edges so far, e = phase (mod 4), the tally is e at x4, floor((e+1)/2) at x2 and floor((e+3)/4) at x1, and
//! a step counts the difference.

use super::step::Step;
use std::time::Duration;
use tallywheel_units::{Certainty, Counts, CountsPerCycle, Loss, LossKind, Margin, Timestamp};

/// Decodes one wheel's lines A and B. Everything that the rest of the crate knows of it is `new`, `step`,
/// `forget`, `hidden_in` and `EVERY_SAMPLE`, so that a decoder which knows more than the table can take its
/// place.
#[derive(Debug, Clone)]
pub(crate) struct Quadrature {
    per_cycle: CountsPerCycle,
    /// The phase last seen, 0..=3; `None` until the first report, which only tells where the lines stand.
    phase: Option<i64>,
}

impl Quadrature {
    /// The same state again tells the table nothing. A decoder that follows the wheel's speed wants it.
    pub(crate) const EVERY_SAMPLE: bool = false;

    pub(crate) fn new(per_cycle: CountsPerCycle) -> Self {
        Self { per_cycle, phase: None }
    }

    #[inline]
    pub(crate) fn step(&mut self, at: Timestamp, a: bool, b: bool) -> Step {
        let phase = match (a, b) {
            (false, false) => 0,
            (true, false) => 1,
            (true, true) => 2,
            (false, true) => 3,
        };
        let Some(was) = self.phase.replace(phase) else { return Step::default() };
        match (phase - was) & 3 {
            0 => Step::default(),
            1 => Step { counts: self.between(was, was + 1), loss: None },
            3 => Step { counts: self.between(was, was - 1), loss: None },
            _ => Step { counts: Counts::ZERO, loss: Some(self.skipped(at, was)) },
        }
    }

    /// Two edges from `was`, either way.
    #[cold]
    fn skipped(&self, at: Timestamp, was: i64) -> Loss {
        Loss {
            kind: LossKind::BothLinesChanged,
            certainty: Certainty::Observed,
            at,
            lasted: Duration::ZERO,
            reports: 1,
            bound: Margin::new(self.between(was, was - 2), self.between(was, was + 2)),
        }
    }

    pub(crate) fn forget(&mut self) {
        self.phase = None;
    }

    /// How many counts the tally may be off after so many reports in a row are gone. The table goes by the
    /// phase, so it is off by whole cycles of four edges. At one edge a report at most, reports + 1 edges
    /// fell between the two that are there, and one of them is counted.
    pub(crate) fn hidden_in(&self, reports: u64) -> Counts {
        let cycles = reports.saturating_add(2) / 4;
        let counts = cycles.saturating_mul(u64::from(self.per_cycle.get()));
        Counts::new(i64::try_from(counts).unwrap_or(i64::MAX))
    }

    fn between(&self, from: i64, to: i64) -> Counts {
        self.tally(to) - self.tally(from)
    }

    /// Counts at edge `e`.
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
