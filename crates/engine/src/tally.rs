//! The state that the whole program is about: what each wheel counted, where each trim is, what was lost.
//!
//! No I/O and no clock: the same events give the same tally, from a board, a recording or a test.

mod mark;
mod shape;

use crate::invariants::invariant;
use arrayvec::ArrayVec;
use mark::{TrimMark, WheelMark};
use shape::Shape;
use std::time::Duration;
use tallywheel_accumulator::{Accumulator, Change, Curve, Place, Reading, TrimConfig};
use tallywheel_hid_reader::{Event, IndexMark};
use tallywheel_output::TrimReading;
use tallywheel_units::{
    Counts, Degrees, FixedCounts, Loss, LossKind, Margin, Normalized, Timestamp, WheelIndex,
};

/// The most trims one aircraft may have, so that a frame fits on the stack.
pub const TRIMS_MAX: usize = 16;

/// What one wheel of the rig has said so far.
#[derive(Debug, Clone, Copy, Default)]
pub struct WheelTally {
    /// Sum of all counts, forward positive.
    pub counts: Counts,
    /// Sum of all counts without direction.
    pub turned: Counts,
    /// How far [`Self::counts`] may be off since the start for good. Of all references only an index mark changes
    /// it, as it is the only one that puts counts right.
    pub margin: Margin,
    /// How far they may be off beyond that while it is being found out.
    pub doubt: Margin,
    marks: [WheelMark; 2],
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
    /// Where it is; [`Self::reading`] has its output too.
    pub accumulator: Accumulator,
    /// Counts that moved the trim.
    pub applied: FixedCounts,
    /// Counts that a stop refused.
    pub refused: FixedCounts,
    /// The wheel's counts that may yet turn out to be wrong.
    pub doubt: Doubt,
    shape: Option<Box<Shape>>,
    marks: [TrimMark; 2],
    /// [`Self::applied`] and [`Self::refused`] less the wheel's counts: the same from the trim's begin on that wheel.
    balance: FixedCounts,
}

/// What of a trim is being found out.
#[derive(Debug, Clone, Copy, Default)]
pub struct Doubt {
    now: Margin,
    /// The widest since there was none.
    widest: Margin,
    /// The trim moved otherwise meanwhile: a stop refused counts, or it was put elsewhere. What is put right later
    /// is then no longer what the trim is off by.
    stale: bool,
    /// What nobody can decide yet of a board that pulses, and how much of it a reference has settled.
    undecided: Margin,
    settled: Margin,
}

impl Doubt {
    /// What may be wrong now.
    fn margin(&self) -> Margin {
        let left = |all: Counts, settled: Counts| if all > settled { all - settled } else { Counts::ZERO };
        let Self { now, undecided, settled, .. } = *self;
        now + Margin::new(left(undecided.low(), settled.low()), left(undecided.high(), settled.high()))
    }
}

impl TrimTally {
    /// A trim on `wheel` that behaves as `config` says and is at `start`. `config` is the first of its `ratios`.
    /// Its output runs along `curve`, or straight; `smoothing` is how long a count may take to arrive.
    #[must_use]
    pub fn new(
        wheel: WheelIndex,
        config: TrimConfig,
        start: Place,
        curve: Option<Curve>,
        smoothing: Option<Duration>,
        ratios: Box<[TrimConfig]>,
    ) -> Self {
        let accumulator = Accumulator::new(config, start);
        let shape = Shape::new(&accumulator, curve, smoothing, ratios);
        Self {
            wheel,
            accumulator,
            applied: FixedCounts::ZERO,
            refused: FixedCounts::ZERO,
            doubt: Doubt::default(),
            shape,
            marks: [TrimMark::NONE; 2],
            balance: FixedCounts::ZERO,
        }
    }

    fn balance(&self, wheel: Counts) -> FixedCounts {
        self.applied + self.refused - FixedCounts::from_counts(wheel)
    }

    /// Where the trim is, with its output along its curve. What is published may still be on its way there.
    #[must_use]
    pub fn reading(&self) -> Reading {
        let reading = self.in_doubt(Accumulator::reading);
        match self.shape.as_ref().and_then(|shape| shape.curve()) {
            Some(curve) => reading.along(curve),
            None => reading,
        }
    }

