//! From reports to counts.

mod config;
mod index;
mod pulses;
mod quadrature;
mod repeats;
mod stall;
mod step;

pub use config::{ConfigError, WheelConfig};
pub use index::IndexMark;
pub use tallywheel_units::WheelInputs;

use crate::detect::{Watch, WheelFacts};
use crate::layout::Layout;
use index::{Index, Seen, Told};
use pulses::Pulses;
use quadrature::Quadrature;
use repeats::Repeats;
use stall::{Stall, StallDetector};
use std::time::Duration;
use step::Step;
use tallywheel_units::{Buttons, Certainty, Counts, Loss, LossKind, Margin, Timestamp};

/// What a report yields for one wheel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event {
    /// The wheel moved by so many counts, forward positive; never 0.
    Counts(Counts),
    /// Counts may be missing, for good.
    Loss(Loss),
    /// How far the wheel's counts so far may be off beyond its losses, as long as it is being found out. It
    /// takes the place of the wheel's last one and may shrink; nothing is in doubt before the first. What
    /// stays in doubt becomes a loss.
    Doubt(Margin),
    /// The wheel's index mark came on: the tally may have to be moved, and is certain but for whole turns since the
    /// last one of this direction.
    Index(IndexMark),
}

/// Decodes all wheels of one board. Nothing is allocated after [`Self::new`].
#[derive(Debug, Clone)]
pub struct BoardDecoder {
    layout: Layout,
    wheels: Box<[Wheel]>,
    /// The index marks, where wheels have one.
    marks: Box<[Marked]>,
    buttons: Buttons,
    /// The buttons that any report since the start or the last unplugging has told about.
    known: Buttons,
    /// The lines of the wheels whose decoders want every sample, unchanged ones too.
    sampled: u128,
    stall: StallDetector,
    /// When some wheel's watch has something to look at although no line changes, in nanoseconds.
    deadline: u64,
    /// Reports are missing just before the next one.
    hole: bool,
    /// Lines that changed since the last [`Self::settle`].
    changed: u128,
    /// When the board was opened, as far as it was said.
    opened: Option<Timestamp>,
    /// Whether reports repeat, where a wheel arrives raw.
    repeats: Option<Box<Repeats>>,
}

/// A board that reports steadily has sent its first report by then: the longest interval is 255 ms (USB 2.0,
/// full and low speed).
const STEADY_BOARDS_HAVE_REPORTED: Duration = Duration::from_millis(300);

#[derive(Debug, Clone)]
struct Wheel {
    lines: u128,
    first: u128,
    second: u128,
    inverted: bool,
    config: WheelConfig,
    decoding: Decoding,
    watch: Watch,
    /// Counts that the watch has not been shown yet.
    counted: Counts,
}

/// The index mark of the wheel at this place.
#[derive(Debug, Clone)]
struct Marked {
    wheel: usize,
    index: Index,
}

#[derive(Debug, Clone)]
enum Decoding {
    Pulses(Pulses),
    // Boxed, so that a board of pulse wheels does not carry it through its cache.
    Quadrature(Box<Quadrature>),
}

impl BoardDecoder {
    /// A decoder that has seen no report yet. `report_interval` is the time between two reports of a board
    /// that sends them steadily, or the shortest between two of one that sends only changes. A stalled reader
    /// is noticed by it; without it, it is learned from a steady board's reports, and the bound of a stall
    /// with another board is wide.
    ///
    /// # Errors
    /// A wheel uses a button that `layout` does not have, or that is in use already.
    pub fn new(
        layout: Layout,
        wheels: &[WheelConfig],
        report_interval: Option<Duration>,
    ) -> Result<Self, ConfigError> {
        let lines = wheels.iter().enumerate();
        let lines: Vec<_> =
            lines.flat_map(|(wheel, config)| config.buttons().map(move |line| (wheel, line))).collect();
        for (place, &(wheel, button)) in lines.iter().enumerate() {
            if !layout.buttons().pressed(button) {
                return Err(ConfigError::NoSuchButton { wheel, button });
            }
            if let Some(&(first, _)) = lines.iter().take(place).find(|(_, other)| *other == button) {
                return Err(ConfigError::ButtonTwice { button, first, second: wheel });
            }
        }
        let wheels: Box<[Wheel]> = wheels.iter().map(|wheel| Wheel::new(wheel, report_interval)).collect();
        let marks = wheels.iter().enumerate().filter_map(|(wheel, with)| {
            let index = Index::new(with.config.index?.mask());
            Some(Marked { wheel, index })
        });
        let marks = marks.collect();
        let sampled = wheels.iter().filter(|wheel| wheel.decoding.every_sample());
        let sampled = sampled.fold(0, |lines, wheel| lines | wheel.lines);
        let stall = StallDetector::new(report_interval);
        Ok(Self {
            layout,
            wheels,
            marks,
            buttons: Buttons::NONE,
            known: Buttons::NONE,
            sampled,
            stall,
            deadline: u64::MAX,
            hole: false,
            changed: 0,
            opened: None,
            repeats: (sampled != 0).then(Box::default),
        })
    }

