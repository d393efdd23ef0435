//! The shortest time between two counts that a wheel's board can tell.

use super::facts::{BoardSummary, WheelSummary};
use std::time::Duration;
use tallywheel_profile::WheelInputs;

/// A limit and where it is from.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    shortest: Duration,
    /// One sentence.
    pub origin: String,
}

impl Limit {
    /// The shortest time, in ms.
    #[must_use]
    pub fn ms(&self) -> f64 {
        self.shortest.as_secs_f64() * 1e3
    }
}

/// The limit of `wheel` on `board`; `None` where nothing tells.
///
/// Pulses: a pulse and a pause, so the top rate is 1 / (on + off). The pulse is measured, and so is a pause that
/// is shorter than it; longer ones may be the hand's, so a pause as long as the pulse is assumed (common
/// practice, no source). Quadrature: one edge a
/// report, so the time between two counts is the report interval times the edges of a count (4 per cycle;
/// facts of the decoding, DEVELOPERS.md).
#[must_use]
pub fn limit(wheel: &WheelSummary, board: &BoardSummary) -> Option<Limit> {
    match wheel.inputs {
        WheelInputs::Pulses { .. } => {
            let (on, off) = (wheel.pulses.usual_on()?, wheel.pulses.shortest_off()?);
            let origin = if off < on {
                format!("A pulse takes {} and the shortest pause was {}, as measured here.", ms(on), ms(off))
            } else {
                format!("A pulse takes {}, as measured here; a pause as long is assumed after each.", ms(on))
            };
            Some(Limit { shortest: on.saturating_add(off.min(on)), origin })
        }
        WheelInputs::Quadrature { per_cycle, .. } => {
            let edges = 4 / per_cycle.get().max(1);
            let (interval, whence) = match board.report_interval {
                Some(interval) => (interval, "by the rig file"),
                None => (board.shortest.filter(|shortest| !shortest.is_zero())?, "as measured here"),
            };
            let origin = match edges {
                1 => format!(
                    "The board reports every {}, {whence}, and a report can show one edge.",
                    ms(interval)
                ),
                _ => format!(
                    "The board reports every {}, {whence}; a report can show one edge and a count is {edges} edges.",
                    ms(interval)
                ),
            };
            Some(Limit { shortest: interval.saturating_mul(edges), origin })
        }
    }
}

fn ms(duration: Duration) -> String {
    format!("{:.1} ms", duration.as_secs_f64() * 1e3)
}
