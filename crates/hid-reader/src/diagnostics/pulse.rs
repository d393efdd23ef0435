//! Watches the two lines of a board that decodes by itself.
//!
//! | a line | and it was | means |
//! |---|---|---|
//! | released | pressed for as long as others | nothing |
//! | released | pressed for much longer or shorter | merged or cut off pulses |
//! | still pressed | for 20 P and 2 s | stuck, and again each time that it has doubled |
//! | pressed | released | a press: on to the pace |
//!
//! A pulse is judged when the next one begins or has not come for long: only then is it known whether it
//! stood apart, and whether the reader was behind and its times mean nothing.

use super::dead::Seesaw;
use super::grain::Grain;
use super::pace::{Drained, Pace};
use super::rate::Rate;
use super::width::{Pulse, Width, Widths};
use super::{Doubt, Evidence, HOUR, Hand, Nanos, SECOND, WheelFacts, loss, missing};
use std::time::Duration;
use tallywheel_units::{Certainty, Loss, LossKind, Margin};

/// No pulse is this long. Common practice, no source.
const STUCK: Nanos = 2 * SECOND;
const STUCK_PULSES: u64 = 20;

#[derive(Debug, Clone, Default)]
pub(super) struct PulseWatch {
    lines: [Line; 2],
    known: bool,
    /// The last pulse, until what follows tells whether it stood apart.
    over: Option<Pulse>,
    /// How long the last pulse was.
    width: Nanos,
    released: Nanos,
    interval: Option<Nanos>,
    widths: Widths,
    pace: Pace,
    rate: Rate,
    grain: Grain,
    pressed: Option<Nanos>,
    drained: Option<Drained>,
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
        self.widths.give(on, off);
        self.rate.give(on.zip(off).map(|(on, off)| on.saturating_add(off)));
    }

    pub(super) fn lines(
        &mut self,
        at: Nanos,
        (forward, backward): (bool, bool),
        interval: Option<Nanos>,
        hand: Hand,
        sink: &mut impl FnMut(Loss),
    ) {
        self.interval = interval;
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
                        self.judge(at, hand, sink);
                        if let Some(last) = self.pressed.replace(at) {
                            self.grain.interval(at.saturating_sub(last));
                        }
                        self.widths.presume(self.grain.estimate());
                        let grain = self.widths.grain();
                        self.rate.know(self.widths.typical(), interval, self.widths.one_report() < 8);
                        self.rate.press(at, is_forward, grain, hand, sink);
                        self.pace.press(at, is_forward, &self.widths, self.rate.is_limited(), sink);
                        self.seesaw.press(at, is_forward, hand, sink);
                    }
                }
                (Some(since), false) => {
                    let stuck = line.stuck.is_some();
                    self.rate.release(at, self.widths.typical(), self.widths.grain());
                    *line = Line::default();
                    if let (Some(since), false) = (since, stuck) {
                        self.judge(since, hand, sink);
                        let paused = since.saturating_sub(self.released);
                        self.over = Some(Pulse { forward: is_forward, since, until: at, paused });
                    }
                    self.released = at;
                }
                _ => {}
            }
        }
    }

    /// Judges the last pulse, now that it is known that none followed it until `next`.
    fn judge(&mut self, next: Nanos, hand: Hand, sink: &mut impl FnMut(Loss)) {
        let Some(pulse) = self.over.take() else { return };
        let (pace, pauses) = (&mut self.pace, next.saturating_sub(pulse.until));
        let unknown = self.widths.typical().is_none();
        let width = pulse.until.saturating_sub(pulse.since).min(HOUR);
        if 2 * width > 3 * std::mem::replace(&mut self.width, width) + 2 * self.widths.grain() {
            // Whatever it means, what is missing in the rhythm may be in there.
            pace.explained();
        }
        self.widths.pulse(pulse, pauses, self.interval, |pulse, width| {
            let evidence = Evidence { from: pulse.since, to: pulse.until, reports: 2 };
            let (kind, counts) = match width {
                Width::Whole => return,
                Width::CutOff => (LossKind::PulsesClipped, 1),
                Width::Hides(counts) => {
                    // A board that makes a pulse longer with each count hides as many as the hand turned meanwhile.
                    let most = hand.most(pulse.until.saturating_sub(pulse.since)).get();
                    (LossKind::PulsesMerged, counts.max(most.unsigned_abs()))
                }
            };
            // What is missing in the rhythm is accounted for.
            pace.explained();
            sink(loss(kind, Certainty::Observed, evidence, missing(pulse.forward, counts)));
        });
        if unknown && self.widths.typical().is_some() {
            self.pace.explained();
        }
    }

    /// Looks at what only time tells.
    pub(super) fn due(&mut self, at: Nanos, hand: Hand, sink: &mut impl FnMut(Loss)) {
        if let Some(drained) = self.drained.take_if(|drained| drained.loss.at.nanos() < at) {
            self.rate.measure(drained.cycle);
            sink(drained.loss);
        }
        // While a line is pressed it is no silence.
        let idle = self.lines.iter().all(|line| line.pressed.is_none());
        if idle {
            self.rate.silence(at, self.widths.grain(), hand);
        }
        if idle && at >= self.pace.deadline() {
            self.judge(at, hand, sink);
            self.drained = self.pace.silence(at, &self.widths, &self.rate, hand);
        }
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
        if self.drained.is_some() {
            return 0;
        }
        let limit = self.stuck_after();
        let stuck = self.lines.iter().filter_map(|line| match (line.stuck, line.pressed) {
            (Some(doubt), _) => Some(doubt.covered),
            (None, Some(Some(since))) => Some(since.saturating_add(limit)),
            _ => None,
        });
        stuck.min().unwrap_or_else(|| self.pace.deadline().min(self.rests().unwrap_or(Nanos::MAX)))
    }

    /// When a silence tells how a span that is in doubt ended.
    pub(super) fn rests(&self) -> Option<Nanos> {
        let idle = self.lines.iter().all(|line| line.pressed.is_none());
        self.rate.deadline(self.widths.grain()).filter(|_| idle)
    }

    /// No report came until `at`.
    pub(super) fn rest(&mut self, at: Nanos, hand: Hand) {
        if self.lines.iter().all(|line| line.pressed.is_none()) {
            self.rate.silence(at, self.widths.grain(), hand);
        }
    }

    pub(super) fn stuck(&self) -> bool {
        self.lines.iter().any(|line| line.stuck.is_some())
    }

    /// Whether the last pulse stood apart from the one before or is long over at `at`, so that none can be waiting.
    pub(super) fn in_time(&self, at: Nanos) -> bool {
        self.pace.is_slow(at, &self.rate)
    }

    /// How far the counts so far may be off, as long as the board's cycle is being found out.
    pub(super) fn pending(&self) -> Margin {
        self.rate.pending()
    }

    /// The reader is behind: the reports are true, their times are not.
    pub(super) fn blur(&mut self) {
        for line in &mut self.lines {
            *line = Line { pressed: line.pressed.map(|_| None), stuck: None };
        }
        (self.over, self.drained, self.seesaw) = (None, None, Seesaw::default());
        self.pace.forget();
        self.rate.forget();
        self.pressed = None;
    }

    pub(super) fn forget(&mut self) {
        self.blur();
        self.rate.unplugged();
        (self.lines, self.known) = (<[Line; 2]>::default(), false);
    }

    fn stuck_after(&self) -> Nanos {
        self.widths.typical().map_or(STUCK, |typical| typical.saturating_mul(STUCK_PULSES).max(STUCK))
    }
}