    /// Tells what is known about a wheel beside its buttons, before its first report. A place where there is
    /// no wheel is passed over.
    pub fn know(&mut self, wheel: usize, facts: &WheelFacts) {
        if let Some(wheel) = self.wheels.get_mut(wheel) {
            wheel.watch.know(facts);
            if let (Decoding::Quadrature(quadrature), Some(per_turn)) =
                (&mut wheel.decoding, facts.counts_per_turn)
            {
                quadrature.know(per_turn);
            }
        }
        for mark in self.marks.iter_mut().filter(|mark| mark.wheel == wheel) {
            mark.index.know(facts.counts_per_turn);
        }
    }

    /// Somebody knows that a wheel turned by `turned` counts since the last call or the start: a user after
    /// one turn between two marks, an index mark, a simulator. Only so can exchanged lines and some wrong
    /// counts per cycle be told; the loss is measured then, its bound exact.
    pub fn confirm(
        &mut self,
        wheel: usize,
        at: Timestamp,
        turned: Counts,
        sink: &mut impl FnMut(usize, Event),
    ) {
        if let Some(confirmed) = self.wheels.get_mut(wheel) {
            confirmed.watch.confirm(at, turned, &mut |loss| sink(wheel, Event::Loss(loss)));
        }
    }

    /// Goes on where `before` stands, a decoder of the same board until now: the lines are as it knows them, so
    /// nothing that changes from here on is missed or counted twice. A wheel wired as before keeps all that was found
    /// out about it; what is known from elsewhere ([`Self::know`]) has to be told again. With another layout nothing is known before the next report.
    pub fn take_over(&mut self, before: &Self) {
        if self.layout != before.layout {
            return;
        }
        self.buttons = before.buttons;
        self.known = before.known;
        self.hole = before.hole;
        self.opened = before.opened;
        let (buttons, unknown) = (self.buttons.bits(), !self.known.bits());
        for wheel in &mut self.wheels {
            if let Some(same) = before.wheels.iter().find(|same| same.config == wheel.config) {
                wheel.clone_from(same);
            } else if unknown & wheel.lines == 0 {
                // Where the lines stand is no news: it was counted when it became so.
                let levels = wheel.levels(buttons);
                wheel.step(Timestamp::START, levels);
            }
        }
        for mark in &mut self.marks {
            let config = self.wheels.get(mark.wheel).map(|wheel| wheel.config);
            let same = |same: &&Marked| before.wheels.get(same.wheel).map(|wheel| wheel.config) == config;
            if let Some(same) = before.marks.iter().find(same) {
                mark.index.clone_from(&same.index);
            }
        }
        self.set_deadline();
    }

    /// The board was opened at `at`. A first report that comes long after was not sent by a board that reports
    /// steadily, but because something changed: it may hide one edge of a wheel whose lines arrive raw.
    pub fn opened(&mut self, at: Timestamp) {
        self.opened = Some(at);
    }

    /// Takes one report, read at `at`. `sink` gets the wheel's place in the list and what the report yields
    /// for it, in the order of the list, counts before losses; nothing when nothing changed.
    ///
    /// The first report after the start or an unplugging tells where the lines stand. A pulse in it is counted,
    /// as the kernel counts it, with the doubt that it may have begun before. A report that cannot be read
    /// leaves the state as it is and is a [`LossKind::BadReport`] for every wheel that it may have been about.
    pub fn report(&mut self, at: Timestamp, report: &[u8], sink: &mut impl FnMut(usize, Event)) {
        self.count(at, report, sink);
        self.settle(at, sink);
    }

