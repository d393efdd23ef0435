//! From reports to counts.

mod calm;
mod config;
mod index;
mod pulses;
mod quadrature;
mod repeats;
mod stall;
mod step;
mod wheel;

pub use config::{ConfigError, WheelConfig};
pub use index::IndexMark;
pub use tallywheel_units::WheelInputs;

use crate::diagnostics::WheelFacts;
use crate::layout::Layout;
use crate::timing::{Sample, SampleClock};
use calm::Calm;
use index::{Index, Seen, Told};
use repeats::Repeats;
use stall::{Stall, StallDetector};
use std::time::Duration;
use tallywheel_units::{Buttons, Certainty, Counts, Loss, LossKind, Margin, Timestamp};
use wheel::{Decoding, Wheel};

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
    /// How far the wheel's counts so far may be off beyond its losses, as long as nobody knows what its board can give
    /// out. It takes the place of the wheel's last one. No counts come with it: what a reference settles is settled.
    Undecided(Margin),
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
    /// Where a wheel arrives raw.
    raw: Option<Box<Raw>>,
}

/// What a board needs beside its wheels when some arrive raw.
#[derive(Debug, Clone)]
struct Raw {
    /// When reports were sampled.
    clock: SampleClock,
    /// That the board has another interval than the rig file says was told.
    interval_told: bool,
    /// Whether reports repeat.
    repeats: Repeats,
    calm: Calm,
}

