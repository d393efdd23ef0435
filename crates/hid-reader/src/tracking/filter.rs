//! From phases to the likeliest path, tick by tick.

use super::gains::{Gains, LAST_AGE, NEVER, single};
use super::hand::{Hand, PACES};
use super::offers::{DROPPED, Offers};
use super::paths::{Path, Paths};
use super::table;
use super::trust::{Evidence, Trust};

/// Per tick, the probability that a resting wheel begins to move.
const STARTS: f32 = 0.03;
/// Per tick, the probability that a resting wheel creeps or trembles over one edge.
const CREEPS: f32 = 0.03;
/// Per tick, the probability that a moving wheel whose speed may be 0 rests.
const STOPS: f32 = 0.15;
/// Per tick, the probability that a moving wheel goes over to the next pace up or down.
const PACE_CHANGES: f32 = 0.02;
/// Per tick, the probability of showing a state next to the true one for no reason but a bad contact. Small:
/// a larger one explains true reversals away.
const GLITCHES: f32 = 0.001;

/// A path that is less likely than the best by this logarithm is no longer in doubt: 1 in 8,000.
pub(super) const CERTAIN: f32 = 9.0;
/// What is less likely than the best by this logarithm does not keep the tally from settling.
const SETTLED: f32 = 12.0;
/// Paths whose likelihoods differ by less than this logarithm are as likely.
const TIED: f32 = 1.0;
/// Ticks without a change after which the wheel may be said to rest.
const RESTS_AFTER: u16 = 8;
/// The same for a wheel that stands at several edges a tick, where no path can be believed.
const RESTS_AFTER_UNBELIEVABLE: u16 = 4;
/// The most that a stroke turns at one even speed, in turns: its speed is within a tenth of its peak for 0.4 of
/// its length, which is two turns at most.
const FARTHEST_UNSEEN: f64 = 0.8;
/// What a path pays per tick that claims to have gone farther without a change of phase.
const TOO_FAR_COSTS: f32 = 3.0;
/// Variances of the speed, from 0, beyond which a path is not asked whether it stops.
const STOP_UNLIKELY: f32 = 8.0;

/// What a path pays per tick at the fastest that a hand turns; half as fast, a sixteenth. Tried from 0 to 1: without it a
/// coarse wheel that begins with a bounce may be followed at its true speed and eight edges a tick more.
const HASTE_COSTS: f32 = 0.5;

/// So many standard deviations of a sample's time are held possible.
const SMEARS: f32 = 3.0;

/// Less noise of a sample's place than this, in edges, makes no difference.
const NOISE_COUNTS: f32 = 0.12;

/// A hand stops a wheel at most so many times as hard as it sped it up before, and at least as hard as this in edges per
/// tick^2, within so many edges unseen; the speed is known to so many edges per tick.
const STOPS_HARDER: f32 = 3.0;
const STOPS_HARD: f32 = 0.15;
const STOPS_WITHIN: f32 = 1.5;
const STOP_SPEED_UNCERTAIN: f32 = 0.25;

/// Paces as an index.
const LAST_PACE: u8 = 3;
const _: () = assert!(PACES == 4);

/// Logarithms of the probabilities above.
#[derive(Debug, Clone, Copy)]
struct Logs {
    stays: f32,
    creeps: f32,
    starts: f32,
    stops: f32,
    pace_changes: f32,
    glitches: f32,
}

impl Logs {
    fn new() -> Self {
        let paces = f32::from(u8::try_from(PACES).unwrap_or(u8::MAX));
        Self {
            stays: (1.0 - STARTS - CREEPS).ln(),
            creeps: (CREEPS / 2.0).ln(),
            starts: (STARTS / paces).ln(),
            stops: STOPS.ln(),
            pace_changes: PACE_CHANGES.ln(),
            glitches: GLITCHES.ln(),
        }
    }
}

/// How far the truth may lie below and above a tally, in edges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Doubt {
    pub(super) low: i32,
    pub(super) high: i32,
}

