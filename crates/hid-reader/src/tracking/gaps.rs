//! Intervals of which no report tells: of a board that reports changes only, or whose reports were read late.

use super::candidates::CandidateSet;
use super::filter::{Filter, Settled, Tick, TimestampUncertainty, TrackState, nearest};
use crate::parameters::filter::CERTAIN;
use crate::parameters::gaps::{
    BLUR, BLURRED, COUNTED, LEAST_JITTER, LONGEST, LONGEST_WAIT, SPREAD, WAITED, WAITS_MATTER,
};

/// An interval after which nothing was reported because nothing had changed.
const UNCHANGED: Tick =
    Tick { ticks: 1.0, turn: 0, blur: TimestampUncertainty { ticks: BLUR, spread: SPREAD.0 } };

/// Accounts of the same reports that compete.
struct Rivals {
    all: CandidateSet,
    likeliest: Option<(f32, TrackState)>,
}

impl Rivals {
    fn none() -> Self {
        Self { all: CandidateSet::none(), likeliest: None }
    }
}

impl Filter {
    /// A report `intervals` after the last whose number was certain, `ticks` by the clock, in which nothing was reported
    /// because nothing changed at any interval between, or because that report is one of [`Self::spread`].
    ///
    /// Where intervals are uneven by themselves, how many there were is not quite certain; and
    /// a wheel that moves at four edges an interval moves four more with one more of them. So the gap is
    /// crossed with each number that is likely, and the hypotheses compete.
    ///
    /// Where the wheel has settled meanwhile, this ends before the report, which is yet to be taken in.
    pub(super) fn cross(&mut self, intervals: f32, ticks: f32, jitter: f32, turn: u8) -> Option<Settled> {
        let likely = intervals.clamp(1.0, LONGEST);
        if self.is_spread() {
            self.gather(likely, turn);
            return None;
        }
        let jitter = jitter.max(LEAST_JITTER);
        let before = self.state.clone();
        if let Some(settled) = self.cross_in(likely, ticks.min(LONGEST), turn) {
            return Some(settled);
        }
        let was = before.hypotheses.best().edges;
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
    fn or_waited(&mut self, before: &TrackState, likely: f32, turn: u8) {
        let longest = self.longest_wait.min(likely - 1.0);
        let best = before.hypotheses.best();
        if !self.may_wait
            || longest < 1.0
            || best.speed.abs() < WAITS_MATTER
            || likely > f32::from(LONGEST_WAIT)
        {
            return;
        }
        let mut rivals = Rivals::none();
        let most = u8::try_from(nearest(likely)).unwrap_or(1);
        let crossed = self.state.clone();
        self.state.hypotheses.set_lag(LONGEST_WAIT);
        self.take_part(&mut rivals, 0.0);
        self.state = TrackState { likelihood: 0.0, ..before.clone() };
        for passed in 1..most {
            if f32::from(most - passed) <= longest {
                let unchanged = self.state.clone();
                self.tick(Tick::new(1.0, turn));
                self.state.hypotheses.set_lag(LONGEST_WAIT - (most - passed));
                self.take_part(&mut rivals, WAITED);
                self.state = unchanged;
            }
            self.tick(UNCHANGED);
        }
        self.compete(rivals);
        if self
            .state
            .hypotheses
            .iter()
            .any(|hypothesis| hypothesis.lag != LONGEST_WAIT && hypothesis.log_likelihood > -CERTAIN)
        {
            (self.state.spread, self.state.lag_of_last) = (true, LONGEST_WAIT);
        } else {
            self.state = crossed;
        }
    }

    /// Crosses the gap with one interval less and one more, and lets the hypotheses compete with those that are there.
    fn cross_otherwise(&mut self, before: &TrackState, likely: f32, ticks: f32, jitter: f32, turn: u8) {
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
                self.state = before.clone();
                if self.cross_in(intervals, ticks, turn).is_none() {
                    self.take_part(&mut rivals, unlikely(intervals));
                }
            }
        }
        self.compete(rivals);
    }

    fn cross_in(&mut self, intervals: f32, ticks: f32, turn: u8) -> Option<Settled> {
        self.state.likelihood = 0.0;
        let each = ticks / intervals;
        let (most, from) = SPREAD;
        let spread = most * (from / intervals).min(1.0);
        let mut done = 1.0;
        while done < intervals {
            // An interval's end is known the less the further it is from either report.
            let blur = BLUR * (done * (intervals - done) / intervals).sqrt();
            self.tick(Tick { ticks: each, turn: 0, blur: TimestampUncertainty { ticks: blur, spread } });
            if let Some(settled) = self.settle() {
                return Some(settled);
            }
            done += 1.0;
        }
        if intervals > 1.5 {
            let (fast, age) = BLURRED;
            for hypothesis in
                self.state.hypotheses.iter_mut().filter(|hypothesis| hypothesis.speed.abs() > fast)
            {
                hypothesis.age = hypothesis.age.min(age);
            }
        }
        self.tick(Tick::new(each, turn));
        None
    }

    /// A silence was so long that one interval more or less fits into it. A wheel that went through it at four edges an
    /// interval, or a multiple, turned as many more or less then. How evenly hands turn is too little known to tell by
    /// that; the same reports come from both (`ambiguity_tests`).
    fn slip(&mut self, was: i32, intervals: f32) {
        let likely = self.state.hypotheses.iter().filter(|hypothesis| hypothesis.log_likelihood > -CERTAIN);
        let through =
            likely.map(|hypothesis| hypothesis.edges.saturating_sub(was).saturating_abs()).max().unwrap_or(0);
        let intervals = nearest(intervals).max(1);
        let fours = through.saturating_add(2 * intervals) / (4 * intervals);
        self.state.slipped = self.state.slipped.saturating_add(4 * fours);
    }

    /// Whether the hypotheses differ in how many intervals went by since the last sample whose number is certain.
    pub(super) fn is_spread(&self) -> bool {
        self.state.spread
    }

    /// A report that waited to be read: it was sampled in one of the first `most` intervals after the last sample whose
    /// number is certain, and after all others since. Each number is an account of its own.
    pub(super) fn spread(&mut self, most: u8, turn: u8) {
        let before = self.state.clone();
        let most = most.clamp(1, LONGEST_WAIT);
        let mut rivals = Rivals::none();
        let latest = before.lag_of_last + most;
        for lag in 0..latest {
            let Some((likelihood, hypotheses)) = before.hypotheses.with_lag(lag) else { continue };
            self.state = TrackState { hypotheses, likelihood, ..before.clone() };
            for passed in lag + 1..=latest {
                let unchanged = self.state.clone();
                self.tick(Tick::new(1.0, turn));
                self.state.hypotheses.set_lag(passed);
                self.take_part(&mut rivals, 0.0);
                self.state = unchanged;
                if passed < latest {
                    self.tick(UNCHANGED);
                }
            }
        }
        if rivals.likeliest.is_none() {
            // More reports than there were intervals.
            self.state = before;
            self.tick(Tick::new(1.0, turn));
            return;
        }
        self.compete(rivals);
        self.state.spread = true;
    }

    /// A report whose number is certain after some that waited.
    fn gather(&mut self, intervals: f32, turn: u8) {
        let before = self.state.clone();
        let mut rivals = Rivals::none();
        for lag in 0..=2 * LONGEST_WAIT {
            let left = intervals + f32::from(before.lag_of_last) - f32::from(lag);
            if left < 0.5 {
                break;
            }
            let Some((likelihood, mut hypotheses)) = before.hypotheses.with_lag(lag) else { continue };
            hypotheses.set_lag(0);
            self.state = TrackState { hypotheses, likelihood, ..before.clone() };
            let mut done = 1.0;
            while done < left {
                self.tick(UNCHANGED);
                done += 1.0;
            }
            self.tick(Tick::new(1.0, turn));
            self.take_part(&mut rivals, 0.0);
        }
        if rivals.likeliest.is_none() {
            self.state = before;
            self.state.hypotheses.set_lag(0);
            self.tick(Tick::new(1.0, turn));
        } else {
            self.compete(rivals);
        }
        (self.state.spread, self.state.lag_of_last) = (false, 0);
    }

    /// The account as it stands is one of several, `log_likelihood` in advance.
    fn take_part(&self, rivals: &mut Rivals, log_likelihood: f32) {
        let log_likelihood = self.state.likelihood + log_likelihood;
        self.join(&mut rivals.all, &self.state.hypotheses, log_likelihood);
        if rivals.likeliest.as_ref().is_none_or(|(best, _)| log_likelihood > *best) {
            rivals.likeliest = Some((log_likelihood, self.state.clone()));
        }
    }

    /// Goes on with the likeliest hypotheses of all accounts.
    fn compete(&mut self, rivals: Rivals) {
        if let Some((_, state)) = rivals.likeliest {
            self.state = state;
        }
        if let Some((_, hypotheses)) = rivals.all.rank() {
            self.state.hypotheses = hypotheses;
        }
    }

    /// What comes out if nothing has changed for so many intervals up to now. `None`, and nothing changed,
    /// where that is not enough for the wheel to have settled.
    pub(super) fn wait(&mut self, intervals: u32) -> Option<Settled> {
        let before = self.state.clone();
        let (most, from) = SPREAD;
        let mut done = 0.0_f32;
        for _ in 0..intervals {
            let spread = most * (from / (done + 1.0)).min(1.0);
            self.tick(Tick {
                ticks: 1.0,
                turn: 0,
                blur: TimestampUncertainty { ticks: BLUR * done.sqrt(), spread },
            });
            if let Some(settled) = self.settle() {
                return Some(settled);
            }
            done += 1.0;
        }
        self.state = before;
        None
    }
}
