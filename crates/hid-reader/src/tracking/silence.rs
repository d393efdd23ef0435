//! Intervals of which no report tells: of a board that reports changes only, or that was read late.

use super::filter::{Blur, CERTAIN, Filter, Settled, Story, Tick, nearest};
use super::offers::Offers;

/// The longest gap that is crossed interval by interval.
const LONGEST: f32 = 64.0;
/// Standard deviation of an interval's length, even between 0.9 and 1.1.
const JITTER: f32 = 0.058;
/// The same for the end of an interval that no report marks.
const BLUR: f32 = 0.05;
/// How much likelihood a blur takes, per nat, in a gap of up to so many intervals.
const SPREAD: (f32, f32) = (0.5, 6.0);
/// Gaps below so many intervals have just so many.
const COUNTED: f32 = 4.0;
/// After a gap a path that moved at least so fast, in edges per tick, knows its speed as if it had been seen
/// for so many ticks only.
const BLURRED: (f32, u8) = (1.0, 5);

impl Filter {
    /// A report after `ticks` in which nothing was reported because nothing changed at any interval between.
    ///
    /// Each interval may have been a tenth shorter or longer, so how many there were is not quite certain; and
    /// a wheel that moves at four edges an interval moves four more with one more of them. So the gap is
    /// crossed with each number that is likely, and the paths compete.
    ///
    /// Where the wheel has settled meanwhile, this ends before the report, which is yet to be taken in.
    pub(super) fn cross(&mut self, ticks: f32, turn: u8) -> Option<Settled> {
        let likely = ticks.round().clamp(1.0, LONGEST);
        let before = self.story.clone();
        if let Some(settled) = self.cross_in(likely, ticks.min(LONGEST), turn) {
            return Some(settled);
        }
        let was = before.paths.best().edges;
        if (COUNTED..LONGEST).contains(&likely) {
            self.cross_otherwise(&before, likely, ticks, turn);
        }
        if 0.5 / (JITTER * JITTER * likely) < CERTAIN {
            self.slip(was, likely);
        }
        None
    }

    /// Crosses the gap with one interval less and one more, and lets the paths compete with those that are there.
    fn cross_otherwise(&mut self, before: &Story, likely: f32, ticks: f32, turn: u8) {
        let unlikely = |intervals: f32| {
            let off = (ticks - intervals) / JITTER;
            -0.5 * off * off / intervals
        };
        let mut all = Offers::none();
        self.join(&mut all, &self.story.paths, self.story.likelihood + unlikely(likely));
        let after = self.story.clone();
        for intervals in [likely - 1.0, likely + 1.0] {
            if unlikely(intervals) > -CERTAIN {
                self.story = before.clone();
                if self.cross_in(intervals, ticks, turn).is_none() {
                    self.join(&mut all, &self.story.paths, self.story.likelihood + unlikely(intervals));
                }
            }
        }
        self.compete(after, &all);
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

    /// A report of a board that sends them steadily, `ticks` after the one before: it was read late, or
    /// others are missing. The paths of both stories compete.
    pub(super) fn late(&mut self, ticks: f32, turn: u8) {
        let before = self.story.clone();
        let mut all = Offers::none();
        self.story.likelihood = 0.0;
        self.tick(Tick::new(ticks, turn));
        self.join(&mut all, &self.story.paths, self.story.likelihood);
        self.story = before;
        self.story.likelihood = 0.0;
        self.tick(Tick::new(1.0, turn));
        self.join(&mut all, &self.story.paths, self.story.likelihood);
        self.compete(self.story.clone(), &all);
    }

    /// Goes on with the likeliest of `all` paths, and else as in `story`.
    fn compete(&mut self, story: Story, all: &Offers) {
        self.story = story;
        if let Some((_, paths)) = all.rank() {
            self.story.paths = paths;
        }
    }

    /// What comes out if nothing has changed for so many intervals up to now. `None`, and nothing changed,
    /// where that is not enough for the wheel to have settled.
    pub(super) fn wait(&mut self, intervals: u32) -> Option<Settled> {
        let before = self.story.clone();
        let (most, from) = SPREAD;
        let mut done = 0.0_f32;
        for _ in 0..intervals {
            let spread = most * (from / (done + 1.0)).min(1.0);
            self.tick(Tick { ticks: 1.0, turn: 0, blur: Blur { ticks: BLUR * done.sqrt(), spread } });
            if let Some(settled) = self.settle() {
                return Some(settled);
            }
            done += 1.0;
        }
        self.story = before;
        None
    }
}
