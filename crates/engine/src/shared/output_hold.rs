//! What the outputs are shown while they are not to follow the trims.
//!
//! No I/O and no clock. For each trim:
//!
//! | state | what happens | next state | the outputs see |
//! |---|---|---|---|
//! | following | `hold` | held | where it was |
//! | following | `await_at`, the trim is there already | following | where it is |
//! | following | `await_at`, the trim is elsewhere | awaiting | the place awaited |
//! | held | `hold` again | held | where it was |
//! | held | `await_at` | awaiting, held | where it was |
//! | held | `release` | following, or awaiting if it was | where it is, or the place awaited |
//! | held, awaiting | the trim moves | the same | the same |
//! | awaiting | the trim moves, and is not yet there | awaiting | the place awaited |
//! | awaiting | the trim moves onto the place or past it | following | where it is |
//! | awaiting | `await_at` | as from following | |
//! | any | `follow` | following | where it is |
//!
//! While held, a trim may pass its awaited place; then it follows as soon as it is released.

use crate::tally::TRIMS_MAX;
use arrayvec::ArrayVec;
use tallywheel_output::TrimReading;

/// All trims of an aircraft as they are shown.
pub(super) type Readings = ArrayVec<TrimReading, TRIMS_MAX>;

/// Stands between the tally and the outputs while some trim does not follow.
#[derive(Debug, Default, Clone)]
pub(super) struct OutputHold {
    held: Option<Readings>,
    awaited: ArrayVec<Option<SoftTakeover>, TRIMS_MAX>,
}

#[derive(Debug, Clone, Copy)]
struct SoftTakeover {
    shown: TrimReading,
    /// Whether the trim was above the place when the waiting began.
    from_above: bool,
}

impl OutputHold {
    /// Shows `now` until [`Self::release`].
    pub(super) fn hold(&mut self, now: &[TrimReading]) {
        if self.held.is_none() {
            let shown = self.shown(now);
            self.held = Some(shown);
        }
    }

    pub(super) fn release(&mut self) {
        self.held = None;
    }

    pub(super) const fn is_held(&self) -> bool {
        self.held.is_some()
    }

    /// Shows `place` of a trim, which is at `now`, until it comes there.
    pub(super) fn await_at(&mut self, trim: usize, now: &TrimReading, place: TrimReading) {
        while self.awaited.len() <= trim && !self.awaited.is_full() {
            self.awaited.push(None);
        }
        if let Some(awaited) = self.awaited.get_mut(trim) {
            let there = now.axis == place.axis;
            *awaited =
                (!there).then_some(SoftTakeover { shown: place, from_above: now.degrees > place.degrees });
        }
    }

    /// Waits for no place of a trim any more; says whether it did.
    pub(super) fn follow(&mut self, trim: usize) -> bool {
        self.awaited.get_mut(trim).and_then(Option::take).is_some()
    }

    /// Whether a trim is waiting for its place.
    pub(super) fn is_awaiting(&self, trim: usize) -> bool {
        self.awaited.get(trim).is_some_and(Option::is_some)
    }

    /// The trims changed their places in the list: `kept[n]` was the place of what is trim `n` now.
    pub(super) fn moved(&mut self, kept: &[Option<usize>], now: &[TrimReading]) {
        let of = |n: usize| kept.get(n).copied().flatten();
        self.awaited = (0..now.len()).map(|n| of(n).and_then(|before| *self.awaited.get(before)?)).collect();
        if let Some(held) = &mut self.held {
            let shown = now.iter().enumerate();
            *held = shown.map(|(n, now)| *of(n).and_then(|before| held.get(before)).unwrap_or(now)).collect();
        }
    }

    /// Whether it stands in nobody's way.
    pub(super) fn is_open(&self) -> bool {
        self.held.is_none() && self.awaited.iter().all(Option::is_none)
    }

    /// What to show where the trims are at `now`.
    pub(super) fn pass(&mut self, now: &[TrimReading]) -> Readings {
        for (awaited, now) in self.awaited.iter_mut().zip(now) {
            if let Some(SoftTakeover { shown, from_above }) = awaited {
                let there = now.axis == shown.axis;
                let past = (now.degrees > shown.degrees) != *from_above;
                if there || past {
                    *awaited = None;
                }
            }
        }
        self.shown(now)
    }

