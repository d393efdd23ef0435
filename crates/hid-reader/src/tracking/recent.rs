//! The last few reports of a wheel that is slow enough for the table, and whether it still is.

use super::table;
use crate::parameters::recent::{FAST, KEPT, ONE_EDGE, RESTS_AFTER, STEERED};

/// One report: its length in ticks, and its phase after the one before.
pub(super) type Kept = (f32, u8);

/// A ring of reports, and a meter of the speed: a one-pole mean over four of them.
#[derive(Debug, Clone)]
pub(super) struct Recent {
    ticks: [f32; KEPT],
    /// The phases after the ones before, two bits each, the newest lowest.
    turns: u32,
    next: usize,
    length: usize,
    /// Ticks since the phase last changed.
    unchanged: u8,
    /// What is kept does not begin at rest.
    overflowed: bool,
    began_at: f32,
    meter: i32,
    /// The hand cannot make this wheel so fast that the table errs without a sign.
    always_slow: bool,
    /// Whether that is known.
    exact: bool,
}

impl Recent {
    pub(super) fn new(always_slow: bool) -> Self {
        Self {
            ticks: [0.0; KEPT],
            turns: 0,
            next: 0,
            length: 0,
            unchanged: 0,
            overflowed: false,
            began_at: 0.0,
            meter: 0,
            always_slow,
            exact: false,
        }
    }

    /// Whether [`Self::is_exact_now`] was called.
    #[inline]
    pub(super) const fn is_exact(&self) -> bool {
        self.exact
    }

    /// The interval was measured, and by it the hand can or cannot make the wheel so fast that the table errs.
    pub(super) const fn is_exact_now(&mut self, always_slow: bool) {
        (self.exact, self.always_slow) = (true, always_slow);
    }

    pub(super) fn clear(&mut self) {
        self.length = 0;
        self.overflowed = false;
        self.meter = 0;
        self.unchanged = 0;
    }

    /// Begins anew with a wheel that turns slowly, at `speed` edges per tick.
    pub(super) fn begin(&mut self, speed: f32) {
        self.clear();
        self.overflowed = true;
        self.began_at = speed;
    }

    /// Whether nothing has moved for so long that nothing is kept.
    #[inline]
    pub(super) const fn is_empty(&self) -> bool {
        self.length == 0
    }

    /// Takes a report in. Whether it is one that the table might get wrong: both lines changed, the wheel is
    /// nearly as fast as one edge a tick, or it seems to turn round at a speed at which no wheel does.
    #[inline]
    pub(super) fn push(&mut self, ticks: f32, turn: u8) -> bool {
        let doubtful = self.is_doubtful(turn);
        self.take(ticks, turn);
        doubtful
    }

    /// Whether the table might get this report wrong.
    #[inline]
    pub(super) fn is_doubtful(&self, turn: u8) -> bool {
        match table(turn) {
            0 => turn == 2,
            way => self.after_edge(way.into()).is_none(),
        }
    }

    /// What the meter shows after an edge, `way` 1 or -1; `None` if the table might get it wrong, because the wheel is fast
    /// or turns round.
    #[inline]
    fn after_edge(&self, way: i32) -> Option<i32> {
        let along = self.meter * way;
        let faster = along + (ONE_EDGE - along) / 4;
        let surely = self.always_slow || (along > -STEERED && faster <= FAST);
        surely.then_some(faster * way)
    }

    /// Takes a report in that came so many ticks after the one before.
    #[inline]
    pub(super) fn take(&mut self, ticks: f32, turn: u8) {
        if turn == 0 && self.is_empty() {
            return;
        }
        self.keep(ticks, turn);
        self.meter += (i32::from(table(turn)) * ONE_EDGE - self.meter) / 4;
        if turn != 0 {
            self.unchanged = 0;
            return;
        }
        self.unchanged += 1;
        if self.unchanged >= RESTS_AFTER {
            self.clear();
        }
    }

