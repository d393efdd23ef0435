//! The raw wheels of a board while all of them are calm: only changed lines cost anything.
//!
//! | state \ a report | live, each changed wheel stays calm | anything else |
//! |---|---|---|
//! | apart: each wheel takes each report | after 16 in a row together | apart |
//! | together: one beat for all (`tracking/beat.rs`) | together | apart, and it is taken by each wheel for itself |
//!
//! Together they count the same, at the same reports, as apart (`decode/tests/together.rs`).

use super::Event;
use super::wheel::Wheel;
use crate::timing::{Sample, SampleClock};
use crate::tracking::Beat;

/// Buttons that there may be; a `u128` has a bit for each.
const BUTTONS: usize = 128;

/// Which wheels are together, and their beat.
#[derive(Debug, Clone)]
pub(super) struct Calm {
    /// The lines of all wheels that want every sample.
    lines: u128,
    /// What the reports told about that the wheels were calm in together.
    told: u128,
    /// Whose each line is.
    owners: [Owner; BUTTONS],
    beat: Option<Beat>,
    together: bool,
}

/// Twice the place of the wheel that has a line, and 1 more for its second line.
#[derive(Debug, Clone, Copy)]
struct Owner(u8);

impl Owner {
    fn of(wheels: &[Wheel], line: u128) -> Option<Self> {
        let place = wheels.iter().position(|wheel| wheel.lines & line != 0)?;
        let second = wheels.get(place)?.second & line != 0;
        u8::try_from(2 * place + usize::from(second)).ok().map(Self)
    }

    #[inline]
    fn place(self) -> usize {
        usize::from(self.0 >> 1)
    }

    #[inline]
    const fn is_second(self) -> bool {
        self.0 & 1 != 0
    }
}

impl Calm {
    /// For the wheels with `lines`; they are apart.
    pub(super) fn new(wheels: &[Wheel], lines: u128) -> Self {
        let owner = |button: usize| Owner::of(wheels, 1 << button).unwrap_or(Owner(u8::MAX));
        Self { lines, told: 0, owners: std::array::from_fn(owner), beat: None, together: false }
    }

    /// Whether the wheels are together.
    #[inline]
    pub(super) const fn is_together(&self) -> bool {
        self.together
    }

    /// Whether the wheels are together, and a report that told so much is one for [`Self::take`]. Nothing that it told
    /// about was unknown before.
    #[inline]
    pub(super) const fn takes(&self, told: u128) -> bool {
        self.together && told == self.told
    }

    /// Takes a report an interval after the last one, in which the lines `changed` have changed. Returns the lines of the wheels that are
    /// through with it; the others are apart and have yet to take it.
    #[inline]
    pub(super) fn take(
        &mut self,
        sample: &Sample,
        mut changed: u128,
        wheels: &mut [Wheel],
        sink: &mut impl FnMut(usize, Event),
    ) -> u128 {
        let Some(beat) = &mut self.beat else { return 0 };
        beat.take(sample);
        changed &= self.lines;
        while changed != 0 {
            let line = usize::try_from(changed.trailing_zeros()).unwrap_or(BUTTONS);
            let Some(owner) = self.owners.get(line) else { break };
            let Some(wheel) = wheels.get_mut(owner.place()) else { break };
            changed &= changed - 1;
            let both = changed & wheel.lines != 0;
            match wheel.on_beat(beat, owner.is_second(), both) {
                Some(counts) => wheel.counts(owner.place(), counts, sink),
                None => return self.part_at(wheels, true),
            }
        }
        self.lines
    }

    /// Every wheel has taken a report that told about so many lines, and it was in nothing out of the ordinary.
    pub(super) fn ordinary(
        &mut self,
        clock: &SampleClock,
        sample: &Sample,
        told: u128,
        wheels: &mut [Wheel],
    ) {
        if std::mem::replace(&mut self.told, told) != told {
            self.beat = None;
        }
        let beat = self.beat.get_or_insert_with(|| Beat::of(*sample));
        beat.take(sample);
        let Some(beat) = self.beat.as_ref().filter(|beat| beat.is_long()) else { return };
        let mut raw = wheels.iter_mut().filter_map(Wheel::quadrature_mut);
        if raw.all(|wheel| wheel.keep(clock, beat)) {
            self.together = true;
        } else {
            self.beat = None;
        }
    }

    /// What comes now does not follow on the last report, or is not told here: the wheels are apart.
    pub(super) fn part(&mut self, wheels: &mut [Wheel]) {
        self.part_at(wheels, false);
    }

    /// A copy of a wheel of this board goes on by itself, from the last report.
    pub(super) fn part_copy(&self, wheel: &mut Wheel) {
        if let (true, Some(beat), Some(wheel)) = (self.together, &self.beat, wheel.quadrature_mut()) {
            wheel.leave(beat, false);
        }
    }

    /// The wheels are apart; `all_but_last` where some wheel cannot take the last report together with the others. Returns
    /// the lines of those that have taken it.
    #[cold]
    fn part_at(&mut self, wheels: &mut [Wheel], all_but_last: bool) -> u128 {
        let beat = self.beat.take();
        let mut through = 0;
        if let (true, Some(beat)) = (std::mem::take(&mut self.together), &beat) {
            for wheel in wheels {
                let lines = wheel.lines;
                if let Some(raw) = wheel.quadrature_mut()
                    && raw.leave(beat, all_but_last)
                {
                    through |= lines;
                }
            }
        }
        through
    }
}