    /// What `look` sees of the trim, what may yet turn out to be wrong included.
    #[inline]
    fn in_doubt(&self, look: impl FnOnce(&Accumulator) -> Reading) -> Reading {
        let doubt = self.doubt.margin();
        if doubt.is_certain() { look(&self.accumulator) } else { look(&self.accumulator.in_doubt(doubt)) }
    }

    fn count(&mut self, counts: Counts) {
        let applied = self.accumulator.count(counts);
        self.applied = self.applied + applied.moved;
        self.refused = self.refused + applied.refused;
        self.doubt.stale |= !self.doubt.now.is_certain() && applied.refused != FixedCounts::ZERO;
    }

    /// From here on an index mark does not tell where the trim is.
    fn part(&mut self) {
        self.marks.iter_mut().for_each(TrimMark::part);
    }

    fn mark(&mut self, mark: &IndexMark, left: Margin) {
        let missing = FixedCounts::from_counts(mark.correction);
        let applied = mark::of_trim(&mut self.marks, &mut self.accumulator, mark, left);
        let moved = applied.map_or(FixedCounts::ZERO, |applied| applied.moved);
        self.applied = self.applied + moved;
        self.refused = self.refused + (missing - moved);
    }

    fn doubt(&mut self, now: Margin) {
        let Doubt { widest, stale, undecided, settled, .. } = self.doubt;
        if !now.is_certain() {
            let widest = Margin::new(widest.low().max(now.low()), widest.high().max(now.high()));
            self.doubt = Doubt { now, widest, ..self.doubt };
            return;
        }
        self.doubt = Doubt { undecided, settled, ..Doubt::default() };
        if stale {
            self.accumulator.lose(widest);
        }
    }

    fn undecided(&mut self, undecided: Margin) {
        let Doubt { settled, .. } = self.doubt;
        let settled = Margin::new(settled.low().min(undecided.low()), settled.high().min(undecided.high()));
        self.doubt = Doubt { undecided, settled, ..self.doubt };
    }

    /// Puts the trim to a place that is certain; what is published goes there at once.
    pub fn align(&mut self, place: Place) -> Change {
        let change = self.accumulator.align(place);
        self.doubt.stale |= !self.doubt.now.is_certain();
        self.doubt.settled = self.doubt.undecided;
        self.part();
        self.jumped();
        change
    }

    /// Behaves as `config` says from now on, at the same degrees.
    pub fn reconfigure(&mut self, config: TrimConfig) -> Change {
        let change = self.accumulator.reconfigure(config);
        self.part();
        self.jumped();
        change
    }

    /// Changes to one of the trim's ratios; `None` where there is no such ratio.
    pub fn shift(&mut self, ratio: usize) -> Option<Change> {
        let config = match &mut self.shape {
            Some(shape) => *shape.shift(ratio)?,
            None if ratio == 0 => *self.accumulator.config(),
            None => return None,
        };
        Some(self.reconfigure(config))
    }

    /// The place of the ratio in force in the trim's list.
    #[must_use]
    pub fn ratio(&self) -> usize {
        self.shape.as_ref().map_or(0, |shape| shape.ratio())
    }

    /// Goes on with the ratio of `before`, if this trim has that too.
    pub fn keep_ratio(&mut self, before: &Self) {
        let same = self.shape.as_ref().and_then(|shape| shape.ratio_like(before.accumulator.config()));
        if let Some(ratio) = same {
            self.shift(ratio);
        }
    }

    /// The degrees at which the trim has this output: where a simulator is that reports it.
    #[must_use]
    pub fn degrees_at(&self, output: Normalized) -> Degrees {
        match self.shape.as_ref().and_then(|shape| shape.curve()) {
            Some(curve) => curve.degrees_at(output),
            None => self.accumulator.config().degrees_at(output),
        }
    }

    fn jumped(&mut self) {
        if let Some(shape) = &mut self.shape {
            shape.jump(&self.accumulator);
        }
    }
}