    /// Takes in `reports` in which the phase did not change, but for their ticks, which [`Self::resume`] brings.
    #[inline]
    pub(super) fn pass(&mut self, reports: u64) {
        if self.is_empty() || reports == 0 {
            return;
        }
        let Some(passed) =
            u8::try_from(reports).ok().filter(|passed| *passed < RESTS_AFTER.saturating_sub(self.unchanged))
        else {
            self.clear();
            return;
        };
        self.unchanged += passed;
        self.turns <<= 2 * passed;
        self.lengthen(usize::from(passed));
        self.meter = faded(self.meter, passed);
    }

    /// As [`Self::take`] for a report in which the phase changed by an edge, `way` 1 or -1, but for its ticks. Returns
    /// `false`, and nothing has changed, if the table might get it wrong.
    #[inline]
    pub(super) fn change(&mut self, way: i32) -> bool {
        let Some(meter) = self.after_edge(way) else { return false };
        self.meter = meter;
        self.turns = self.turns << 2 | if way > 0 { 1 } else { 3 };
        self.lengthen(1);
        self.unchanged = 0;
        true
    }

    /// The last reports took so many ticks, the oldest first.
    pub(super) fn resume(&mut self, ticks: [f32; KEPT]) {
        (self.ticks, self.next) = (ticks, 0);
    }

    #[inline]
    fn lengthen(&mut self, reports: usize) {
        self.length += reports;
        self.overflowed |= self.length > KEPT;
        self.length = self.length.min(KEPT);
    }

    /// Takes in the intervals without a report, and returns what is left for the report itself.
    #[cold]
    pub(super) fn silence(&mut self, ticks: f32) -> f32 {
        if ticks >= f32::from(RESTS_AFTER) || self.is_empty() {
            self.clear();
            return 1.0;
        }
        let intervals = ticks.round().max(1.0);
        let each = ticks / intervals;
        let mut left = intervals - 1.0;
        while left > 0.5 {
            self.keep(each, 0);
            self.meter -= self.meter / 4;
            self.unchanged += 1;
            left -= 1.0;
        }
        each
    }

    #[inline]
    fn keep(&mut self, ticks: f32, turn: u8) {
        if let Some(slot) = self.ticks.get_mut(self.next) {
            *slot = ticks;
        }
        self.turns = self.turns << 2 | u32::from(turn);
        self.next = (self.next + 1) % KEPT;
        self.lengthen(1);
    }

    /// Whether the wheel rested before what is kept.
    pub(super) const fn begins_at_rest(&self) -> bool {
        !self.overflowed
    }

    /// How fast the wheel was before what is kept, in edges per tick, as far as can be told.
    pub(super) fn speed(&self) -> f32 {
        if self.length < KEPT {
            return self.began_at;
        }
        let (edges, ticks) = self
            .reports()
            .fold((0.0, 0.0), |(edges, ticks), (tick, turn)| (edges + f32::from(table(turn)), ticks + tick));
        edges / f32::max(ticks, 1.0)
    }

    /// What is kept, the oldest first.
    pub(super) fn reports(&self) -> impl Iterator<Item = Kept> + '_ {
        (0..self.length).rev().filter_map(|age| {
            let ticks = *self.ticks.get((self.next + KEPT - 1 - age) % KEPT)?;
            let turn = u8::try_from(self.turns >> (2 * age) & 3).ok()?;
            Some((ticks, turn))
        })
    }
}

/// What is left of what the meter shows after so many ticks without a change, fewer than it takes to rest.
#[inline]
fn faded(meter: i32, ticks: u8) -> i32 {
    let place = usize::try_from(meter + ONE_EDGE).unwrap_or(usize::MAX);
    FADED.get(usize::from(ticks)).and_then(|row| row.get(place)).map_or(0, |left| i32::from(*left))
}

/// The same for all that the meter can show, from an edge a tick back to one forward. Worked out beforehand, since a loop
/// of a few rounds, now more and now fewer, costs a processor that guesses when it ends more than all the rest.
static FADED: [[i8; SHOWN]; FADES] = fading();
const SHOWN: usize = 129;
const FADES: usize = 8;