    /// The first half of [`Self::report`], for callers whose outputs wait for it: counts, and losses that the
    /// report itself shows. [`Self::settle`] has to follow before the next report.
    pub fn count(&mut self, at: Timestamp, report: &[u8], sink: &mut impl FnMut(usize, Event)) {
        let before = self.buttons;
        let repeated = self.repeats.as_mut().is_some_and(|repeats| repeats.is_one(report));
        match self.layout.read(report, &mut self.buttons) {
            Ok(told) => self.decode(at, before, told, repeated, sink),
            Err(_) => {
                // It hid one count or edge at most from each wheel that it was about.
                let bound = Margin::both(Counts::ONE);
                self.marks.iter_mut().for_each(|mark| mark.index.interrupt());
                self.lose(at, LossKind::BadReport, 1, bound, self.layout.missed(report), sink);
            }
        }
    }

    /// The second half of [`Self::report`], for the same report: losses that follow from when reports come.
    pub fn settle(&mut self, at: Timestamp, sink: &mut impl FnMut(usize, Event)) {
        let stall = self.stall.report(at);
        // After the reports that the kernel kept comes the hole, and then one that says how things stand.
        let behind =
            std::mem::replace(&mut self.hole, stall.is_some()) || stall.is_some() || self.stall.catching_up();
        if behind {
            self.blur();
        }
        if self.changed != 0 {
            if !self.marks.is_empty() {
                self.look_at_marks(at, behind, sink);
            }
            self.watch(at, sink);
        }
        if behind {
            self.blur();
        } else if at.nanos() >= self.deadline {
            self.due(at, sink);
        }
        if let Some(stall) = stall {
            self.stalled(at, stall, sink);
        }
    }

    /// Shows the watches what the report changed.
    fn watch(&mut self, at: Timestamp, sink: &mut impl FnMut(usize, Event)) {
        let changed = std::mem::take(&mut self.changed);
        let unknown = !self.known.bits();
        let interval = self.stall.interval();
        let mut pulsed = false;
        for (place, wheel) in self.wheels.iter_mut().enumerate() {
            if changed & wheel.lines == 0 || unknown & wheel.lines != 0 {
                continue;
            }
            let counts = std::mem::take(&mut wheel.counted);
            if !counts.is_zero() {
                wheel.watch.counts(at, counts, &mut |loss| sink(place, Event::Loss(loss)));
            }
            let lines = wheel.levels(self.buttons.bits());
            wheel.watch.lines(at, lines, interval, &mut |loss| sink(place, Event::Loss(loss)));
            pulsed |= matches!(wheel.decoding, Decoding::Pulses(_));
        }
        if pulsed {
            self.set_deadline();
        }
    }

    /// Shows the index marks what the report changed, before the watches take the counts.
    #[cold]
    fn look_at_marks(&mut self, at: Timestamp, behind: bool, sink: &mut impl FnMut(usize, Event)) {
        for mark in &mut self.marks {
            let place = mark.wheel;
            let Some(wheel) = self.wheels.get_mut(place) else { continue };
            let counts = std::mem::take(&mut wheel.counted);
            let live = !behind
                && match &wheel.decoding {
                    Decoding::Pulses(_) => wheel.watch.in_time(at),
                    Decoding::Quadrature(quadrature) => quadrature.is_calm(),
                };
            let button = mark.index.button();
            let on = (self.known.bits() & button != 0).then_some(self.buttons.bits() & button != 0);
            let told = mark.index.report(Seen { at, counts, on, live });
            if !counts.is_zero() {
                wheel.watch.counts(at, counts, &mut |loss| sink(place, Event::Loss(loss)));
            }
            match told {
                None => {}
                Some(Told::Mark(told)) => sink(place, Event::Index(told)),
                Some(Told::Loss(loss)) => sink(place, Event::Loss(loss)),
            }
        }
    }

    /// What was timed by this report or since the last is not true.
    #[cold]
    fn blur(&mut self) {
        self.wheels.iter_mut().for_each(|wheel| wheel.watch.blur());
        self.set_deadline();
    }

    #[cold]
    fn due(&mut self, at: Timestamp, sink: &mut impl FnMut(usize, Event)) {
        for (place, wheel) in self.wheels.iter_mut().enumerate() {
            if at.nanos() >= wheel.watch.deadline() {
                wheel.watch.due(at, &mut |loss| sink(place, Event::Loss(loss)));
            }
        }
        self.set_deadline();
    }

    fn set_deadline(&mut self) {
        self.deadline = self.wheels.iter().map(|wheel| wheel.watch.deadline()).min().unwrap_or(u64::MAX);
    }

