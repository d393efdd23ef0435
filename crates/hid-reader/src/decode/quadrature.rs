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
use tallywheel_units::{Certainty, Counts, CountsPerCycle, Loss, LossKind, Margin, Timestamp};

/// Decodes one wheel's lines A and B. It keeps nothing but the phase, so that it can be swapped for anything
/// with the same three functions.
#[derive(Debug, Clone)]
pub(crate) struct Quadrature {
    per_cycle: CountsPerCycle,
    /// The phase last seen, 0..=3; `None` until the first report, which only tells where the lines stand.
    phase: Option<i64>,
}

impl Quadrature {
    pub(crate) fn new(per_cycle: CountsPerCycle) -> Self {
        Self { per_cycle, phase: None }
    }

    pub(crate) fn per_cycle(&self) -> u64 {
        u64::from(self.per_cycle.get())
    }

    pub(crate) fn step(&mut self, at: Timestamp, a: bool, b: bool) -> Step {
        let phase = match (a, b) {
            (false, false) => 0,
            (true, false) => 1,
            (true, true) => 2,
            (false, true) => 3,
        };
        let Some(was) = self.phase.replace(phase) else { return Step::default() };
        match (phase - was).rem_euclid(4) {
            0 => Step::default(),
            1 => Step { counts: self.between(was, was + 1), loss: None },
            3 => Step { counts: self.between(was, was - 1), loss: None },
            _ => Step {
                counts: Counts::ZERO,
                loss: Some(Loss {
                    kind: LossKind::BothLinesChanged,
                    certainty: Certainty::Observed,
                    at,
                    lasted: std::time::Duration::ZERO,
                    reports: 1,
                    bound: Margin::new(self.between(was, was - 2), self.between(was, was + 2)),
                }),
            },
        }
    }

    pub(crate) fn forget(&mut self) {
        self.phase = None;
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