#[expect(
    clippy::as_conversions,
    clippy::indexing_slicing,
    reason = "worked out by the compiler, within -64 to 64"
)]
const fn fading() -> [[i8; SHOWN]; FADES] {
    let mut faded = [[0; SHOWN]; FADES];
    let mut place = 0;
    while place < SHOWN {
        let mut meter = place as i32 - ONE_EDGE;
        let mut ticks = 0;
        while ticks < FADES {
            faded[ticks][place] = meter as i8;
            meter -= meter / 4;
            ticks += 1;
        }
        place += 1;
    }
    faded
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pushed(always_slow: bool, turns: &[u8]) -> Vec<bool> {
        let mut recent = Recent::new(always_slow);
        turns.iter().map(|turn| recent.push(1.0, *turn)).collect()
    }

    #[test]
    fn what_the_table_might_get_wrong() {
        assert_eq!(pushed(false, &[1, 0, 0, 1, 0, 0, 3, 0, 1]), [false; 9], "slow");
        assert_eq!(pushed(false, &[0, 2]), [false, true], "both lines");
        assert_eq!(pushed(false, &[1, 1, 3]), [false, false, true], "a sharp turn");
        let steady = pushed(false, &[1; 12]);
        assert_eq!(steady.iter().position(|fast| *fast), Some(6), "as fast as one edge a tick");
    }

    #[test]
    fn a_wheel_that_is_always_slow_is_wrong_only_where_both_lines_change() {
        assert_eq!(pushed(true, &[1; 20]), [false; 20]);
        assert_eq!(pushed(true, &[1, 1, 3, 2]), [false, false, false, true]);
    }

    #[test]
    fn rest_empties_it() {
        let mut recent = Recent::new(false);
        recent.push(1.0, 1);
        assert_eq!(recent.reports().count(), 1);
        for _ in 0..8 {
            assert!(!recent.is_empty());
            recent.push(1.0, 0);
        }
        assert!(recent.is_empty() && recent.begins_at_rest());
        recent.push(1.0, 1);
        let ticks = recent.silence(3.0);
        recent.push(ticks, 1);
        assert_eq!(recent.reports().map(|(_, turn)| turn).collect::<Vec<_>>(), [1, 0, 0, 1]);
        let ticks = recent.silence(9.0);
        recent.push(ticks, 1);
        assert_eq!(recent.reports().count(), 1);
    }

    #[test]
    fn a_long_turn_does_not_begin_at_rest() {
        let mut recent = Recent::new(false);
        (0..40).for_each(|n| {
            recent.push(1.0, u8::from(n % 2 == 0));
        });
        assert!(!recent.begins_at_rest());
        assert!((recent.speed() - 0.5).abs() < 0.01);
    }

    /// However slowly a wheel turns and wherever its beat ends, on the beat it keeps what it does off it.
    #[test]
    fn reports_that_are_passed_leave_what_reports_that_are_taken_do() {
        for pattern in 0..4_u32.pow(6) {
            let turn = |n: u32| u8::try_from(pattern >> (2 * (n % 6)) & 3).unwrap();
            // Both lines at once are for nobody on the beat, and each change has up to three reports before it.
            let gap = |n: u32| usize::from(turn(n + 3));
            let edges = (0..12).map(|n| (gap(n), if turn(n) % 2 == 0 { 1 } else { turn(n) }));
            let (mut taken, mut passed) = (Recent::new(true), Recent::new(true));
            for (gap, turn) in edges {
                (0..gap).for_each(|_| taken.take(1.0, 0));
                passed.pass(u64::try_from(gap).unwrap());
                assert_eq!(seen(&taken), seen(&passed), "{pattern}");
                taken.take(1.0, turn);
                assert!(passed.change(table(turn).into()));
                assert_eq!(seen(&taken), seen(&passed), "{pattern}");
            }
        }
    }

    fn seen(recent: &Recent) -> (Vec<u8>, u8, bool, i32) {
        let turns = recent.reports().map(|(_, turn)| turn).collect();
        (turns, recent.unchanged, recent.overflowed, recent.meter)
    }

    #[test]
    fn after_eight_passed_reports_a_wheel_rests() {
        for first in 0..10 {
            for second in 0..10 {
                let (mut taken, mut passed) = (Recent::new(false), Recent::new(false));
                taken.take(1.0, 1);
                assert!(passed.change(1));
                (0..first + second).for_each(|_| taken.take(1.0, 0));
                passed.pass(first);
                passed.pass(second);
                assert_eq!(seen(&taken), seen(&passed), "{first} and {second}");
            }
        }
    }
}