    #[inline]
    fn decode(
        &mut self,
        at: Timestamp,
        before: Buttons,
        told: Buttons,
        repeated: bool,
        sink: &mut impl FnMut(usize, Event),
    ) {
        let (told, known) = (told.bits(), self.known.bits());
        let changed = (before.bits() ^ self.buttons.bits()) | (told & !known);
        let news = changed | (told & self.sampled);
        if news == 0 {
            return;
        }
        self.known = Buttons::from_bits(known | told);
        self.changed |= changed;
        let unknown = !(known | told);
        for (place, wheel) in self.wheels.iter_mut().enumerate() {
            if news & wheel.lines == 0 || unknown & wheel.lines != 0 {
                continue;
            }
            let levels = wheel.levels(self.buttons.bits());
            // Nearly every report is through here.
            let plain = match &mut wheel.decoding {
                Decoding::Pulses(pulses) => pulses.plain(levels.0, levels.1),
                Decoding::Quadrature(quadrature) => quadrature.plain(at, levels.0, levels.1, repeated),
            };
            if let Some(counts) = plain {
                if !counts.is_zero() {
                    wheel.counted += counts;
                    sink(place, Event::Counts(counts));
                }
                continue;
            }
            if let Decoding::Quadrature(quadrature) = &mut wheel.decoding {
                quadrature.repeated(repeated);
            }
            let opened = (told & !known & wheel.lines != 0).then_some(self.opened).flatten();
            wheel.sample(place, at, levels, opened, sink);
        }
    }

    /// The kernel dropped reports. Each wheel has its own bound.
    fn stalled(&mut self, at: Timestamp, stall: Stall, sink: &mut impl FnMut(usize, Event)) {
        let Stall { lasted, reports, gone } = stall;
        let kind = LossKind::ReaderStalled;
        for (place, wheel) in self.wheels.iter_mut().enumerate() {
            let bound = Margin::both(wheel.decoding.hidden_in(gone));
            let loss = Loss { kind, certainty: Certainty::Inferred, at, lasted, reports, bound };
            sink(place, Event::Loss(loss));
            if let Decoding::Quadrature(quadrature) = &mut wheel.decoding {
                let step = quadrature.interrupt(at);
                wheel.tell(place, step, sink);
            }
        }
    }

    /// When [`Self::rest`] is to be called if no report comes before: the silence of a board that reports
    /// changes only tells that a wheel has come to rest, and so how it came there. `None` while nothing is
    /// open, which is always so when the wheels have rested for a while, and wherever boards decode by
    /// themselves.
    #[must_use]
    #[inline]
    pub fn deadline(&self) -> Option<Timestamp> {
        if self.sampled == 0 {
            return None;
        }
        self.wheels.iter().filter_map(|wheel| wheel.quadrature()?.due()).min()
    }

    /// It is `at`, and no report has come since the last one.
    pub fn rest(&mut self, at: Timestamp, sink: &mut impl FnMut(usize, Event)) {
        for (place, wheel) in self.wheels.iter_mut().enumerate() {
            if let Decoding::Quadrature(quadrature) = &mut wheel.decoding
                && quadrature.due().is_some_and(|due| due <= at)
            {
                let step = quadrature.rest(at);
                wheel.tell(place, step, sink);
            }
        }
    }

    /// The board is gone: the state of the lines is forgotten, and each wheel may have been turned by any
    /// amount until it is back.
    pub fn unplugged(&mut self, at: Timestamp, sink: &mut impl FnMut(usize, Event)) {
        self.buttons = Buttons::NONE;
        self.known = Buttons::NONE;
        for (place, wheel) in self.wheels.iter_mut().enumerate() {
            if wheel.forget() {
                sink(place, Event::Doubt(Margin::CERTAIN));
            }
        }
        self.marks.iter_mut().for_each(|mark| mark.index.forget());
        self.stall.forget();
        self.deadline = u64::MAX;
        self.changed = 0;
        self.opened = None;
        self.lose(at, LossKind::BoardGone, 0, Margin::UNKNOWN, self.layout.buttons(), sink);
    }

    /// The buttons as last reported; those not reported yet count as released.
    #[must_use]
    pub fn buttons(&self) -> Buttons {
        self.buttons
    }

