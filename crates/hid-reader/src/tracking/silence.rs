//! Intervals of which no report tells: of a board that reports changes only, or whose reports were read late.

use super::filter::{Blur, CERTAIN, Filter, Settled, Story, Tick, nearest};
use super::offers::Offers;

/// The longest gap that is crossed interval by interval.
const LONGEST: f32 = 64.0;
/// The longest that a report is taken to have waited, in intervals.
const LONGEST_WAIT: u8 = 16;
/// The least standard deviation of an interval's length, in intervals: what is left of what was measured.
const LEAST_JITTER: f32 = 0.008;
/// The same for the end of an interval that no report marks, beside the jitter.
const BLUR: f32 = 0.05;
/// How much likelihood a blur takes, per nat, in a gap of up to so many intervals.
const SPREAD: (f32, f32) = (0.5, 6.0);
/// Gaps below so many intervals have just so many.
const COUNTED: f32 = 4.0;
/// After a gap a path that moved at least so fast, in edges per tick, knows its speed as if it had been seen
/// for so many ticks only.
const BLURRED: (f32, u8) = (1.0, 5);

/// The logarithm of the probability that a report after a gap waited to be read until it seemed to be on the beat: hosts
/// that stall twice a second, of which a quarter end so (common practice, no source).
const WAITED: f32 = -5.5;
/// A wheel slower than this, in edges per tick, is the same by all accounts.
const WAITS_MATTER: f32 = 0.8;

/// An interval after which nothing was reported because nothing had changed.
const UNCHANGED: Tick = Tick { ticks: 1.0, turn: 0, blur: Blur { ticks: BLUR, spread: SPREAD.0 } };

/// Accounts of the same reports that compete.
struct Rivals {
    all: Offers,
    likeliest: Option<(f32, Story)>,
}

impl Rivals {
    fn none() -> Self {
        Self { all: Offers::none(), likeliest: None }
    }
}

impl Filter {
    /// A report `intervals` after the last whose number was certain, `ticks` by the clock, in which nothing was reported
    /// because nothing changed at any interval between, or because that report is one of [`Self::spread`].
    ///
    /// Where intervals are uneven by themselves, how many there were is not quite certain; and
    /// a wheel that moves at four edges an interval moves four more with one more of them. So the gap is
    /// crossed with each number that is likely, and the paths compete.
    ///
    /// Where the wheel has settled meanwhile, this ends before the report, which is yet to be taken in.
    pub(super) fn cross(&mut self, intervals: f32, ticks: f32, jitter: f32, turn: u8) -> Option<Settled> {
        let likely = intervals.clamp(1.0, LONGEST);
        if self.is_spread() {
            self.gather(likely, turn);
            return None;
        }
        let jitter = jitter.max(LEAST_JITTER);
        let before = self.story.clone();
        if let Some(settled) = self.cross_in(likely, ticks.min(LONGEST), turn) {
            return Some(settled);
        }
        let was = before.paths.best().edges;
        self.or_waited(&before, likely, turn);
        if self.is_spread() {
            return None;
        }
        if (COUNTED..LONGEST).contains(&likely) {
            self.cross_otherwise(&before, likely, ticks, jitter, turn);
        }
        if 0.5 / (jitter * jitter * likely) < CERTAIN {
            self.slip(was, likely);
        }
        None
    }

    /// A report after a gap may have waited to be read until it seemed to be on the beat by chance. Those accounts compete if
    /// the wheel was fast enough for them to matter.
    fn or_waited(&mut self, before: &Story, likely: f32, turn: u8) {
        let longest = self.longest_wait.min(likely - 1.0);
        let best = before.paths.best();
        if !self.may_wait
            || longest < 1.0
            || best.speed.abs() < WAITS_MATTER
            || likely > f32::from(LONGEST_WAIT)
        {
            return;
        }
        let mut rivals = Rivals::none();
        let most = u8::try_from(nearest(likely)).unwrap_or(1);
        let crossed = self.story.clone();
        self.story.paths.set_lag(LONGEST_WAIT);
        self.take_part(&mut rivals, 0.0);
        self.story = Story { likelihood: 0.0, ..before.clone() };
        for passed in 1..most {
            if f32::from(most - passed) <= longest {
                let unchanged = self.story.clone();
                self.tick(Tick::new(1.0, turn));
                self.story.paths.set_lag(LONGEST_WAIT - (most - passed));
                self.take_part(&mut rivals, WAITED);
                self.story = unchanged;
            }
            self.tick(UNCHANGED);
        }
        self.compete(rivals);
        if self.story.paths.iter().any(|path| path.lag != LONGEST_WAIT && path.weight > -CERTAIN) {
            (self.story.spread, self.story.lag_of_last) = (true, LONGEST_WAIT);
        } else {
            self.story = crossed;
        }
    }

    /// Crosses the gap with one interval less and one more, and lets the paths compete with those that are there.
    fn cross_otherwise(&mut self, before: &Story, likely: f32, ticks: f32, jitter: f32, turn: u8) {
        let unlikely = |intervals: f32| {
            let off = (ticks - intervals) / jitter;
            -0.5 * off * off / intervals
        };
        if unlikely(likely - 1.0) < -CERTAIN && unlikely(likely + 1.0) < -CERTAIN {
            return;
        }
        let mut rivals = Rivals::none();
        self.take_part(&mut rivals, unlikely(likely));
        for intervals in [likely - 1.0, likely + 1.0] {
            if unlikely(intervals) > -CERTAIN {
                self.story = before.clone();
                if self.cross_in(intervals, ticks, turn).is_none() {
                    self.take_part(&mut rivals, unlikely(intervals));
                }
            }
        }
        self.compete(rivals);
    }