/// Everything that is counted.
#[derive(Debug, Clone)]
pub struct Tally {
    wheels: Vec<WheelTally>,
    reversed: Vec<bool>,
    trims: Vec<TrimTally>,
    /// What is published of each trim; only those that an event touched are worked out again.
    readings: ArrayVec<TrimReading, TRIMS_MAX>,
    losses: [u64; LossKind::ALL.len()],
    reports: u64,
    sequence: u64,
    /// Whether some trim's outputs take their time.
    smooth: bool,
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
    /// The wheel's index mark came where it had to, or for the first time; the margin may have shrunk.
    Agreed,
}

impl Tally {
    /// Of a rig whose wheel `n` counts backwards where `reversed[n]`, flying `trims`, at most [`TRIMS_MAX`].
    #[must_use]
    pub fn new(reversed: Vec<bool>, trims: Vec<TrimTally>) -> Self {
        let smooth = is_smooth(&trims);
        let readings = trims.iter().take(TRIMS_MAX).map(|trim| reading(trim, Counts::ZERO)).collect();
        Self {
            wheels: vec![WheelTally::default(); reversed.len()],
            reversed,
            trims,
            readings,
            losses: [0; LossKind::ALL.len()],
            reports: 0,
            sequence: 0,
            smooth,
        }
    }

    /// Takes note that a report came in.
    pub fn report(&mut self) {
        self.reports = self.reports.saturating_add(1);
    }

    /// Applies what a decoder said of a wheel to all trims on it.
    // Inlined, so that counts never become the large enum that a loss needs.
    #[inline]
    pub fn apply(&mut self, wheel: WheelIndex, event: Event) -> Effect {
        match event {
            Event::Counts(counts) => Effect::Counted(self.count(wheel, counts)),
            Event::Doubt(doubt) => Effect::Doubted(self.doubted(wheel, doubt)),
            Event::Undecided(doubt) => Effect::Doubted(self.undecided(wheel, doubt)),
            Event::Loss(loss) => Effect::Lost(self.lose(wheel, loss)),
            Event::Index(mark) => self.mark(wheel, mark),
        }
    }

    /// Counts with the rig's direction applied, as they are given back.
    fn count(&mut self, wheel: WheelIndex, counts: Counts) -> Counts {
        let counts = if self.begin(wheel) { -counts } else { counts };
        if let Some(tally) = self.wheels.get_mut(wheel.get()) {
            tally.counts += counts;
            tally.turned += counts.abs();
        }
        self.change(wheel, |trim| trim.count(counts));
        counts
    }

    #[cold]
    fn undecided(&mut self, wheel: WheelIndex, doubt: Margin) -> Margin {
        let doubt = if self.begin(wheel) { -doubt } else { doubt };
        if let Some(tally) = self.wheels.get_mut(wheel.get()) {
            tally.doubt = doubt;
        }
        self.change(wheel, |trim| trim.undecided(doubt));
        doubt
    }

    #[cold]
    fn doubted(&mut self, wheel: WheelIndex, doubt: Margin) -> Margin {
        let doubt = if self.begin(wheel) { -doubt } else { doubt };
        if let Some(tally) = self.wheels.get_mut(wheel.get()) {
            tally.doubt = doubt;
        }
        self.change(wheel, |trim| trim.doubt(doubt));
        doubt
    }

    #[cold]
    fn lose(&mut self, wheel: WheelIndex, mut loss: Loss) -> Loss {
        if self.begin(wheel) {
            loss.bound = -loss.bound;
        }
        if let Some(tally) = self.wheels.get_mut(wheel.get()) {
            tally.margin += loss.bound;
            tally.marks.iter_mut().for_each(|mark| mark.lose(loss.bound));
        }
        self.change(wheel, |trim| trim.accumulator.lose(loss.bound));
        self.lost(loss.kind);
        loss
    }

    fn lost(&mut self, kind: LossKind) {
        if let Some(n) = LossKind::ALL.iter().position(|k| *k == kind)
            && let Some(count) = self.losses.get_mut(n)
        {
            *count = count.saturating_add(1);
        }
    }

