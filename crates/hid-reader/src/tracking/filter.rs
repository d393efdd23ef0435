//! From phases to the likeliest hypothesis, tick by tick.

use super::candidates::CandidateSet;
use super::consistency::{ConsistencyTest, Evidence};
use super::gains::{Gains, single};
use super::hypotheses::{Hypotheses, Hypothesis};
use super::limits::MotionLimits;
use super::table;
use crate::parameters::candidates::DROPPED;
use crate::parameters::filter::{
    CERTAIN, CREEPS, FARTHEST_UNSEEN, GLITCHES, HASTE_COSTS, LAST_MODEL, LEAST_EDGES, MODE_TRANSITIONS,
    NOISE_COUNTS, RESTS_AFTER, RESTS_AFTER_INCONSISTENT, SETTLED, SMEARS, STARTS, STOP_SPEED_UNCERTAIN,
    STOP_UNLIKELY, STOPS, STOPS_HARD, STOPS_HARDER, STOPS_WITHIN, TIED, TOO_FAR_COSTS,
};
use crate::parameters::gains::{LAST_AGE, NEVER};
use crate::parameters::limits::MODELS;

const _: () = assert!(MODELS == 4);

/// Logarithms of the probabilities above.
#[derive(Debug, Clone, Copy)]
struct Logs {
    stays: f32,
    creeps: f32,
    starts: f32,
    stops: f32,
    mode_transitions: f32,
    glitches: f32,
}

impl Logs {
    fn new() -> Self {
        let models = f32::from(u8::try_from(MODELS).unwrap_or(u8::MAX));
        Self {
            stays: (1.0 - STARTS - CREEPS).ln(),
            creeps: (CREEPS / 2.0).ln(),
            starts: (STARTS / models).ln(),
            stops: STOPS.ln(),
            mode_transitions: MODE_TRANSITIONS.ln(),
            glitches: GLITCHES.ln(),
        }
    }
}

/// How far the truth may lie below and above a tally, in edges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct PendingMargin {
    pub(super) low: i32,
    pub(super) high: i32,
}

/// A wheel that has come to rest: what it came to, and what stays in doubt for good.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Settled {
    /// Edges since the tally was last certain.
    pub(super) edges: i32,
    pub(super) doubt: PendingMargin,
    /// What is in doubt is as likely as what is not.
    pub(super) tie: bool,
    /// The wheel was too fast when the phase last changed for any hand to have stopped it before it changed again.
    pub(super) stopped_dead: bool,
}

/// How uncertain the moment of a sample is that nobody was told of.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct TimestampUncertainty {
    /// In ticks, either way.
    pub(super) ticks: f32,
    /// How much likelihood a hypothesis is worth less for being anywhere within it, per nat.
    pub(super) spread: f32,
}

/// One tick: how long it was, where the phase is (0 to 3) after that before, and how well its end is known.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tick {
    pub(super) ticks: f32,
    pub(super) turn: u8,
    pub(super) blur: TimestampUncertainty,
}

impl Tick {
    pub(super) const fn new(ticks: f32, turn: u8) -> Self {
        Self { ticks, turn, blur: TimestampUncertainty { ticks: 0.0, spread: 0.0 } }
    }
}

/// The hypotheses of one wheel, and what they say.
#[derive(Debug, Clone)]
pub(super) struct Filter {
    gains: Box<Gains>,
    logs: Logs,
    fastest: f32,
    per_fastest: f32,
    hardest: f32,
    stands_for: f32,
    /// Standard deviation of a sample's place in time, in ticks.
    uncertainty: f32,
    /// The longest that a sample may be older than its report, in ticks.
    scan: f32,
    /// The longest that a report waits to be read, in ticks.
    pub(super) longest_wait: f32,
    /// Reports have waited lately.
    pub(super) may_wait: bool,
    pub(super) state: TrackState,
}