/// A wheel that has come to rest: what it came to, and what stays in doubt for good.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Settled {
    /// Edges since the tally was last certain.
    pub(super) edges: i32,
    pub(super) doubt: Doubt,
    /// What is in doubt is as likely as what is not.
    pub(super) tie: bool,
    /// The wheel was too fast when the phase last changed for any hand to have stopped it before it changed again.
    pub(super) stopped_dead: bool,
}

/// How uncertain the moment of a sample is that nobody was told of.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Blur {
    /// In ticks, either way.
    pub(super) ticks: f32,
    /// How much likelihood a path is worth less for being anywhere within it, per nat.
    pub(super) spread: f32,
}

/// One tick: how long it was, where the phase is (0 to 3) after that before, and how well its end is known.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tick {
    pub(super) ticks: f32,
    pub(super) turn: u8,
    pub(super) blur: Blur,
}

impl Tick {
    pub(super) const fn new(ticks: f32, turn: u8) -> Self {
        Self { ticks, turn, blur: Blur { ticks: 0.0, spread: 0.0 } }
    }
}

/// The paths of one wheel, and what they say.
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
    pub(super) story: Story,
}

/// What a wheel turns in a tick at least that nobody can follow: with less the phases would tell the way. The table's sign
/// is right then, since a stroke begins and ends slowly, and what it has counted is that much short.
const LEAST_EDGES: f32 = 2.0;

/// All that changes while a wheel is followed.
#[derive(Debug, Clone)]
pub(super) struct Story {
    pub(super) paths: Paths,
    pub(super) trust: Trust,
    /// What the table has counted.
    pub(super) table: i32,
    /// Ticks since the phase last changed.
    pub(super) unchanged: u16,
    /// Logarithm of the likelihood of the best path since this was last set to 0.
    pub(super) likelihood: f32,
    /// By how many edges either way silences may have been longer or shorter than they are taken for.
    pub(super) slipped: i32,
    /// Paths differ in their lag.
    pub(super) spread: bool,
    /// The lag of a path for which the last sample whose number is certain was sampled when it is said to.
    pub(super) lag_of_last: u8,
    /// How fast the likeliest path was when the phase last changed, in edges per tick.
    pub(super) at_change: f32,
    /// For so many intervals nothing was heard although the wheel cannot have stopped.
    pub(super) unheard: u32,
}

impl Story {
    pub(super) fn at_rest() -> Self {
        Self {
            paths: Paths::only(Path::REST),
            trust: Trust::default(),
            table: 0,
            unchanged: 0,
            likelihood: 0.0,
            slipped: 0,
            spread: false,
            lag_of_last: 0,
            at_change: 0.0,
            unheard: 0,
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
            story: Story::at_rest(),
        }
    }

    /// Makes it that of a hand. Nothing is allocated.
    pub(super) fn tune(&mut self, hand: &Hand) {
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
        self.story = Story::at_rest();
    }

    /// The wheel may have been turning at `speed` edges per tick for some time.
    pub(super) fn may_move(&mut self, speed: f32) {
        let mut all = Offers::none();
        self.join(&mut all, &self.story.paths, 0.0);
        for pace in (0..).take(PACES) {
            let path = Path { pace, speed, weight: self.logs.starts, moving: 32, ..Path::REST };
            all.offer(path, &self.gains.shared);
        }
        if let Some((_, paths)) = all.rank() {
            self.story.paths = paths;
        }
    }

