//! One wheel of a board: its lines, what decodes them and what watches them.

use super::Event;
use super::config::WheelConfig;
use super::pulses::Pulses;
use super::quadrature::Quadrature;
use super::step::Step;
use crate::diagnostics::Watch;
use crate::timing::{Sample, SampleClock};
use crate::tracking::Beat;
use std::time::Duration;
use tallywheel_units::{Certainty, Counts, Loss, LossKind, Margin, Timestamp, WheelInputs};

/// A board that reports steadily has sent its first report by then: the longest interval is 255 ms (USB 2.0,
/// full and low speed).
const STEADY_BOARDS_HAVE_REPORTED: Duration = Duration::from_millis(300);

/// A board's clock, and the place of a sample by it.
pub(super) type Timing<'a> = Option<(&'a SampleClock, &'a Sample)>;

#[derive(Debug, Clone)]
pub(super) struct Wheel {
    pub(super) lines: u128,
    first: u128,
    pub(super) second: u128,
    pressed_at_rest: bool,
    pub(super) config: WheelConfig,
    pub(super) decoding: Decoding,
    pub(super) watch: Watch,
    /// Counts that the watch has not been shown yet.
    pub(super) counted: Counts,
    /// What was last said to be in doubt of pulses.
    pending: Margin,
}

#[derive(Debug, Clone)]
pub(super) enum Decoding {
    Pulses(Pulses),
    // Boxed, so that a board of pulse wheels does not carry it through its cache.
    Quadrature(Box<Quadrature>),
}

/// The first report of a wheel leaves open what was before it.
#[cold]
pub(super) fn unseen_start(at: Timestamp, bound: Margin) -> Loss {
    let (kind, certainty) = (LossKind::UnseenStart, Certainty::Inferred);
    Loss { kind, certainty, at, lasted: Duration::ZERO, reports: 1, bound }
}

impl Wheel {
    pub(super) fn new(config: &WheelConfig) -> Self {
        let [first, second] = config.inputs.buttons().map(|line| line.mask());
        let decoding = match config.inputs {
            WheelInputs::Pulses { .. } => Decoding::Pulses(Pulses::default()),
            WheelInputs::Quadrature { per_cycle, .. } => {
                Decoding::Quadrature(Box::new(Quadrature::new(per_cycle)))
            }
        };
        let watch = match decoding {
            Decoding::Pulses(_) => Watch::pulses(),
            Decoding::Quadrature(_) => Watch::quadrature(),
        };
        Self {
            lines: first | second,
            first,
            second,
            pressed_at_rest: config.pressed_at_rest,
            config: *config,
            decoding,
            watch,
            counted: Counts::ZERO,
            pending: Margin::CERTAIN,
        }
    }

    /// Tells what is in doubt of pulses, where that has changed.
    pub(super) fn tell_pending(&mut self, place: usize, sink: &mut impl FnMut(usize, Event)) {
        let pending = self.watch.pending();
        if pending != std::mem::replace(&mut self.pending, pending) {
            sink(place, Event::Undecided(pending));
        }
    }

    #[inline]
    pub(super) fn levels(&self, buttons: u128) -> (bool, bool) {
        (
            (buttons & self.first != 0) != self.pressed_at_rest,
            (buttons & self.second != 0) != self.pressed_at_rest,
        )
    }

    /// Takes a sample of the wheel's lines; `timing` is the board's clock and the sample's place by it, where wheels of the
    /// board arrive raw.
    pub(super) fn step(&mut self, at: Timestamp, timing: Timing<'_>, (first, second): (bool, bool)) -> Step {
        match &mut self.decoding {
            Decoding::Pulses(pulses) => pulses.step(at, first, second),
            Decoding::Quadrature(quadrature) => {
                timing.map(|timing| quadrature.step(at, timing, first, second)).unwrap_or_default()
            }
        }
    }

