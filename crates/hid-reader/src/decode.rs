//! From reports to counts.

mod config;
mod pulses;
mod quadrature;
mod stall;
mod step;

pub use config::{ConfigError, WheelConfig, WheelInputs};

use crate::layout::Layout;
use pulses::Pulses;
use quadrature::Quadrature;
use stall::{Stall, StallDetector};
use std::time::Duration;
use step::Step;
use tallywheel_units::{Buttons, Certainty, Counts, Loss, LossKind, Margin, Timestamp};

/// What a report yields for one wheel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event {
    /// The wheel moved by so many counts, forward positive; never 0.
    Counts(Counts),
    /// Counts may be missing.
    Loss(Loss),
}

/// Decodes all wheels of one board. Nothing is allocated after [`Self::new`].
#[derive(Debug, Clone)]
pub struct BoardDecoder {
    layout: Layout,
    wheels: Box<[Wheel]>,
    buttons: Buttons,
    /// The buttons that any report since the start or the last unplugging has told about.
    known: Buttons,
    stall: StallDetector,
}

#[derive(Debug, Clone)]
struct Wheel {
    first: u128,
    second: u128,
    inverted: bool,
    decoding: Decoding,
}

#[derive(Debug, Clone)]
enum Decoding {
    Pulses(Pulses),
    Quadrature(Quadrature),
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
            lines.flat_map(|(wheel, config)| config.inputs.lines().map(|line| (wheel, line))).collect();
        for (place, &(wheel, button)) in lines.iter().enumerate() {
            if !layout.buttons().pressed(button) {
                return Err(ConfigError::NoSuchButton { wheel, button });
            }
            if let Some(&(first, _)) = lines.iter().take(place).find(|(_, other)| *other == button) {
                return Err(ConfigError::ButtonTwice { button, first, second: wheel });
            }
        }
        let wheels = wheels.iter().map(Wheel::new).collect();
        let stall = StallDetector::new(report_interval);
        Ok(Self { layout, wheels, buttons: Buttons::NONE, known: Buttons::NONE, stall })
    }

    /// Takes one report, read at `at`. `sink` gets the wheel's place in the list and what the report yields
    /// for it, in the order of the list, counts before losses; nothing when nothing changed.
    ///
    /// The first report after the start or an unplugging only tells where the lines stand. A report that
    /// cannot be read leaves the state as it is and is a [`LossKind::BadReport`] for every wheel that it may
    /// have been about.
    pub fn report(&mut self, at: Timestamp, report: &[u8], sink: &mut impl FnMut(usize, Event)) {
        let stall = self.stall.report(at);
        match self.layout.read(report, &mut self.buttons) {
            Ok(told) => self.decode(at, told, sink),
            Err(_) => {
                // It hid one count or edge at most from each wheel that it was about.
                let bound = Margin::both(Counts::ONE);
                self.lose(at, LossKind::BadReport, 1, bound, self.layout.missed(report), sink);
            }
        }
        if let Some(stall) = stall {
            self.stalled(at, stall, sink);
        }
    }

    fn decode(&mut self, at: Timestamp, told: Buttons, sink: &mut impl FnMut(usize, Event)) {
        self.known = Buttons::from_bits(self.known.bits() | told.bits());
        for (place, wheel) in self.wheels.iter_mut().enumerate() {
            let Step { counts, loss } = wheel.step(at, self.buttons, self.known, told);
            if !counts.is_zero() {
                sink(place, Event::Counts(counts));
            }
            if let Some(loss) = loss {
                sink(place, Event::Loss(loss));
            }
        }
    }

    /// The kernel dropped reports. Each wheel has its own bound.
    fn stalled(&self, at: Timestamp, stall: Stall, sink: &mut impl FnMut(usize, Event)) {
        let Stall { lasted, reports, gone } = stall;
        let kind = LossKind::ReaderStalled;
        for (place, wheel) in self.wheels.iter().enumerate() {
            let bound = Margin::both(wheel.decoding.hidden_in(gone));
            let loss = Loss { kind, certainty: Certainty::Inferred, at, lasted, reports, bound };
            sink(place, Event::Loss(loss));
        }
    }

    /// The board is gone: the state of the lines is forgotten, and each wheel may have been turned by any
    /// amount until it is back.
    pub fn unplugged(&mut self, at: Timestamp, sink: &mut impl FnMut(usize, Event)) {
        self.buttons = Buttons::NONE;
        self.known = Buttons::NONE;
        self.wheels.iter_mut().for_each(Wheel::forget);
        self.stall.forget();
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
            if buttons.bits() & wheel.lines() != 0 {
                sink(place, Event::Loss(loss));
            }
        }
    }
}

impl Wheel {
    fn new(config: &WheelConfig) -> Self {
        let [first, second] = config.inputs.lines().map(|line| line.mask());
        let decoding = match config.inputs {
            WheelInputs::Pulses { .. } => Decoding::Pulses(Pulses::default()),
            WheelInputs::Quadrature { per_cycle, .. } => Decoding::Quadrature(Quadrature::new(per_cycle)),
        };
        Self { first, second, inverted: config.inverted, decoding }
    }

    fn lines(&self) -> u128 {
        self.first | self.second
    }

    fn step(&mut self, at: Timestamp, buttons: Buttons, known: Buttons, told: Buttons) -> Step {
        let both = self.lines();
        if told.bits() & both == 0 || known.bits() & both != both {
            return Step::default();
        }
        let first = (buttons.bits() & self.first != 0) != self.inverted;
        let second = (buttons.bits() & self.second != 0) != self.inverted;
        match &mut self.decoding {
            Decoding::Pulses(pulses) => pulses.step(at, first, second),
            Decoding::Quadrature(quadrature) => quadrature.step(at, first, second),
        }
    }

    fn forget(&mut self) {
        match &mut self.decoding {
            Decoding::Pulses(pulses) => pulses.forget(),
            Decoding::Quadrature(quadrature) => quadrature.forget(),
        }
    }
}

impl Decoding {
    /// How many counts the tally may be off at most after so many reports in a row are gone.
    fn hidden_in(&self, reports: u64) -> Counts {
        Counts::new(
            i64::try_from(match self {
                // A pulse needs a report that presses and one that releases; the reports around the gap may give
                // one of each.
                Self::Pulses(_) => reports.div_ceil(2),
                // The table goes by the phase, so it is off by whole cycles of four edges. At one edge a report
                // at most, reports + 1 edges fell between the two that are there, and one is counted.
                Self::Quadrature(quadrature) => {
                    (reports.saturating_add(2) / 4).saturating_mul(quadrature.per_cycle())
                }
            })
            .unwrap_or(i64::MAX),
        )
    }
}

#[cfg(test)]
mod tests;
