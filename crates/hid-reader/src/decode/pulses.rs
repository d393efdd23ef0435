//! Wiring "pulses": the board decodes the encoder itself and presses one button per count and direction.
//!
//! Rising edges are counted. (F, B) = the forward and the backward line, 1 = pressed:
//!
//! | was \ is | 00 | 01 | 10 | 11 |
//! |---|---|---|---|---|
//! | 00 | 0 | -1 | +1 | 0, overlap |
//! | 01 | 0 | 0 | +1 | +1, overlap |
//! | 10 | 0 | -1 | 0 | -1, overlap |
//! | 11 | 0 | 0 | 0 | 0 |
//!
//! "Overlap": a pulse began while the other line was pressed, or both began in one report. A counter in
//! directional clock mode does not count such a pulse (ST RM0440, table 261: one line counts only while the
//! other is idle), since on two independent lines it may be an echo. A board's own pulses each stand for a
//! count; overlapping they show that its pulses are longer than the time between counts. So it is counted,
//! and the doubt of one count either way is a [`LossKind::PulsesOverlap`].
//!
//! Before the first report both lines count as released, as they do for the kernel's own button events: a board
//! that reports only changes sends its first report with the first press. Whoever starts in the middle of a
//! pulse counts it too, so a press in the first report is a [`LossKind::UnseenStart`] with the doubt of that
//! count.
//!
//! Not seen here: a pulse that begins and ends between two reports, and two pulses merged into one.

use super::step::Step;
use std::time::Duration;
use tallywheel_units::{Certainty, Counts, Loss, LossKind, Margin, Timestamp};

#[derive(Debug, Clone, Default)]
pub(crate) struct Pulses {
    /// The lines as last seen; `None` until the first report.
    seen: Option<(bool, bool)>,
}

impl Pulses {
    /// The same state again tells it nothing.
    pub(crate) const EVERY_SAMPLE: bool = false;

    pub(crate) fn step(&mut self, at: Timestamp, forward: bool, backward: bool) -> Step {
        let Some(was) = self.seen.replace((forward, backward)) else {
            return first(at, forward, backward);
        };
        let Edges { counts, overlap: overlaps } = Edges::between(was, forward, backward);
        Step { counts, loss: overlaps.then(|| overlap(at)), doubt: None }
    }

    /// The counts of a sample that yields nothing else, which is nearly every one; `None`, and nothing has happened,
    /// where [`Self::step`] has more to say.
    #[inline]
    pub(crate) fn plain(&mut self, forward: bool, backward: bool) -> Option<Counts> {
        let edges = Edges::between(self.seen?, forward, backward);
        if edges.overlap {
            return None;
        }
        self.seen = Some((forward, backward));
        Some(edges.counts)
    }

    pub(crate) fn forget(&mut self) {
        self.seen = None;
    }

    /// How many counts the tally may be off after so many reports in a row are gone. A pulse needs one that
    /// presses and one that releases; the reports around the gap may give one of each.
    pub(crate) fn hidden_in(&self, reports: u64) -> Counts {
        Counts::new(i64::try_from(reports.div_ceil(2)).unwrap_or(i64::MAX))
    }
}

/// The table above.
struct Edges {
    counts: Counts,
    overlap: bool,
}

impl Edges {
    #[inline]
    fn between((forward_was, backward_was): (bool, bool), forward: bool, backward: bool) -> Self {
        let up = forward && !forward_was;
        let down = backward && !backward_was;
        let counts = Counts::new(i64::from(up) - i64::from(down));
        Self { counts, overlap: (up && backward) || (down && forward) }
    }
}

/// Each line that is pressed is counted, and may have been pressed before.
#[cold]
fn first(at: Timestamp, forward: bool, backward: bool) -> Step {
    let (up, down) = (Counts::new(forward.into()), Counts::new(backward.into()));
    let loss = Loss {
        kind: LossKind::UnseenStart,
        certainty: Certainty::Inferred,
        at,
        lasted: Duration::ZERO,
        reports: 1,
        bound: Margin::new(up, down),
    };
    Step { counts: up - down, loss: (forward || backward).then_some(loss), doubt: None }
}

#[cold]
fn overlap(at: Timestamp) -> Loss {
    Loss {
        kind: LossKind::PulsesOverlap,
        certainty: Certainty::Observed,
        at,
        lasted: Duration::ZERO,
        reports: 1,
        bound: Margin::both(Counts::ONE),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table in the module's text, all 16 pairs of states.
    #[test]
    fn every_pair_of_states() {
        let table = [
            ("00", [("00", 0, false), ("01", -1, false), ("10", 1, false), ("11", 0, true)]),
            ("01", [("00", 0, false), ("01", 0, false), ("10", 1, false), ("11", 1, true)]),
            ("10", [("00", 0, false), ("01", -1, false), ("10", 0, false), ("11", -1, true)]),
            ("11", [("00", 0, false), ("01", 0, false), ("10", 0, false), ("11", 0, false)]),
        ];
        let lines = |text: &str| (text.starts_with('1'), text.ends_with('1'));
        for (was, row) in table {
            for (is, counts, overlap) in row {
                let mut pulses = Pulses::default();
                let (forward, backward) = lines(was);
                let first = pulses.step(Timestamp::START, forward, backward);
                let pressed = Counts::new(i64::from(forward) - i64::from(backward));
                assert_eq!(
                    (first.counts, first.loss.is_some()),
                    (pressed, forward || backward),
                    "{was} first"
                );
                let bound = first.loss.map_or(Margin::CERTAIN, |loss| loss.bound);
                assert!(bound.covers(-pressed), "both may have been pressed before: {was}");
                let (forward, backward) = lines(is);
                let plain = pulses.clone().plain(forward, backward);
                assert_eq!(plain, (!overlap).then_some(Counts::new(counts)), "{was} to {is}");
                let step = pulses.step(Timestamp::from_micros(1), forward, backward);
                assert_eq!(
                    (step.counts, step.loss.is_some()),
                    (Counts::new(counts), overlap),
                    "{was} to {is}"
                );
            }
        }
    }

    /// ST RM0440, table 261 (x1, rising edge, other line low): counts that it would make are made here too,
    /// and wherever it would not count an edge the doubt covers the difference.
    #[test]
    fn directional_clock_mode_agrees_within_the_bound() {
        for pair in 0..16_u8 {
            let line = |bit: u8| pair >> bit & 1 == 1;
            let (was, is) = ((line(3), line(2)), (line(1), line(0)));
            let mut pulses = Pulses::default();
            pulses.step(Timestamp::START, was.0, was.1);
            let step = pulses.step(Timestamp::START, is.0, is.1);
            let up = !was.0 && is.0 && !is.1;
            let down = !was.1 && is.1 && !is.0;
            let published = Counts::new(i64::from(up) - i64::from(down));
            let bound = step.loss.map_or(Margin::CERTAIN, |loss| loss.bound);
            assert!(bound.covers(published - step.counts), "{pair:04b}");
        }
    }
}
