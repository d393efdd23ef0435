//! The state that the whole program is about: what each wheel counted, where each trim is, what was lost.
//!
//! No I/O and no clock: the same events give the same tally, from a board, a recording or a test.

use arrayvec::ArrayVec;
use tallywheel_accumulator::{Accumulator, Place, Reading};
use tallywheel_hid_reader::Event;
use tallywheel_output::TrimReading;
use tallywheel_units::{Counts, FixedCounts, Loss, LossKind, Margin, WheelIndex};

/// The most trims one aircraft may have, so that a frame fits on the stack.
pub const TRIMS_MAX: usize = 16;

/// What one wheel of the rig has said so far.
#[derive(Debug, Clone, Copy, Default)]
pub struct WheelTally {
    /// Sum of all counts, forward positive.
    pub counts: Counts,
    /// Sum of all counts without direction.
    pub turned: Counts,
    /// How far [`Self::counts`] may be off since the start for good; references do not change it.
    pub margin: Margin,
    /// How far they may be off beyond that while it is being found out.
    pub doubt: Margin,
}

impl WheelTally {
    /// How far [`Self::counts`] may be off, all in all.
    #[must_use]
    pub fn stated(&self) -> Margin {
        self.margin + self.doubt
    }
}

/// One trim of the aircraft.
#[derive(Debug, Clone)]
pub struct TrimTally {
    /// The wheel that moves it.
    pub wheel: WheelIndex,
    /// Where it is.
    pub accumulator: Accumulator,
    /// Counts that moved the trim.
    pub applied: FixedCounts,
    /// Counts that a stop refused.
    pub refused: FixedCounts,
    /// The wheel's counts that may yet turn out to be wrong.
    pub doubt: Doubt,
}

/// What of a trim is being found out.
#[derive(Debug, Clone, Copy, Default)]
pub struct Doubt {
    now: Margin,
    /// The widest since there was none.
    widest: Margin,
    /// A stop refused counts meanwhile. What is put right later is then no longer what the trim is off by.
    at_stop: bool,
}

impl TrimTally {
    /// Where the trim is, and how surely.
    #[must_use]
    #[inline]
    pub fn reading(&self) -> Reading {
        self.accumulator.reading_in_doubt(self.doubt.now)
    }

    fn count(&mut self, counts: Counts) {
        let applied = self.accumulator.count(counts);
        self.applied = self.applied + applied.moved;
        self.refused = self.refused + applied.refused;
        self.doubt.at_stop |= !self.doubt.now.is_certain() && applied.refused != FixedCounts::ZERO;
    }

    fn doubt(&mut self, now: Margin) {
        let Doubt { widest, at_stop, .. } = self.doubt;
        if !now.is_certain() {
            let widest = Margin::new(widest.low().max(now.low()), widest.high().max(now.high()));
            self.doubt = Doubt { now, widest, at_stop };
            return;
        }
        self.doubt = Doubt::default();
        if at_stop {
            self.accumulator.lose(widest);
        }
    }
}

/// Everything that is counted.
#[derive(Debug)]
pub struct Tally {
    wheels: Vec<WheelTally>,
    reversed: Vec<bool>,
    trims: Vec<TrimTally>,
    /// What is published of each trim; only those that an event touched are worked out again.
    readings: ArrayVec<TrimReading, TRIMS_MAX>,
    losses: [u64; LossKind::ALL.len()],
    reports: u64,
    sequence: u64,
}

/// What an event did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effect {
    /// A wheel moved by so many counts, the rig's direction applied.
    Counted(Counts),
    /// Counts may be missing; the bound has the rig's direction applied.
    Lost(Loss),
    /// So many of the counts so far may yet turn out to be wrong; the rig's direction applied.
    Doubted(Margin),
}

impl Tally {
    /// Of a rig whose wheel `n` counts backwards where `reversed[n]`, flying `trims`, at most [`TRIMS_MAX`].
    #[must_use]
    pub fn new(reversed: Vec<bool>, trims: Vec<TrimTally>) -> Self {
        let readings = trims.iter().take(TRIMS_MAX).map(|trim| reading(trim, Counts::ZERO)).collect();
        Self {
            wheels: vec![WheelTally::default(); reversed.len()],
            reversed,
            trims,
            readings,
            losses: [0; LossKind::ALL.len()],
            reports: 0,
            sequence: 0,
        }
    }

