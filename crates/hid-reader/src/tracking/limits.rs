//! What a hand can do to a wheel, in the units of the filter: edges and ticks (report intervals).

use crate::parameters::limits::{
    FASTEST_TURNS, HARDEST_FOLLOWED, HARDEST_TURNS, LONGEST_WAIT, MODELS, OWN_SCAN, STROKE_TURNS,
};
use crate::timing::whole;
use std::time::Duration;

/// A hand's limits for one wheel on one board.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MotionLimits {
    /// Edges in a turn.
    pub(super) turn: f64,
    /// The fastest it turns, in edges per tick.
    pub(super) fastest: f64,
    /// The hardest it accelerates, in edges per tick^2.
    pub(super) hardest: f64,
    /// Levels of acceleration, from gentle to the hardest that can be followed.
    pub(super) models: [ManoeuvreModel; MODELS],
    /// The longest that a sample may be older than its report, in ticks.
    pub(super) scan: f64,
    /// The longest that a report waits to be read, in ticks.
    pub(super) longest_wait: f64,
}

/// One level of acceleration: it comes and goes like noise of this size that forgets itself in this time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ManoeuvreModel {
    /// Standard deviation in edges per tick^2.
    pub(super) size: f64,
    /// Correlation time in ticks.
    pub(super) lasts: f64,
}

impl MotionLimits {
    /// The limits for a wheel with so many edges per turn on a board with this report interval.
    pub(super) fn new(edges_per_turn: u32, interval: Duration) -> Self {
        let (edges, tick) = (f64::from(edges_per_turn), interval.as_secs_f64());
        let hardest = HARDEST_TURNS * edges * tick * tick;
        let mut size = hardest.clamp(0.1, HARDEST_FOLLOWED);
        let mut models = [ManoeuvreModel { size: 0.0, lasts: 0.0 }; MODELS];
        for model in models.iter_mut().rev() {
            // A stroke of s edges that peaks at a takes sqrt(5.77 s / a); its acceleration turns round within
            // a fifth of that.
            let lasts = (5.77 * STROKE_TURNS * edges / size).sqrt() / 5.0;
            *model = ManoeuvreModel { size, lasts: lasts.clamp(0.8, 40.0) };
            size = (size / 4.0).max(0.01);
        }
        // Half an edge more, as a contact may bounce at any speed.
        let tick = tick.max(1e-9);
        Self {
            turn: edges,
            fastest: FASTEST_TURNS * edges * tick + 0.5,
            hardest: 1.2 * hardest,
            models,
            scan: (OWN_SCAN / tick).min(1.0),
            longest_wait: LONGEST_WAIT / tick,
        }
    }

    /// How many whole cycles of four edges may pass in a tick without the table's count saying so.
    pub(super) fn cycles_unseen(&self) -> i64 {
        i64::try_from(whole((self.fastest + 2.0) / 4.0)).unwrap_or(i64::MAX)
    }

    /// Whether no hand turns the wheel over three edges in a tick. No state is shorter than 0.6 edges (a phase
    /// difference of 0.25 T +- 0.1 T) and an interval may be a tenth longer, so that takes more than an edge
    /// per tick. Then only a report in which both lines changed can be wrong.
    pub(super) fn is_always_slow(&self) -> bool {
        self.fastest < 1.5
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_those_of_the_wheel_on_its_board() {
        let hand = MotionLimits::new(400, Duration::from_millis(8));
        assert!((hand.fastest - (6.0 * 400.0 * 0.008 + 0.5)).abs() < 1e-9);
        assert!((hand.hardest - 1.2 * 200.0 * 400.0 * 0.008 * 0.008).abs() < 1e-9);
        assert!(!hand.is_always_slow());
        assert!(MotionLimits::new(96, Duration::from_millis(1)).is_always_slow());
    }

    #[test]
    fn paces_rise_to_what_can_be_followed() {
        for (edges, millis) in [(48, 1), (400, 8), (2400, 16)] {
            let hand = MotionLimits::new(edges, Duration::from_millis(millis));
            assert!(hand.models.windows(2).all(|pair| pair[0].size <= pair[1].size));
            assert!(hand.models[3].size <= HARDEST_FOLLOWED);
        }
    }
}