    /// Edges since [`Self::rest`], as far as can be told now.
    pub(super) fn edges(&self) -> i32 {
        let best = self.story.paths.best().edges;
        let (trust, table) = (self.story.trust, self.story.table);
        let worse_than_table = trust.is_lost() || (trust.is_wild() && self.is_shaken());
        // What is left is what the table makes of it, brought to the phase: the table is two edges off after each odd
        // number of reports in which both lines had changed.
        let guess = if worse_than_table {
            table.saturating_add(table.signum() * ceiling(LEAST_EDGES * trust.moved()))
        } else if trust.is_gone() {
            // As far as the path gets at an edge a tick.
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
        let mut all = Offers::none();
        self.join(&mut all, &self.story.paths, 0.0);
        for part in -8_i16..=8 {
            let speed = f32::from(part) / 8.0 * self.fastest;
            let path = Path { pace: LAST_PACE, speed, weight: self.logs.starts, moving: 32, ..Path::REST };
            all.offer(path, &self.gains.shared);
        }
        if let Some((_, paths)) = all.rank() {
            self.story.paths = paths;
        }
        self.story.trust.start_anywhere();
    }

    /// For so many intervals nothing was heard although the wheel cannot have stopped.
    pub(super) const fn unheard(&mut self, intervals: u32) {
        self.story.unheard = intervals;
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
        self.story.paths.best().speed
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
    pub(super) fn doubt(&self) -> Doubt {
        let mut doubt = self.doubt_of(|path| path.weight > -CERTAIN);
        if self.story.trust.is_shaky() {
            self.widen(&mut doubt);
        }
        if self.story.unheard > 0 {
            let edges = self.unseen(self.story.unheard.into(), false);
            doubt.low = doubt.low.saturating_add(edges);
            doubt.high = doubt.high.saturating_add(edges);
        }
        doubt
    }

    /// Whether no path can be relied on.
    fn is_shaken(&self) -> bool {
        self.story.trust.is_shaken(self.rival())
    }

    /// How likely the likeliest path is that has other edges than the best.
    fn rival(&self) -> f32 {
        let best = self.story.paths.best().edges;
        let others = self.story.paths.iter().filter(|path| path.edges != best);
        others.map(|path| path.weight).fold(-DROPPED, f32::max)
    }

    fn widen(&self, doubt: &mut Doubt) {
        let reach = self.reach(self.story.trust.moved());
        doubt.low = doubt.low.max(reach);
        doubt.high = doubt.high.max(reach);
    }

    fn doubt_of(&self, counts: impl Fn(&Path) -> bool) -> Doubt {
        let edges = self.edges();
        let mut doubt = Doubt::default();
        for path in self.story.paths.iter().filter(|path| counts(path)) {
            doubt.low = doubt.low.max(edges - path.edges);
            doubt.high = doubt.high.max(path.edges - edges);
        }
        if self.is_shaken() {
            self.widen(&mut doubt);
        } else if let Some(smeared) = self.story.trust.smeared() {
            let edges = nearest(smeared * 0.25).saturating_add(1) * 4;
            doubt.low = doubt.low.max(edges);
            doubt.high = doubt.high.max(edges);
        }
        doubt.low = doubt.low.saturating_add(self.story.slipped);
        doubt.high = doubt.high.saturating_add(self.story.slipped);
        doubt
    }

    /// Whether two numbers of edges are about as likely.
    pub(super) fn is_tie(&self) -> bool {
        let best = self.story.paths.best().edges;
        self.story.paths.iter().any(|path| path.edges != best && path.weight > -TIED)
    }

    /// Whether the tally has only one explanation and the wheel is so slow that the table is right.
    pub(super) fn is_slow_and_certain(&self) -> bool {
        let best = self.story.paths.best();
        best.speed.abs() < 0.6
            && !self.is_shaken()
            && self.story.slipped == 0
            && self.story.paths.iter().all(|path| path.weight < -CERTAIN || path.edges == best.edges)
    }

    /// One sample.
    pub(super) fn tick(&mut self, tick: Tick) {
        self.story.unchanged = if tick.turn == 0 { self.story.unchanged.saturating_add(1) } else { 0 };
        let mut next = Offers::none();
        for path in self.story.paths.iter() {
            if path.rests() {
                self.leave_rest(path, tick, &mut next);
            } else {
                self.step(path, tick, &mut next);
            }
        }
        let edges = i32::from(table(tick.turn));
        match next.rank() {
            Some((weight, paths)) => {
                self.story.table = self.story.table.saturating_add(edges);
                self.story.likelihood += weight;
                self.story.paths = paths;
                if tick.turn != 0 {
                    self.story.unheard = 0;
                    self.story.at_change = self.story.paths.best().speed.abs();
                }
                self.judge(weight, tick);
            }
            None => {
                let edges = self.edges().saturating_add(edges);
                self.story.paths = Paths::only(Path { edges, ..Path::REST });
                self.story.trust.lose_all();
            }
        }
    }

    fn judge(&mut self, likelihood: f32, tick: Tick) {
        let best = self.story.paths.best();
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
        self.story.trust.judge(&evidence);
    }

    fn leave_rest(&self, path: &Path, tick: Tick, next: &mut Offers) {
        let creeps = match tick.turn {
            0 => Some(self.logs.stays),
            2 => None,
            _ => Some(self.logs.creeps),
        };
        if let Some(weight) = creeps {
            let edges = path.edges + i32::from(table(tick.turn));
            next.offer(Path { edges, weight: path.weight + weight, ..*path }, &self.gains.shared);
        }
        for pace in (0..).take(PACES) {
            let starts = Path { pace, weight: path.weight + self.logs.starts, ..*path };
            self.step(&starts, tick, next);
        }
    }

    #[inline]
    fn step(&self, path: &Path, tick: Tick, next: &mut Offers) {
        let ticks = tick.ticks;
        let shared = self.gains.shared(path.pace);
        let gain = self.gains.gain(path.pace, path.age);
        let expected =
            path.place + path.speed * ticks + path.acceleration * ticks * ticks * shared.to_position;
        let speed = path.speed + path.acceleration * ticks * shared.to_speed;
        if speed.abs() > self.fastest * 1.2 {
            return;
        }
        let acceleration = path.acceleration * shared.keeps;
        let moving = path.moving.saturating_add(1);
        let mut weight = path.weight - self.costs_of_standing(speed, moving) - self.costs_of_haste(speed);
        let mut blur = 0.0;
        if tick.blur.ticks > 0.0 {
            blur = (tick.blur.ticks * speed.abs()).min(1.0);
            // What may be anywhere within the blur is the less likely to be at any one place.
            weight -= (2.0 * blur).ln_1p() * tick.blur.spread;
        }

        // The sample's own place is known to the clock's uncertainty: noise of the measurement that grows with speed.
        let noise = self.uncertainty * speed.abs();
        let mut known = 1.0;
        if noise > NOISE_COUNTS {
            known = (gain.variance / (gain.variance + noise * noise)).sqrt();
            weight += known.ln();
        }
        // The edge counts that fit the phase lie four apart; the nearest to what is expected comes first.
        let turn = f32::from(tick.turn);
        let near = turn + 4.0 * ((expected - turn) * 0.25).round();
        let side = if expected > near { 4.0 } else { -4.0 };
        for edges in [near, near + side, near - side] {
            let mut off = edges - expected;
            off -= off.clamp(-blur, blur);
            off *= known;
            let mut likelihood = self.gains.likelihood(path.pace, path.age, off);
            let mut seen = off;
            if off.abs() > 0.5 {
                let glitch = off - off.signum();
                let other = self.gains.likelihood(path.pace, path.age, glitch) + self.logs.glitches;
                if other > likelihood {
                    (likelihood, seen) = (other, glitch);
                }
            }
            let weight = weight + likelihood;
            seen *= known;
            if likelihood < NEVER + 1.0 || weight < next.floor() {
                break;
            }
            let moved = Path {
                edges: path.edges.saturating_add(nearest(edges)),
                weight,
                place: expected + gain.position * seen - edges,
                speed: (speed + gain.speed * seen).clamp(-self.fastest, self.fastest),
                acceleration: (acceleration + gain.acceleration * seen).clamp(-self.hardest, self.hardest),
                pace: path.pace,
                age: (path.age + 1).min(LAST_AGE),
                moving,
                lag: path.lag,
            };
            self.offer_with_changes(moved, gain.stop, next);
        }
    }

    /// The path itself, and what may become of it: it stops, or goes over to another pace.
    #[inline]
    fn offer_with_changes(&self, path: Path, stop: f32, next: &mut Offers) {
        let shared = &self.gains.shared;
        next.offer(path, shared);
        let unlikely = path.speed * path.speed * stop;
        if unlikely < STOP_UNLIKELY {
            let weight = path.weight + self.logs.stops - unlikely;
            next.offer(Path { edges: path.edges, weight, lag: path.lag, ..Path::REST }, shared);
        }
        let weight = path.weight + self.logs.pace_changes;
        if weight > next.floor() {
            if path.pace > 0 {
                next.offer(Path { pace: path.pace - 1, weight, ..path }, shared);
            }
            if path.pace < LAST_PACE {
                next.offer(Path { pace: path.pace + 1, weight, ..path }, shared);
            }
        }
    }

    /// What a path pays that claims to move at four edges a tick, or a multiple, for longer than a stroke can.
    ///
    /// The speed of a stroke is even only near its peak, so what has gone by unseen cannot last longer than
    /// what was seen of its rise, nor longer than a stroke; a rest lasts.
    #[inline]
    fn costs_of_standing(&self, speed: f32, moving: u16) -> f32 {
        let unchanged = self.story.unchanged;
        let patience = if self.story.trust.is_unbelievable() {
            RESTS_AFTER_UNBELIEVABLE
        } else {
            RESTS_AFTER.saturating_add(moving.saturating_sub(unchanged))
        };
        let speed = speed.abs();
        if speed <= 2.0 || unchanged <= RESTS_AFTER_UNBELIEVABLE {
            return 0.0;
        }
        let gone_by = f32::from(unchanged) * speed;
        let too_far = unchanged > RESTS_AFTER && gone_by > self.stands_for;
        f32::from(u8::from(unchanged > patience)) + if too_far { TOO_FAR_COSTS } else { 0.0 }
    }

    /// What a path pays per tick for being about as fast as a hand can be, which is seldom.
    #[inline]
    fn costs_of_haste(&self, speed: f32) -> f32 {
        let part = speed * self.per_fastest;
        HASTE_COSTS * (part * part) * (part * part)
    }

    /// Takes in other paths that are as possible as these, `weight` in advance.
    pub(super) fn join(&self, all: &mut Offers, paths: &Paths, weight: f32) {
        for path in paths.iter() {
            all.offer(Path { weight: path.weight + weight, ..*path }, &self.gains.shared);
        }
    }

    /// Whether the wheel rests and no more can be found out about how it came here. Then what is still in
    /// doubt stays in doubt, and edges count from here.
    pub(super) fn settle(&mut self) -> Option<Settled> {
        let paths = &self.story.paths;
        if self.story.unchanged < RESTS_AFTER {
            return None;
        }
        if self.story.trust.is_gone() {
            // Nothing more will come out, whatever the paths say.
            return Some(self.settle_anyhow());
        }
        if !paths.best().rests() {
            return None;
        }
        // A path that began to move while the phase has not changed is no story about how the wheel came
        // here, nor is one that all but stands where another rests.
        let open = paths.iter().any(|path| {
            !path.rests()
                && path.weight > -SETTLED
                && path.moving > self.story.unchanged
                && (path.speed.abs() > 1.0
                    || !paths
                        .iter()
                        .any(|rest| rest.rests() && rest.edges == path.edges && rest.weight > path.weight))
        });
        (!open).then(|| self.settle_now(|path| path.rests() && path.weight > -CERTAIN))
    }

    /// Whether no hand stops the wheel as it would have to have been stopped: within about an edge and a half from the last
    /// change of phase. What the hand did before in this stroke says what it does.
    fn is_stopped_dead(&self) -> bool {
        let hardest = self.hardest.min((self.story.trust.accelerated() * STOPS_HARDER).max(STOPS_HARD));
        self.story.at_change > (2.0 * STOPS_WITHIN * hardest).sqrt() + STOP_SPEED_UNCERTAIN
    }

    /// Settles whatever is still open.
    pub(super) fn settle_anyhow(&mut self) -> Settled {
        self.settle_now(|path| path.weight > -CERTAIN)
    }

    fn settle_now(&mut self, counts: impl Fn(&Path) -> bool) -> Settled {
        let (tie, stopped_dead) = (self.is_tie(), self.is_stopped_dead());
        let settled = Settled { edges: self.edges(), doubt: self.doubt_of(counts), tie, stopped_dead };
        let unchanged = self.story.unchanged;
        self.rest();
        self.story.unchanged = unchanged;
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