/// All that changes while a wheel is followed.
#[derive(Debug, Clone)]
pub(super) struct TrackState {
    pub(super) hypotheses: Hypotheses,
    pub(super) trust: ConsistencyTest,
    /// What the table has counted.
    pub(super) table: i32,
    /// Ticks since the phase last changed.
    pub(super) unchanged: u16,
    /// Logarithm of the likelihood of the best hypothesis since this was last set to 0.
    pub(super) likelihood: f32,
    /// By how many edges either way silences may have been longer or shorter than they are taken for.
    pub(super) slipped: i32,
    /// Hypotheses differ in their lag.
    pub(super) spread: bool,
    /// The lag of a hypothesis for which the last sample whose number is certain was sampled when it is said to.
    pub(super) lag_of_last: u8,
    /// How fast the likeliest hypothesis was when the phase last changed, in edges per tick.
    pub(super) at_change: f32,
}

impl TrackState {
    pub(super) fn at_rest() -> Self {
        Self {
            hypotheses: Hypotheses::only(Hypothesis::REST),
            trust: ConsistencyTest::default(),
            table: 0,
            unchanged: 0,
            likelihood: 0.0,
            slipped: 0,
            spread: false,
            lag_of_last: 0,
            at_change: 0.0,
        }
    }
}

impl Filter {
    /// For nobody yet; [`Self::tune`] has to follow.
    pub(super) fn new() -> Self {
        Self {
            gains: Box::new(Gains::blank()),
            logs: Logs::new(),
            fastest: 0.0,
            per_fastest: 0.0,
            hardest: 0.0,
            stands_for: 0.0,
            uncertainty: 0.0,
            scan: 0.0,
            longest_wait: 0.0,
            may_wait: false,
            state: TrackState::at_rest(),
        }
    }

    /// Makes it that of a hand. Nothing is allocated.
    pub(super) fn tune(&mut self, hand: &MotionLimits) {
        self.gains.work_out(hand);
        self.fastest = single(hand.fastest);
        self.per_fastest = single(1.0 / hand.fastest);
        self.hardest = single(hand.hardest);
        self.stands_for = single(FARTHEST_UNSEEN * hand.turn);
        self.scan = single(hand.scan);
        self.longest_wait = single(hand.longest_wait);
        self.rest();
    }

    /// Forgets everything: the wheel rests, and edges count from here.
    pub(super) fn rest(&mut self) {
        self.state = TrackState::at_rest();
    }

    /// The wheel may have been turning at `speed` edges per tick for some time.
    pub(super) fn may_move(&mut self, speed: f32) {
        let mut all = CandidateSet::none();
        self.join(&mut all, &self.state.hypotheses, 0.0);
        for model in (0..).take(MODELS) {
            let hypothesis =
                Hypothesis { model, speed, log_likelihood: self.logs.starts, moving: 32, ..Hypothesis::REST };
            all.offer(hypothesis, &self.gains.shared);
        }
        if let Some((_, hypotheses)) = all.rank() {
            self.state.hypotheses = hypotheses;
        }
    }

    /// Edges since [`Self::rest`], as far as can be told now.
    pub(super) fn edges(&self) -> i32 {
        let best = self.state.hypotheses.best().edges;
        let (trust, table) = (self.state.trust, self.state.table);
        let worse_than_table = trust.is_lost() || (trust.is_out_of_range() && self.is_tentative());
        // What is left is what the table makes of it, brought to the phase: the table is two edges off after each odd
        // number of reports in which both lines had changed.
        let guess = if worse_than_table {
            table.saturating_add(table.signum() * ceiling(LEAST_EDGES * trust.moved()))
        } else if trust.is_given_up() {
            // As far as the hypothesis gets at an edge a tick.
            let limit = ceiling(trust.moved());
            table.saturating_add(best.saturating_sub(table).clamp(-limit, limit))
        } else {
            return best;
        };
        match best.wrapping_sub(guess).rem_euclid(4) {
            0 => guess,
            1 => guess + 1,
            3 => guess - 1,
            _ if guess < 0 => guess - 2,
            _ => guess + 2,
        }
    }

    /// Samples are known to be in their place up to this standard deviation, in ticks.
    #[inline]
    pub(super) const fn set_uncertainty(&mut self, uncertainty: f32) {
        self.uncertainty = uncertainty;
    }