    fn shown(&self, now: &[TrimReading]) -> Readings {
        if let Some(held) = &self.held {
            return held.clone();
        }
        let awaited = |n: usize| *self.awaited.get(n)?;
        let shown = now.iter().enumerate();
        shown.map(|(n, now)| awaited(n).map_or(*now, |awaited: SoftTakeover| awaited.shown)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tallywheel_units::{AxisValue, Counts, Degrees, Margin, Normalized};

    /// A trim of 200 degrees, an axis step of a hundredth of its half.
    fn at(degrees: i32) -> TrimReading {
        TrimReading {
            degrees: Degrees::new(degrees.into()).unwrap(),
            normalized: Normalized::clamped(f64::from(degrees) / 100.0 - 1.0),
            axis: AxisValue::clamped(i64::from(degrees) * 300 - 30_000),
            counts: Counts::ZERO,
            margin: Margin::CERTAIN,
        }
    }

    fn trims(degrees: [i32; 2]) -> Readings {
        degrees.map(at).into_iter().collect()
    }

    fn degrees(shown: &Readings) -> Vec<f64> {
        shown.iter().map(|trim| trim.degrees.get()).collect()
    }

    #[test]
    fn an_open_hold_shows_what_is() {
        let mut hold = OutputHold::default();
        assert!(hold.is_open() && !hold.is_held() && !hold.is_awaiting(0));
        assert_eq!(degrees(&hold.pass(&trims([10, 20]))), [10.0, 20.0]);
    }

    #[test]
    fn held_outputs_stay_until_they_are_released() {
        let mut hold = OutputHold::default();
        hold.hold(&trims([10, 20]));
        assert_eq!(degrees(&hold.pass(&trims([11, 21]))), [10.0, 20.0]);
        hold.hold(&trims([12, 22]));
        assert_eq!(degrees(&hold.pass(&trims([13, 23]))), [10.0, 20.0]);
        hold.release();
        assert!(hold.is_open());
        assert_eq!(degrees(&hold.pass(&trims([13, 23]))), [13.0, 23.0]);
    }

    #[test]
    fn an_awaited_trim_follows_once_it_is_there_or_past_from_either_side() {
        for (start, on_the_way, arrived) in
            [(50, 80, 100), (50, 99, 130), (150, 120, 100), (150, 101, 40), (50, 0, 101)]
        {
            let mut hold = OutputHold::default();
            hold.await_at(1, &at(start), at(100));
            assert!(hold.is_awaiting(1) && !hold.is_awaiting(0) && !hold.is_open());
            assert_eq!(degrees(&hold.pass(&trims([7, start]))), [7.0, 100.0]);
            assert_eq!(degrees(&hold.pass(&trims([8, on_the_way]))), [8.0, 100.0]);
            assert_eq!(degrees(&hold.pass(&trims([9, arrived]))), [9.0, f64::from(arrived)]);
            assert!(hold.is_open());
            assert_eq!(degrees(&hold.pass(&trims([9, start]))), [9.0, f64::from(start)]);
        }
    }

    #[test]
    fn what_is_there_already_is_not_awaited() {
        let mut hold = OutputHold::default();
        hold.await_at(0, &at(100), at(100));
        assert!(hold.is_open());
    }

    #[test]
    fn holding_and_awaiting_do_not_end_each_other() {
        let mut hold = OutputHold::default();
        hold.hold(&trims([10, 20]));
        hold.await_at(0, &at(10), at(100));
        assert_eq!(degrees(&hold.pass(&trims([50, 20]))), [10.0, 20.0]);
        hold.release();
        assert_eq!(degrees(&hold.pass(&trims([50, 20]))), [100.0, 20.0]);
        hold.hold(&trims([50, 20]));
        assert_eq!(degrees(&hold.pass(&trims([150, 20]))), [100.0, 20.0], "it passed while held");
        hold.release();
        assert_eq!(degrees(&hold.pass(&trims([150, 20]))), [150.0, 20.0]);
    }

    #[test]
    fn a_trim_can_be_told_to_follow() {
        let mut hold = OutputHold::default();
        hold.await_at(0, &at(10), at(100));
        assert!(hold.follow(0) && !hold.follow(0) && !hold.follow(9));
        assert!(hold.is_open());
    }

    #[test]
    fn trims_that_change_places_take_their_state_along() {
        let mut hold = OutputHold::default();
        hold.await_at(0, &at(10), at(100));
        hold.moved(&[None, Some(0)], &trims([5, 10]));
        assert_eq!(degrees(&hold.pass(&trims([6, 11]))), [6.0, 100.0]);
        hold.hold(&trims([7, 12]));
        hold.moved(&[Some(1), None], &trims([12, 77]));
        assert_eq!(degrees(&hold.pass(&trims([13, 78]))), [100.0, 77.0]);
    }
}