    fn cross_in(&mut self, intervals: f32, ticks: f32, turn: u8) -> Option<Settled> {
        self.story.likelihood = 0.0;
        let each = ticks / intervals;
        let (most, from) = SPREAD;
        let spread = most * (from / intervals).min(1.0);
        let mut done = 1.0;
        while done < intervals {
            // An interval's end is known the less the further it is from either report.
            let blur = BLUR * (done * (intervals - done) / intervals).sqrt();
            self.tick(Tick { ticks: each, turn: 0, blur: Blur { ticks: blur, spread } });
            if let Some(settled) = self.settle() {
                return Some(settled);
            }
            done += 1.0;
        }
        if intervals > 1.5 {
            let (fast, age) = BLURRED;
            for path in self.story.paths.iter_mut().filter(|path| path.speed.abs() > fast) {
                path.age = path.age.min(age);
            }
        }
        self.tick(Tick::new(each, turn));
        None
    }

    /// A silence was so long that one interval more or less fits into it. A wheel that went through it at four edges an
    /// interval, or a multiple, turned as many more or less then. How evenly hands turn is too little known to tell by
    /// that; the same reports come from both (`twins`).
    fn slip(&mut self, was: i32, intervals: f32) {
        let likely = self.story.paths.iter().filter(|path| path.weight > -CERTAIN);
        let through = likely.map(|path| path.edges.saturating_sub(was).saturating_abs()).max().unwrap_or(0);
        let intervals = nearest(intervals).max(1);
        let fours = through.saturating_add(2 * intervals) / (4 * intervals);
        self.story.slipped = self.story.slipped.saturating_add(4 * fours);
    }

    /// Whether the paths differ in how many intervals went by since the last sample whose number is certain.
    pub(super) fn is_spread(&self) -> bool {
        self.story.spread
    }

    /// A report that waited to be read: it was sampled in one of the first `most` intervals after the last sample whose
    /// number is certain, and after all others since. Each number is an account of its own.
    pub(super) fn spread(&mut self, most: u8, turn: u8) {
        let before = self.story.clone();
        let most = most.clamp(1, LONGEST_WAIT);
        let mut rivals = Rivals::none();
        let latest = before.lag_of_last + most;
        for lag in 0..latest {
            let Some((likelihood, paths)) = before.paths.with_lag(lag) else { continue };
            self.story = Story { paths, likelihood, ..before.clone() };
            for passed in lag + 1..=latest {
                let unchanged = self.story.clone();
                self.tick(Tick::new(1.0, turn));
                self.story.paths.set_lag(passed);
                self.take_part(&mut rivals, 0.0);
                self.story = unchanged;
                if passed < latest {
                    self.tick(UNCHANGED);
                }
            }
        }
        if rivals.likeliest.is_none() {
            // More reports than there were intervals.
            self.story = before;
            self.tick(Tick::new(1.0, turn));
            return;
        }
        self.compete(rivals);
        self.story.spread = true;
    }

    /// A report whose number is certain after some that waited.
    fn gather(&mut self, intervals: f32, turn: u8) {
        let before = self.story.clone();
        let mut rivals = Rivals::none();
        for lag in 0..=2 * LONGEST_WAIT {
            let left = intervals + f32::from(before.lag_of_last) - f32::from(lag);
            if left < 0.5 {
                break;
            }
            let Some((likelihood, mut paths)) = before.paths.with_lag(lag) else { continue };
            paths.set_lag(0);
            self.story = Story { paths, likelihood, ..before.clone() };
            let mut done = 1.0;
            while done < left {
                self.tick(UNCHANGED);
                done += 1.0;
            }
            self.tick(Tick::new(1.0, turn));
            self.take_part(&mut rivals, 0.0);
        }
        if rivals.likeliest.is_none() {
            self.story = before;
            self.story.paths.set_lag(0);
            self.tick(Tick::new(1.0, turn));
        } else {
            self.compete(rivals);
        }
        (self.story.spread, self.story.lag_of_last) = (false, 0);
    }

    /// The account as it stands is one of several, `weight` in advance.
    fn take_part(&self, rivals: &mut Rivals, weight: f32) {
        let weight = self.story.likelihood + weight;
        self.join(&mut rivals.all, &self.story.paths, weight);
        if rivals.likeliest.as_ref().is_none_or(|(best, _)| weight > *best) {
            rivals.likeliest = Some((weight, self.story.clone()));
        }
    }

    /// Goes on with the likeliest paths of all accounts.
    fn compete(&mut self, rivals: Rivals) {
        if let Some((_, story)) = rivals.likeliest {
            self.story = story;
        }
        if let Some((_, paths)) = rivals.all.rank() {
            self.story.paths = paths;
        }
    }

    /// What comes out if nothing has changed for so many intervals up to now. `None`, and nothing changed,
    /// where that is not enough for the wheel to have settled; nothing has changed either where it stopped dead.
    pub(super) fn wait(&mut self, intervals: u32) -> Option<Settled> {
        let before = self.story.clone();
        let (most, from) = SPREAD;
        let mut done = 0.0_f32;
        for _ in 0..intervals {
            let spread = most * (from / (done + 1.0)).min(1.0);
            self.tick(Tick { ticks: 1.0, turn: 0, blur: Blur { ticks: BLUR * done.sqrt(), spread } });
            if let Some(settled) = self.settle() {
                if settled.stopped_dead {
                    self.story = before;
                }
                return Some(settled);
            }
            done += 1.0;
        }
        self.story = before;
        None
    }
}