    /// Reports have waited to be read lately, or none has.
    #[inline]
    pub(super) const fn reports_may_wait(&mut self, may: bool) {
        self.may_wait = may;
    }

    /// The wheel may be turning at any speed that a hand can turn it, and nothing is certain before it rests.
    pub(super) fn start_anywhere(&mut self) {
        let mut all = CandidateSet::none();
        self.join(&mut all, &self.state.hypotheses, 0.0);
        for part in -8_i16..=8 {
            let speed = f32::from(part) / 8.0 * self.fastest;
            let hypothesis = Hypothesis {
                model: LAST_MODEL,
                speed,
                log_likelihood: self.logs.starts,
                moving: 32,
                ..Hypothesis::REST
            };
            all.offer(hypothesis, &self.gains.shared);
        }
        if let Some((_, hypotheses)) = all.rank() {
            self.state.hypotheses = hypotheses;
        }
        self.state.trust.start_anywhere();
    }

    /// By how many edges, in whole cycles, a wheel may be off after so many intervals of which nothing is known; `gently`
    /// where its speed before or after is known.
    pub(super) fn unseen(&self, intervals: u64, gently: bool) -> i32 {
        let intervals = f32::from(u16::try_from(intervals).unwrap_or(u16::MAX));
        let mut edges = intervals * self.fastest + 2.0;
        if gently {
            edges = edges.min(0.5 * self.hardest * intervals * intervals);
        }
        nearest(((edges + 2.0) * 0.25).min(1e8)) * 4
    }

    /// The likeliest speed in edges per tick.
    pub(super) fn speed(&self) -> f32 {
        self.state.hypotheses.best().speed
    }

    /// How far a hand can turn the wheel in so many ticks, at most.
    pub(super) fn reach(&self, ticks: f32) -> i32 {
        ceiling(ticks * self.fastest) + 2
    }

    /// The most edges in a tick, whole.
    pub(super) fn per_tick(&self) -> u64 {
        u64::try_from(ceiling(self.fastest)).unwrap_or(1).max(1)
    }

    /// How far the truth may lie from [`Self::edges`] while nothing has settled.
    pub(super) fn doubt(&self) -> PendingMargin {
        let mut doubt = self.pending_of(|hypothesis| hypothesis.log_likelihood > -CERTAIN);
        if self.state.trust.is_early_tentative() {
            self.widen(&mut doubt);
        }
        doubt
    }

    /// Whether no hypothesis can be relied on.
    fn is_tentative(&self) -> bool {
        self.state.trust.is_tentative(self.rival())
    }

    /// How likely the likeliest hypothesis is that has other edges than the best.
    fn rival(&self) -> f32 {
        let best = self.state.hypotheses.best().edges;
        let others = self.state.hypotheses.iter().filter(|hypothesis| hypothesis.edges != best);
        others.map(|hypothesis| hypothesis.log_likelihood).fold(-DROPPED, f32::max)
    }

    fn widen(&self, doubt: &mut PendingMargin) {
        let reach = self.reach(self.state.trust.moved());
        doubt.low = doubt.low.max(reach);
        doubt.high = doubt.high.max(reach);
    }

    fn pending_of(&self, counts: impl Fn(&Hypothesis) -> bool) -> PendingMargin {
        let edges = self.edges();
        let mut doubt = PendingMargin::default();
        for hypothesis in self.state.hypotheses.iter().filter(|hypothesis| counts(hypothesis)) {
            doubt.low = doubt.low.max(edges - hypothesis.edges);
            doubt.high = doubt.high.max(hypothesis.edges - edges);
        }
        if self.is_tentative() {
            self.widen(&mut doubt);
        } else if let Some(smeared) = self.state.trust.smeared() {
            let edges = nearest(smeared * 0.25).saturating_add(1) * 4;
            doubt.low = doubt.low.max(edges);
            doubt.high = doubt.high.max(edges);
        }
        doubt.low = doubt.low.saturating_add(self.state.slipped);
        doubt.high = doubt.high.saturating_add(self.state.slipped);
        doubt
    }