    /// Takes note that a report came in.
    pub fn report(&mut self) {
        self.reports = self.reports.saturating_add(1);
    }

    /// Applies what a decoder said of a wheel to all trims on it.
    pub fn apply(&mut self, wheel: WheelIndex, event: Event) -> Effect {
        let reversed = self.reversed.get(wheel.get()).copied().unwrap_or(false);
        self.sequence = self.sequence.saturating_add(1);
        match event {
            Event::Counts(counts) => {
                let counts = if reversed { -counts } else { counts };
                if let Some(tally) = self.wheels.get_mut(wheel.get()) {
                    tally.counts += counts;
                    tally.turned += counts.abs();
                }
                self.change(wheel, |trim| trim.count(counts));
                Effect::Counted(counts)
            }
            Event::Doubt(doubt) => {
                let doubt = if reversed { -doubt } else { doubt };
                if let Some(tally) = self.wheels.get_mut(wheel.get()) {
                    tally.doubt = doubt;
                }
                self.change(wheel, |trim| trim.doubt(doubt));
                Effect::Doubted(doubt)
            }
            Event::Loss(mut loss) => {
                if reversed {
                    loss.bound = -loss.bound;
                }
                if let Some(tally) = self.wheels.get_mut(wheel.get()) {
                    tally.margin += loss.bound;
                }
                self.change(wheel, |trim| trim.accumulator.lose(loss.bound));
                if let Some(n) = LossKind::ALL.iter().position(|k| *k == loss.kind)
                    && let Some(count) = self.losses.get_mut(n)
                {
                    *count = count.saturating_add(1);
                }
                Effect::Lost(loss)
            }
        }
    }

    /// A wheel may have been turned by any amount without this tally being told.
    pub fn doubt(&mut self, wheel: WheelIndex) {
        self.sequence = self.sequence.saturating_add(1);
        if let Some(tally) = self.wheels.get_mut(wheel.get()) {
            tally.margin += Margin::UNKNOWN;
        }
        self.change(wheel, |trim| trim.accumulator.lose(Margin::UNKNOWN));
    }

    /// Sets a trim to where it is known to have been, before anything is counted.
    pub fn resume(&mut self, trim: usize, place: Place, margin: Margin) {
        if let (Some(trim), Some(published)) = (self.trims.get_mut(trim), self.readings.get_mut(trim)) {
            trim.accumulator.align(place);
            trim.accumulator.lose(margin);
            *published = reading(trim, published.counts);
        }
    }

    /// Rises with every event that was applied; equal numbers mean an equal tally.
    #[must_use]
    pub const fn sequence(&self) -> u64 {
        self.sequence
    }

    /// Reports seen.
    #[must_use]
    pub const fn reports(&self) -> u64 {
        self.reports
    }

    /// One wheel's tally.
    #[must_use]
    pub fn wheel(&self, wheel: WheelIndex) -> Option<&WheelTally> {
        self.wheels.get(wheel.get())
    }

    /// The trims, in the order of the aircraft file.
    #[must_use]
    pub fn trims(&self) -> &[TrimTally] {
        &self.trims
    }

    /// Losses so far by kind, each kind once, in the order of [`LossKind::ALL`].
    pub fn losses(&self) -> impl Iterator<Item = (LossKind, u64)> + '_ {
        LossKind::ALL.into_iter().zip(self.losses.iter().copied())
    }

    /// What the outputs publish, in the order of the trims.
    #[must_use]
    pub fn readings(&self) -> &[TrimReading] {
        &self.readings
    }

    fn change(&mut self, wheel: WheelIndex, change: impl Fn(&mut TrimTally)) {
        let counts = self.wheel(wheel).map_or(Counts::ZERO, |tally| tally.counts);
        for (trim, published) in self.trims.iter_mut().zip(&mut self.readings) {
            if trim.wheel == wheel {
                change(trim);
                *published = reading(trim, counts);
            }
        }
    }
}

fn reading(trim: &TrimTally, counts: Counts) -> TrimReading {
    let Reading { degrees, normalized, axis, margin, .. } = trim.reading();
    TrimReading { degrees, normalized, axis, counts, margin }
}