    /// Puts counts right that were lost, as far as an index mark tells.
    #[cold]
    fn mark(&mut self, wheel: WheelIndex, mut mark: IndexMark) -> Effect {
        if self.begin(wheel) {
            mark = mark.reversed();
        }
        let mut left = Margin::CERTAIN;
        if let Some(tally) = self.wheels.get_mut(wheel.get()) {
            tally.counts += mark.correction;
            (tally.margin, left) = mark::of_wheel(&mut tally.marks, &mark, tally.margin);
        }
        self.change(wheel, |trim| trim.mark(&mark, left));
        match mark.loss {
            None => Effect::Agreed,
            Some(loss) => {
                self.lost(loss.kind);
                Effect::Lost(loss)
            }
        }
    }

    /// Takes note of where the trims are on a wheel that has an index mark, after each of its reports.
    pub fn visit(&mut self, wheel: WheelIndex) {
        for trim in self.trims.iter_mut().filter(|trim| trim.wheel == wheel) {
            let position = trim.accumulator.reading().position;
            trim.marks.iter_mut().for_each(|mark| mark.visit(position));
        }
    }

    /// Numbers an event of a wheel; says whether the wheel counts backwards.
    #[inline]
    fn begin(&mut self, wheel: WheelIndex) -> bool {
        self.sequence = self.sequence.saturating_add(1);
        self.reversed.get(wheel.get()).copied().unwrap_or(false)
    }

    /// A wheel may have been turned by any amount without this tally being told.
    pub fn doubt(&mut self, wheel: WheelIndex) {
        self.sequence = self.sequence.saturating_add(1);
        if let Some(tally) = self.wheels.get_mut(wheel.get()) {
            tally.margin += Margin::UNKNOWN;
            tally.marks.iter_mut().for_each(|mark| mark.lose(Margin::UNKNOWN));
        }
        self.change(wheel, |trim| trim.accumulator.lose(Margin::UNKNOWN));
    }

    /// Sets a trim to where it is known to have been, before anything is counted.
    pub fn resume(&mut self, trim: usize, place: Place, margin: Margin) {
        if let (Some(trim), Some(published)) = (self.trims.get_mut(trim), self.readings.get_mut(trim)) {
            trim.align(place);
            trim.accumulator.lose(margin);
            *published = reading(trim, published.counts);
        }
    }

    /// Puts a trim to a place that is certain; `None` where there is no such trim.
    pub fn align(&mut self, trim: usize, place: Place) -> Option<Change> {
        let (trim, published) = (self.trims.get_mut(trim)?, self.readings.get_mut(trim)?);
        self.sequence = self.sequence.saturating_add(1);
        let change = trim.align(place);
        *published = reading(trim, published.counts);
        Some(change)
    }

    /// Changes a trim to one of its ratios, 0 being the first of the aircraft file. The trim stays at its degrees;
    /// from now on the wheel takes it as far as the ratio says. `None` where there is no such trim or ratio.
    pub fn ratio(&mut self, trim: usize, ratio: usize) -> Option<Change> {
        let (trim, published) = (self.trims.get_mut(trim)?, self.readings.get_mut(trim)?);
        let change = trim.shift(ratio)?;
        self.sequence = self.sequence.saturating_add(1);
        *published = reading(trim, published.counts);
        Some(change)
    }

    /// Lets what is published of smoothed trims go after them as far as it has come by `at`. Call it before
    /// [`Self::readings`] is looked at, and again by [`Self::deadline`].
    #[inline]
    pub fn glide(&mut self, at: Timestamp) {
        if self.smooth {
            self.glide_on(at);
        }
    }

    #[cold]
    fn glide_on(&mut self, at: Timestamp) {
        for (trim, published) in self.trims.iter_mut().zip(&mut self.readings) {
            if let Some(shape) = &mut trim.shape
                && shape.glide(at, &trim.accumulator)
            {
                // A frame must not be overtaken by an earlier one.
                self.sequence = self.sequence.saturating_add(1);
                *published = reading(trim, published.counts);
            }
        }
    }

    /// When [`Self::glide`] has something to do after `at` although nothing is counted.
    #[must_use]
    #[inline]
    pub fn deadline(&self, at: Timestamp) -> Option<Timestamp> {
        if self.smooth {
            self.trims.iter().filter_map(|trim| trim.shape.as_ref()?.deadline(at)).min()
        } else {
            None
        }
    }