    /// Whether two numbers of edges are about as likely.
    pub(super) fn is_tie(&self) -> bool {
        let best = self.state.hypotheses.best().edges;
        self.state
            .hypotheses
            .iter()
            .any(|hypothesis| hypothesis.edges != best && hypothesis.log_likelihood > -TIED)
    }

    /// Whether the tally has only one explanation and the wheel is so slow that the table is right.
    pub(super) fn is_slow_and_certain(&self) -> bool {
        let best = self.state.hypotheses.best();
        best.speed.abs() < 0.6
            && !self.is_tentative()
            && self.state.slipped == 0
            && self
                .state
                .hypotheses
                .iter()
                .all(|hypothesis| hypothesis.log_likelihood < -CERTAIN || hypothesis.edges == best.edges)
    }

    /// One sample.
    pub(super) fn tick(&mut self, tick: Tick) {
        self.state.unchanged = if tick.turn == 0 { self.state.unchanged.saturating_add(1) } else { 0 };
        let mut next = CandidateSet::none();
        for hypothesis in self.state.hypotheses.iter() {
            if hypothesis.rests() {
                self.leave_rest(hypothesis, tick, &mut next);
            } else {
                self.step(hypothesis, tick, &mut next);
            }
        }
        let edges = i32::from(table(tick.turn));
        match next.rank() {
            Some((log_likelihood, hypotheses)) => {
                self.state.table = self.state.table.saturating_add(edges);
                self.state.likelihood += log_likelihood;
                self.state.hypotheses = hypotheses;
                if tick.turn != 0 {
                    self.state.at_change = self.state.hypotheses.best().speed.abs();
                }
                self.judge(log_likelihood, tick);
            }
            None => {
                let edges = self.edges().saturating_add(edges);
                self.state.hypotheses = Hypotheses::only(Hypothesis { edges, ..Hypothesis::REST });
                self.state.trust.lose_all();
            }
        }
    }

    fn judge(&mut self, likelihood: f32, tick: Tick) {
        let best = self.state.hypotheses.best();
        let evidence = Evidence {
            likelihood,
            ticks: tick.ticks,
            told: tick.blur.ticks <= 0.0,
            changed: tick.turn != 0,
            speed: best.speed,
            acceleration: if best.age > 3 { best.acceleration } else { 0.0 },
            hardest: self.hardest,
            smeared: best.speed.abs() * self.scan.max(SMEARS * self.uncertainty),
        };
        self.state.trust.judge(&evidence);
    }

    fn leave_rest(&self, hypothesis: &Hypothesis, tick: Tick, next: &mut CandidateSet) {
        let creeps = match tick.turn {
            0 => Some(self.logs.stays),
            2 => None,
            _ => Some(self.logs.creeps),
        };
        if let Some(log_likelihood) = creeps {
            let edges = hypothesis.edges + i32::from(table(tick.turn));
            next.offer(
                Hypothesis {
                    edges,
                    log_likelihood: hypothesis.log_likelihood + log_likelihood,
                    ..*hypothesis
                },
                &self.gains.shared,
            );
        }
        for model in (0..).take(MODELS) {
            let starts = Hypothesis {
                model,
                log_likelihood: hypothesis.log_likelihood + self.logs.starts,
                ..*hypothesis
            };
            self.step(&starts, tick, next);
        }
    }