    /// Whether the wheel's first report, read at `at`, may have come because of an edge that nobody counts.
    fn hides_an_edge(&self, opened: Timestamp, at: Timestamp) -> bool {
        let late = at.since(opened) > STEADY_BOARDS_HAVE_REPORTED;
        late && matches!(self.decoding, Decoding::Quadrature(_))
    }

    pub(super) fn quadrature(&self) -> Option<&Quadrature> {
        match &self.decoding {
            Decoding::Pulses(_) => None,
            Decoding::Quadrature(quadrature) => Some(quadrature),
        }
    }

    pub(super) fn quadrature_mut(&mut self) -> Option<&mut Quadrature> {
        match &mut self.decoding {
            Decoding::Pulses(_) => None,
            Decoding::Quadrature(quadrature) => Some(quadrature),
        }
    }

    /// When its resting tells something; of raw lines only by the board's clock, where wheels stand each for itself.
    pub(super) fn due(&self, apart: Option<&SampleClock>) -> Option<Timestamp> {
        match &self.decoding {
            Decoding::Pulses(_) => self.watch.rests().map(Timestamp::from_nanos),
            Decoding::Quadrature(quadrature) => quadrature.due(apart?),
        }
    }

    /// Takes the last report of `beat`, in which a line of the wheel changed, or both; see [`Quadrature::on_beat`].
    #[inline]
    pub(super) fn on_beat(&mut self, beat: &Beat, second: bool, both: bool) -> Option<Counts> {
        if both { None } else { self.quadrature_mut()?.on_beat(beat, second) }
    }

    /// Tells how many counts came of a report.
    #[inline]
    pub(super) fn counts(&mut self, place: usize, counts: Counts, sink: &mut impl FnMut(usize, Event)) {
        if !counts.is_zero() {
            self.counted += counts;
            sink(place, Event::Counts(counts));
        }
    }

    /// Takes a sample with all that may come of it. `opened` is when the board was, if this is the wheel's first.
    #[inline(never)]
    pub(super) fn sample(
        &mut self,
        place: usize,
        at: Timestamp,
        timing: Timing<'_>,
        levels: (bool, bool),
        opened: Option<Timestamp>,
        sink: &mut impl FnMut(usize, Event),
    ) {
        let mut step = self.step(at, timing, levels);
        let stuck = self.watch.stuck();
        step.loss = step.loss.filter(|loss| !(loss.kind == LossKind::PulsesOverlap && stuck));
        self.tell(place, step, sink);
        if opened.is_some_and(|opened| self.hides_an_edge(opened, at)) {
            let bound = Margin::both(Counts::ONE);
            sink(place, Event::Loss(unseen_start(at, bound)));
        }
    }

    /// Tells what came of a sample, or of something that was no report.
    pub(super) fn tell(&mut self, place: usize, step: Step, sink: &mut impl FnMut(usize, Event)) {
        self.counts(place, step.counts, sink);
        if let Some(loss) = step.loss {
            sink(place, Event::Loss(loss));
        }
        if let Some(doubt) = step.doubt {
            sink(place, Event::Doubt(doubt));
        }
    }

    /// Whether something was in doubt.
    pub(super) fn forget(&mut self) -> bool {
        self.counted = Counts::ZERO;
        self.watch.forget();
        match &mut self.decoding {
            Decoding::Pulses(pulses) => {
                pulses.forget();
                false
            }
            Decoding::Quadrature(quadrature) => quadrature.forget(),
        }
    }
}

impl Decoding {
    pub(super) fn every_sample(&self) -> bool {
        match self {
            Self::Pulses(_) => Pulses::EVERY_SAMPLE,
            Self::Quadrature(_) => Quadrature::EVERY_SAMPLE,
        }
    }

    /// How many counts the tally may be off at most after so many reports in a row are gone.
    pub(super) fn hidden_in(&self, reports: u64) -> Counts {
        match self {
            Self::Pulses(pulses) => pulses.hidden_in(reports),
            Self::Quadrature(quadrature) => quadrature.hidden_in(reports),
        }
    }
}