    /// Flies `trims` instead from now on, at most [`TRIMS_MAX`], on a rig whose wheel `n` counts backwards where
    /// `reversed[n]`. Wheels go on counting; a wheel never loses its place, so the list only grows.
    ///
    /// `kept[n]` is the place of the trim before that goes on as trim `n`: it keeps its degrees, its margin and
    /// what was counted, and takes the new configuration. All others start as they are. Answers what that did
    /// to each trim that was kept.
    pub fn adopt(
        &mut self,
        mut trims: Vec<TrimTally>,
        kept: &[Option<usize>],
        reversed: Vec<bool>,
    ) -> Vec<Option<Change>> {
        self.sequence = self.sequence.saturating_add(1);
        let wheels = self.wheels.len().max(reversed.len());
        self.wheels.resize(wheels, WheelTally::default());
        self.reversed = reversed;
        let mut changes = Vec::with_capacity(trims.len());
        for (place, trim) in trims.iter_mut().enumerate() {
            let before = kept.get(place).copied().flatten().and_then(|before| self.trims.get(before));
            changes.push(before.map(|before| {
                trim.keep_ratio(before);
                let config = *trim.accumulator.config();
                trim.accumulator = before.accumulator;
                trim.applied = before.applied;
                trim.refused = before.refused;
                trim.doubt = before.doubt;
                trim.doubt.stale |= !trim.doubt.now.is_certain();
                trim.reconfigure(config)
            }));
        }
        for trim in &mut trims {
            let counts = self.wheel(trim.wheel).map_or(Counts::ZERO, |tally| tally.counts);
            trim.balance = trim.balance(counts);
        }
        self.smooth = is_smooth(&trims);
        self.trims = trims;
        let counts = |wheel: WheelIndex| self.wheel(wheel).map_or(Counts::ZERO, |tally| tally.counts);
        self.readings =
            self.trims.iter().take(TRIMS_MAX).map(|trim| reading(trim, counts(trim.wheel))).collect();
        changes
    }

    /// Checks what must be so after every event.
    pub(crate) fn check(&self) {
        for trim in &self.trims {
            let counts = self.wheel(trim.wheel).map_or(Counts::ZERO, |tally| tally.counts);
            invariant!(
                trim.balance(counts) == trim.balance,
                "counts are conserved: applied and past a stop are all"
            );
            let (position, travel) =
                (trim.accumulator.reading().position, trim.accumulator.config().travel_counts());
            invariant!((FixedCounts::ZERO..=travel).contains(&position), "the position is within the travel");
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

    /// The trims and, for each wheel, whether it counts backwards: what [`Self::adopt`] takes.
    #[must_use]
    pub fn into_parts(self) -> (Vec<TrimTally>, Vec<bool>) {
        (self.trims, self.reversed)
    }

    /// What would be published of a trim if it were at `place`.
    #[must_use]
    pub fn reading_at(&self, trim: usize, place: Place) -> Option<TrimReading> {
        let counts = self.readings.get(trim)?.counts;
        let mut trim = self.trims.get(trim)?.clone();
        trim.align(place);
        Some(reading(&trim, counts))
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

fn is_smooth(trims: &[TrimTally]) -> bool {
    trims.iter().any(|trim| trim.shape.as_ref().is_some_and(|shape| shape.is_smooth()))
}

// It is on every count's way, and a call of its own would take and give it through memory.
#[inline(always)]
fn reading(trim: &TrimTally, counts: Counts) -> TrimReading {
    // Most trims are nothing but a position that is certain.
    if trim.shape.is_none() && trim.doubt.margin().is_certain() {
        published(trim.accumulator.reading(), counts)
    } else {
        published(shaped_reading(trim), counts)
    }
}

#[cold]
#[inline(never)]
fn shaped_reading(trim: &TrimTally) -> Reading {
    trim.in_doubt(|accumulator| match &trim.shape {
        None => accumulator.reading(),
        Some(shape) => shape.reading(accumulator),
    })
}

#[inline]
fn published(reading: Reading, counts: Counts) -> TrimReading {
    let Reading { degrees, normalized, axis, margin, .. } = reading;
    TrimReading { degrees, normalized, axis, counts, margin }
}

#[cfg(test)]
mod tests;