    /// Every wheel with a line among `buttons` has the same loss.
    fn lose(
        &self,
        at: Timestamp,
        kind: LossKind,
        reports: u32,
        bound: Margin,
        buttons: Buttons,
        sink: &mut impl FnMut(usize, Event),
    ) {
        let certainty = Certainty::Observed;
        let loss = Loss { kind, certainty, at, lasted: Duration::ZERO, reports, bound };
        for (place, wheel) in self.wheels.iter().enumerate() {
            if buttons.bits() & wheel.lines != 0 {
                sink(place, Event::Loss(loss));
            }
        }
    }
}

/// The first report of a wheel leaves open what was before it.
#[cold]
fn unseen_start(at: Timestamp, bound: Margin) -> Loss {
    let (kind, certainty) = (LossKind::UnseenStart, Certainty::Inferred);
    Loss { kind, certainty, at, lasted: Duration::ZERO, reports: 1, bound }
}

impl Wheel {
    fn new(config: &WheelConfig, interval: Option<Duration>) -> Self {
        let [first, second] = config.inputs.buttons().map(|line| line.mask());
        let decoding = match config.inputs {
            WheelInputs::Pulses { .. } => Decoding::Pulses(Pulses::default()),
            WheelInputs::Quadrature { per_cycle, .. } => {
                Decoding::Quadrature(Box::new(Quadrature::new(per_cycle, interval)))
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
            inverted: config.inverted,
            config: *config,
            decoding,
            watch,
            counted: Counts::ZERO,
        }
    }

    #[inline]
    fn levels(&self, buttons: u128) -> (bool, bool) {
        ((buttons & self.first != 0) != self.inverted, (buttons & self.second != 0) != self.inverted)
    }

    fn step(&mut self, at: Timestamp, (first, second): (bool, bool)) -> Step {
        match &mut self.decoding {
            Decoding::Pulses(pulses) => pulses.step(at, first, second),
            Decoding::Quadrature(quadrature) => quadrature.step(at, first, second),
        }
    }

    /// Whether the wheel's first report, read at `at`, may have come because of an edge that nobody counts.
    fn hides_an_edge(&self, opened: Timestamp, at: Timestamp) -> bool {
        let late = at.since(opened) > STEADY_BOARDS_HAVE_REPORTED;
        late && matches!(self.decoding, Decoding::Quadrature(_))
    }

    fn quadrature(&self) -> Option<&Quadrature> {
        match &self.decoding {
            Decoding::Pulses(_) => None,
            Decoding::Quadrature(quadrature) => Some(quadrature),
        }
    }

    /// Takes a sample with all that may come of it. `opened` is when the board was, if this is the wheel's first.
    #[inline(never)]
    fn sample(
        &mut self,
        place: usize,
        at: Timestamp,
        levels: (bool, bool),
        opened: Option<Timestamp>,
        sink: &mut impl FnMut(usize, Event),
    ) {
        let mut step = self.step(at, levels);
        let stuck = self.watch.stuck();
        step.loss = step.loss.filter(|loss| !(loss.kind == LossKind::PulsesOverlap && stuck));
        self.tell(place, step, sink);
        if opened.is_some_and(|opened| self.hides_an_edge(opened, at)) {
            let bound = Margin::both(Counts::ONE);
            sink(place, Event::Loss(unseen_start(at, bound)));
        }
    }

    /// Tells what came of a sample, or of something that was no report.
    fn tell(&mut self, place: usize, step: Step, sink: &mut impl FnMut(usize, Event)) {
        if !step.counts.is_zero() {
            self.counted += step.counts;
            sink(place, Event::Counts(step.counts));
        }
        if let Some(loss) = step.loss {
            sink(place, Event::Loss(loss));
        }
        if let Some(doubt) = step.doubt {
            sink(place, Event::Doubt(doubt));
        }
    }

    /// Whether something was in doubt.
    fn forget(&mut self) -> bool {
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
    fn every_sample(&self) -> bool {
        match self {
            Self::Pulses(_) => Pulses::EVERY_SAMPLE,
            Self::Quadrature(_) => Quadrature::EVERY_SAMPLE,
        }
    }

    /// How many counts the tally may be off at most after so many reports in a row are gone.
    fn hidden_in(&self, reports: u64) -> Counts {
        match self {
            Self::Pulses(pulses) => pulses.hidden_in(reports),
            Self::Quadrature(quadrature) => quadrature.hidden_in(reports),
        }
    }
}

#[cfg(test)]
mod tests;