    #[inline]
    fn step(&self, hypothesis: &Hypothesis, tick: Tick, next: &mut CandidateSet) {
        let ticks = tick.ticks;
        let shared = self.gains.shared(hypothesis.model);
        let gain = self.gains.gain(hypothesis.model, hypothesis.age);
        let expected = hypothesis.place
            + hypothesis.speed * ticks
            + hypothesis.acceleration * ticks * ticks * shared.to_position;
        let speed = hypothesis.speed + hypothesis.acceleration * ticks * shared.to_speed;
        if speed.abs() > self.fastest * 1.2 {
            return;
        }
        let acceleration = hypothesis.acceleration * shared.keeps;
        let moving = hypothesis.moving.saturating_add(1);
        let mut log_likelihood =
            hypothesis.log_likelihood - self.costs_of_standing(speed, moving) - self.costs_of_haste(speed);
        let mut blur = 0.0;
        if tick.blur.ticks > 0.0 {
            blur = (tick.blur.ticks * speed.abs()).min(1.0);
            // What may be anywhere within the blur is the less likely to be at any one place.
            log_likelihood -= (2.0 * blur).ln_1p() * tick.blur.spread;
        }

        // The sample's own place is known to the clock's uncertainty: noise of the measurement that grows with speed.
        let noise = self.uncertainty * speed.abs();
        let mut known = 1.0;
        if noise > NOISE_COUNTS {
            known = (gain.variance / (gain.variance + noise * noise)).sqrt();
            log_likelihood += known.ln();
        }
        // The edge counts that fit the phase lie four apart; the nearest to what is expected comes first.
        let turn = f32::from(tick.turn);
        let near = turn + 4.0 * ((expected - turn) * 0.25).round();
        let side = if expected > near { 4.0 } else { -4.0 };
        for edges in [near, near + side, near - side] {
            let mut off = edges - expected;
            off -= off.clamp(-blur, blur);
            off *= known;
            let mut likelihood = self.gains.likelihood(hypothesis.model, hypothesis.age, off);
            let mut seen = off;
            if off.abs() > 0.5 {
                let glitch = off - off.signum();
                let other =
                    self.gains.likelihood(hypothesis.model, hypothesis.age, glitch) + self.logs.glitches;
                if other > likelihood {
                    (likelihood, seen) = (other, glitch);
                }
            }
            let log_likelihood = log_likelihood + likelihood;
            seen *= known;
            if likelihood < NEVER + 1.0 || log_likelihood < next.floor() {
                break;
            }
            let moved = Hypothesis {
                edges: hypothesis.edges.saturating_add(nearest(edges)),
                log_likelihood,
                place: expected + gain.position * seen - edges,
                speed: (speed + gain.speed * seen).clamp(-self.fastest, self.fastest),
                acceleration: (acceleration + gain.acceleration * seen).clamp(-self.hardest, self.hardest),
                model: hypothesis.model,
                age: (hypothesis.age + 1).min(LAST_AGE),
                moving,
                lag: hypothesis.lag,
            };
            self.offer_with_changes(moved, gain.stop, next);
        }
    }

    /// The hypothesis itself, and what may become of it: it stops, or goes over to another model.
    #[inline]
    fn offer_with_changes(&self, hypothesis: Hypothesis, stop: f32, next: &mut CandidateSet) {
        let shared = &self.gains.shared;
        next.offer(hypothesis, shared);
        let unlikely = hypothesis.speed * hypothesis.speed * stop;
        if unlikely < STOP_UNLIKELY {
            let log_likelihood = hypothesis.log_likelihood + self.logs.stops - unlikely;
            next.offer(
                Hypothesis {
                    edges: hypothesis.edges,
                    log_likelihood,
                    lag: hypothesis.lag,
                    ..Hypothesis::REST
                },
                shared,
            );
        }
        let log_likelihood = hypothesis.log_likelihood + self.logs.mode_transitions;
        if log_likelihood > next.floor() {
            if hypothesis.model > 0 {
                next.offer(Hypothesis { model: hypothesis.model - 1, log_likelihood, ..hypothesis }, shared);
            }
            if hypothesis.model < LAST_MODEL {
                next.offer(Hypothesis { model: hypothesis.model + 1, log_likelihood, ..hypothesis }, shared);
            }
        }
    }