/// The index mark of the wheel at this place.
#[derive(Debug, Clone)]
struct Marked {
    wheel: usize,
    index: Index,
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
        let wheels: Box<[Wheel]> = wheels.iter().map(Wheel::new).collect();
        let marks = wheels.iter().enumerate().filter_map(|(wheel, with)| {
            let index = Index::new(with.config.index?.mask());
            Some(Marked { wheel, index })
        });
        let marks = marks.collect();
        let sampled = wheels.iter().filter(|wheel| wheel.decoding.every_sample());
        let sampled = sampled.fold(0, |lines, wheel| lines | wheel.lines);
        let stall = StallDetector::new(report_interval);
        let raw = || {
            let clock = SampleClock::new(report_interval);
            Box::new(Raw {
                clock,
                interval_told: false,
                repeats: Repeats::default(),
                calm: Calm::new(&wheels, sampled),
            })
        };
        let raw = (sampled != 0).then(raw);
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
            raw,
        })
    }

    /// Tells what is known about a wheel beside its buttons, before its first report. A place where there is
    /// no wheel is passed over.
    pub fn know(&mut self, wheel: usize, facts: &WheelFacts) {
        self.part();
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
        if let (Some(raw), Some(before)) = (&mut self.raw, &before.raw) {
            raw.clock.take_over(&before.clock);
        }
        let standing = self.raw.as_ref().map(|raw| raw.clock.standing());
        let clock = self.raw.as_ref().map(|raw| &raw.clock);
        let timing = clock.zip(standing.as_ref());
        for wheel in &mut self.wheels {
            if let Some(same) = before.wheels.iter().find(|same| same.config == wheel.config) {
                wheel.clone_from(same);
                if let Some(raw) = &before.raw {
                    raw.calm.part_copy(wheel);
                }
            } else if unknown & wheel.lines == 0 {
                // Where the lines stand is no news: it was counted when it became so.
                let levels = wheel.levels(buttons);
                wheel.step(Timestamp::START, timing, levels);
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
    /// for it, of each wheel counts before losses and the wheels in any order; nothing when nothing changed.
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
        match self.layout.read(report, &mut self.buttons) {
            Ok(told) => self.decode(at, report, before, told, sink),
            Err(_) => {
                if let Some(raw) = &mut self.raw {
                    raw.repeats.is_one(report);
                }
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
            if matches!(wheel.decoding, Decoding::Pulses(_)) {
                pulsed = true;
                wheel.tell_pending(place, sink);
            }
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
                wheel.tell_pending(place, sink);
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
        report: &[u8],
        before: Buttons,
        told: Buttons,
        sink: &mut impl FnMut(usize, Event),
    ) {
        let (told, known) = (told.bits(), self.known.bits());
        let mut changed = before.bits() ^ self.buttons.bits();
        let mut news = told & self.sampled;
        let mut sample = None;
        if let Some(raw) = &mut self.raw {
            if raw.calm.takes(told)
                && let Some(live) = raw.clock.live(at)
            {
                // Nearly every report is through here.
                let through = raw.calm.take(&live, changed, &mut self.wheels, sink);
                self.changed |= changed;
                (news, changed) = (news & !through, changed & !through);
                if news | changed == 0 {
                    return;
                }
                raw.repeats.forget();
                sample = Some(live);
            } else {
                if raw.calm.is_together() && news != 0 {
                    raw.calm.part(&mut self.wheels);
                }
                let repeated = raw.repeats.is_one(report);
                sample = Some(raw.clock.report(at, repeated));
            }
        }
        let first = told & !known;
        self.known = Buttons::from_bits(known | told);
        self.changed |= changed | first;
        news |= changed | first;
        if news != 0 {
            self.decode_each(at, sample.as_ref(), told, news, first, sink);
        }
        self.tell_interval(at, sink);
    }

    /// Takes a report for each wheel by itself that has a line in `news`. Lines in `first` were never told of before.
    fn decode_each(
        &mut self,
        at: Timestamp,
        sample: Option<&Sample>,
        told: u128,
        news: u128,
        first: u128,
        sink: &mut impl FnMut(usize, Event),
    ) {
        let unknown = !self.known.bits();
        let timing = self.raw.as_ref().map(|raw| &raw.clock).zip(sample);
        let mut plain_lines = 0;
        for (place, wheel) in self.wheels.iter_mut().enumerate() {
            if news & wheel.lines == 0 || unknown & wheel.lines != 0 {
                continue;
            }
            let levels = wheel.levels(self.buttons.bits());
            let plain = match &mut wheel.decoding {
                Decoding::Pulses(pulses) => pulses.plain(levels.0, levels.1),
                Decoding::Quadrature(quadrature) => {
                    timing.and_then(|(clock, sample)| quadrature.plain(clock, sample, levels.0, levels.1))
                }
            };
            if let Some(counts) = plain {
                plain_lines |= wheel.lines;
                wheel.counts(place, counts, sink);
                continue;
            }
            let opened = (first & wheel.lines != 0).then_some(self.opened).flatten();
            wheel.sample(place, at, timing, levels, opened, sink);
        }
        if news & self.sampled == 0 {
            return;
        }
        if let (Some(raw), Some(sample)) = (&mut self.raw, sample) {
            if plain_lines & self.sampled == self.sampled {
                raw.calm.ordinary(&raw.clock, sample, told, &mut self.wheels);
            } else {
                raw.calm.part(&mut self.wheels);
            }
        }
    }

    /// Tells once that the board reports at another interval than the rig file says.
    fn tell_interval(&mut self, at: Timestamp, sink: &mut impl FnMut(usize, Event)) {
        let Some(raw) = self.raw.as_mut().filter(|raw| !raw.interval_told && raw.clock.is_not_as_in_rig())
        else {
            return;
        };
        raw.interval_told = true;
        let (kind, certainty) = (LossKind::WrongReportInterval, Certainty::Observed);
        let lasted = Duration::from_micros((raw.clock.interval() + 5000) / 10_000 * 10);
        let loss = Loss { kind, certainty, at, lasted, reports: 1, bound: Margin::CERTAIN };
        if let Some(place) = self.wheels.iter().position(|wheel| wheel.quadrature().is_some()) {
            sink(place, Event::Loss(loss));
        }
    }

    /// Each wheel stands for itself from here on.
    fn part(&mut self) {
        if let Some(raw) = &mut self.raw {
            raw.calm.part(&mut self.wheels);
        }
    }

    /// The kernel dropped reports. Each wheel has its own bound.
    fn stalled(&mut self, at: Timestamp, stall: Stall, sink: &mut impl FnMut(usize, Event)) {
        let Stall { lasted, reports, gone } = stall;
        let kind = LossKind::ReaderStalled;
        self.part();
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
    /// open, which is always so when the wheels have rested for a while.
    #[must_use]
    #[inline]
    pub fn deadline(&self) -> Option<Timestamp> {
        let apart = self.raw.as_ref().filter(|raw| !raw.calm.is_together()).map(|raw| &raw.clock);
        self.wheels.iter().filter_map(|wheel| wheel.due(apart)).min()
    }

    /// It is `at`, and no report has come since the last one.
    pub fn rest(&mut self, at: Timestamp, sink: &mut impl FnMut(usize, Event)) {
        let clock = self.raw.as_ref().map(|raw| &raw.clock);
        for (place, wheel) in self.wheels.iter_mut().enumerate() {
            if let Decoding::Quadrature(quadrature) = &mut wheel.decoding
                && let Some(clock) = clock
                && quadrature.due(clock).is_some_and(|due| due <= at)
            {
                let step = quadrature.rest(clock, at);
                wheel.tell(place, step, sink);
            } else if wheel.watch.rests().is_some_and(|due| due <= at.nanos()) {
                wheel.watch.rest(at);
                wheel.tell_pending(place, sink);
            }
        }
    }

    /// The board is gone: the state of the lines is forgotten, and each wheel may have been turned by any
    /// amount until it is back.
    pub fn unplugged(&mut self, at: Timestamp, sink: &mut impl FnMut(usize, Event)) {
        self.part();
        self.buttons = Buttons::NONE;
        self.known = Buttons::NONE;
        for (place, wheel) in self.wheels.iter_mut().enumerate() {
            if wheel.forget() {
                sink(place, Event::Doubt(Margin::CERTAIN));
            }
            wheel.tell_pending(place, sink);
        }
        self.marks.iter_mut().for_each(|mark| mark.index.forget());
        if let Some(raw) = &mut self.raw {
            raw.clock.forget();
        }
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

#[cfg(test)]
mod tests;
