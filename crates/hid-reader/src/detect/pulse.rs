//! Watches the two lines of a board that decodes by itself.
//!
//! | a line | and it was | means |
//! |---|---|---|
//! | released | pressed for as long as others | nothing |
//! | released | pressed for much longer or shorter | merged or cut off pulses |
//! | still pressed | for 20 P and 2 s | stuck, and again each time that it has doubled |
//! | pressed | released | a press: on to the pace |

use super::dead::Seesaw;
use super::pace::Pace;
use super::width::{Width, Widths};
use super::{Doubt, Evidence, HOUR, Hand, Nanos, SECOND, WheelFacts, loss, missing};
use std::time::Duration;
use tallywheel_units::{Certainty, Loss, LossKind};

/// No pulse is this long. Common practice, no source.
const STUCK: Nanos = 2 * SECOND;
const STUCK_PULSES: u64 = 20;

#[derive(Debug, Clone, Default)]
pub(super) struct PulseWatch {
    lines: [Line; 2],
    known: bool,
    widths: Widths,
    pace: Pace,
    seesaw: Seesaw,
}

#[derive(Debug, Clone, Copy, Default)]
struct Line {
    /// `Some(None)`: pressed since before the first report.
    pressed: Option<Option<Nanos>>,
    stuck: Option<Doubt>,
}

impl PulseWatch {
    pub(super) fn know(&mut self, facts: &WheelFacts) {
        let nanos = |time: Duration| u64::try_from(time.as_nanos()).unwrap_or(HOUR).min(HOUR);
        let (on, off) = (facts.pulse_on.map(nanos), facts.pulse_off.map(nanos));
        self.widths.give(on);
        self.pace.give(on.zip(off).map(|(on, off)| on.saturating_add(off)));
    }

    pub(super) fn lines(
        &mut self,
        at: Nanos,
        (forward, backward): (bool, bool),
        interval: Option<Nanos>,
        hand: Hand,
        sink: &mut impl FnMut(Loss),
    ) {
        self.due(at, hand, sink);
        // The first report only tells where the lines stand.
        let first = !std::mem::replace(&mut self.known, true);
        for (place, pressed) in [forward, backward].into_iter().enumerate() {
            let is_forward = place == 0;
            let Some(line) = self.lines.get_mut(place) else { continue };
            match (line.pressed, pressed) {
                (None, true) => {
                    line.pressed = Some((!first).then_some(at));
                    if !first {
                        self.pace.press(at, is_forward, &self.widths, hand, sink);
                        self.seesaw.press(at, is_forward, hand, sink);
                    }
                }
                (Some(since), false) => {
                    let stuck = line.stuck.is_some();
                    *line = Line::default();
                    if let (Some(since), false) = (since, stuck) {
                        self.released(since, at, is_forward, interval, sink);
                    }
                }
                _ => {}
            }
        }
    }

    fn released(
        &mut self,
        since: Nanos,
        at: Nanos,
        forward: bool,
        interval: Option<Nanos>,
        sink: &mut impl FnMut(Loss),
    ) {
        self.widths.pulse(at.saturating_sub(since).min(HOUR), interval, |width| {
            let evidence = Evidence { from: since, to: at, reports: 2 };
            match width {
                Width::Whole => {}
                Width::CutOff => {
                    sink(loss(LossKind::PulsesClipped, Certainty::Observed, evidence, missing(forward, 1)));
                }
                Width::Hides(counts) => {
                    sink(loss(
                        LossKind::PulsesMerged,
                        Certainty::Observed,
                        evidence,
                        missing(forward, counts),
                    ));
                }
            }
        });
    }

    /// Looks at what only time tells.
    pub(super) fn due(&mut self, at: Nanos, hand: Hand, sink: &mut impl FnMut(Loss)) {
        self.pace.silence(at, &self.widths, hand, sink);
        let limit = self.stuck_after();
        for line in &mut self.lines {
            let Some(Some(since)) = line.pressed else { continue };
            if at.saturating_sub(since) < limit {
                continue;
            }
            if let Some(bound) = line.stuck.get_or_insert(Doubt::since(since)).grow(at, hand) {
                let evidence = Evidence { from: since, to: at, reports: 1 };
                sink(loss(LossKind::InputStuck, Certainty::Observed, evidence, bound));
            }
        }
    }

    pub(super) fn deadline(&self) -> Nanos {
        let limit = self.stuck_after();
        let stuck = self.lines.iter().filter_map(|line| match (line.stuck, line.pressed) {
            (Some(doubt), _) => Some(doubt.covered),
            (None, Some(Some(since))) => Some(since.saturating_add(limit)),
            _ => None,
        });
        stuck.min().unwrap_or(Nanos::MAX).min(self.pace.deadline())
    }

    pub(super) fn stuck(&self) -> bool {
        self.lines.iter().any(|line| line.stuck.is_some())
    }

    pub(super) fn forget(&mut self) {
        (self.lines, self.known, self.seesaw) = (<[Line; 2]>::default(), false, Seesaw::default());
        self.pace.forget();
    }

    fn stuck_after(&self) -> Nanos {
        self.widths.typical().map_or(STUCK, |typical| typical.saturating_mul(STUCK_PULSES).max(STUCK))
    }
}