    /// What a hypothesis pays that claims to move at four edges a tick, or a multiple, for longer than a stroke can.
    ///
    /// The speed of a stroke is even only near its peak, so what has gone by unseen cannot last longer than
    /// what was seen of its rise, nor longer than a stroke; a rest lasts.
    #[inline]
    fn costs_of_standing(&self, speed: f32, moving: u16) -> f32 {
        let unchanged = self.state.unchanged;
        let patience = if self.state.trust.is_inconsistent() {
            RESTS_AFTER_INCONSISTENT
        } else {
            RESTS_AFTER.saturating_add(moving.saturating_sub(unchanged))
        };
        let speed = speed.abs();
        if speed <= 2.0 || unchanged <= RESTS_AFTER_INCONSISTENT {
            return 0.0;
        }
        let gone_by = f32::from(unchanged) * speed;
        let too_far = unchanged > RESTS_AFTER && gone_by > self.stands_for;
        f32::from(u8::from(unchanged > patience)) + if too_far { TOO_FAR_COSTS } else { 0.0 }
    }

    /// What a hypothesis pays per tick for being about as fast as a hand can be, which is seldom.
    #[inline]
    fn costs_of_haste(&self, speed: f32) -> f32 {
        let part = speed * self.per_fastest;
        HASTE_COSTS * (part * part) * (part * part)
    }

    /// Takes in other hypotheses that are as possible as these, `log_likelihood` in advance.
    pub(super) fn join(&self, all: &mut CandidateSet, hypotheses: &Hypotheses, log_likelihood: f32) {
        for hypothesis in hypotheses.iter() {
            all.offer(
                Hypothesis { log_likelihood: hypothesis.log_likelihood + log_likelihood, ..*hypothesis },
                &self.gains.shared,
            );
        }
    }

    /// Whether the wheel rests and no more can be found out about how it came here. Then what is still in
    /// doubt stays in doubt, and edges count from here.
    pub(super) fn settle(&mut self) -> Option<Settled> {
        let hypotheses = &self.state.hypotheses;
        if self.state.unchanged < RESTS_AFTER {
            return None;
        }
        if self.state.trust.is_given_up() {
            // Nothing more will come out, whatever the hypotheses say.
            return Some(self.settle_anyhow());
        }
        if !hypotheses.best().rests() {
            return None;
        }
        // A hypothesis that began to move while the phase has not changed is no state about how the wheel came
        // here, nor is one that all but stands where another rests.
        let open = hypotheses.iter().any(|hypothesis| {
            !hypothesis.rests()
                && hypothesis.log_likelihood > -SETTLED
                && hypothesis.moving > self.state.unchanged
                && (hypothesis.speed.abs() > 1.0
                    || !hypotheses.iter().any(|rest| {
                        rest.rests()
                            && rest.edges == hypothesis.edges
                            && rest.log_likelihood > hypothesis.log_likelihood
                    }))
        });
        (!open)
            .then(|| self.settle_now(|hypothesis| hypothesis.rests() && hypothesis.log_likelihood > -CERTAIN))
    }

    /// Whether no hand stops the wheel as it would have to have been stopped: within about an edge and a half from the last
    /// change of phase. What the hand did before in this stroke says what it does.
    fn is_stopped_dead(&self) -> bool {
        let hardest = self.hardest.min((self.state.trust.accelerated() * STOPS_HARDER).max(STOPS_HARD));
        self.state.at_change > (2.0 * STOPS_WITHIN * hardest).sqrt() + STOP_SPEED_UNCERTAIN
    }

    /// Settles whatever is still open.
    pub(super) fn settle_anyhow(&mut self) -> Settled {
        self.settle_now(|hypothesis| hypothesis.log_likelihood > -CERTAIN)
    }

    fn settle_now(&mut self, counts: impl Fn(&Hypothesis) -> bool) -> Settled {
        let (tie, stopped_dead) = (self.is_tie(), self.is_stopped_dead());
        let settled = Settled { edges: self.edges(), doubt: self.pending_of(counts), tie, stopped_dead };
        let unchanged = self.state.unchanged;
        self.rest();
        self.state.unchanged = unchanged;
        settled
    }
}

#[expect(clippy::as_conversions, reason = "`as` saturates; edges in one tick and intervals in a gap are few")]
#[inline]
pub(super) fn nearest(number: f32) -> i32 {
    number as i32
}

#[expect(clippy::as_conversions, reason = "`as` saturates, and the limit is far from where sums overflow")]
fn ceiling(edges: f32) -> i32 {
    edges.ceil().min(1e8) as i32
}
