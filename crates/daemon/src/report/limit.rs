//! The shortest time between two counts that a wheel's board can tell.

use super::facts::{BoardFacts, WheelFacts};
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
/// Pulses: a pulse and a pause, so the top rate is 1 / (on + off); both as measured. Quadrature: one edge a
/// report, so the time between two counts is the report interval times the edges of a count (4 per cycle;
/// facts of the decoding, DEVELOPERS.md).
#[must_use]
pub fn limit(wheel: &WheelFacts, board: &BoardFacts) -> Option<Limit> {
    match wheel.inputs {
        WheelInputs::Pulses { .. } => {
            let (on, off) = (wheel.pulses.usual_on()?, wheel.pulses.shortest_off()?);
            let origin = format!(
                "A pulse takes {} and the shortest pause after one was {}, both measured here; a board that was never \
                 hurried may be able to do more.",
                ms(on),
                ms(off)
            );
            Some(Limit { shortest: on.saturating_add(off), origin })
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
