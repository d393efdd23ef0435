//! Follows a wheel past one edge per report.
//!
//! Two lines show a wheel's edges modulo four. Below one edge per report that is enough, and the published
//! table is right; above, it takes three edges for one back and four for none. But a wheel has mass and a hand
//! has limits: where its motion is known, only one of the counts that fit the phase fits the motion too. Any
//! constant speed can be followed so; what limits it is acceleration, a, to about a x T^2 = 1 edge with T the
//! report interval.
//!
//! A `Tracker` has two ways to go on:
//!
//! | state | taken as | until |
//! |---|---|---|
//! | calm | what the table says; the last 16 reports are kept | a report that the table might get wrong: both lines changed, nearly one edge per report, a sudden turn |
//! | following | the likeliest of up to 24 hypotheses, each an account of all reports since the wheel was last certain | it rests and no more can be found out, or it is slow and certain |
//!
//! When it begins to follow, the reports kept are gone through again, so what the table got wrong is put
//! right. A hypothesis (`hypotheses`) has edges, speed and acceleration and is led by a filter (`filter`, `gains`, `offers`);
//! hypotheses that differ by four edges compete by how well they foresee the next phase. A wheel that rests shows
//! the same phase again and again, and so does one at exactly four edges a report: but no hand keeps to that,
//! so the second account dies within a few reports, and what the tally got wrong meanwhile is put right late
//! rather than never. Intervals of which nobody tells are in `silence`, those of the board in `clock`; where a silence
//! is so long that one interval more fits into it, what a wheel turns in one stays in doubt (`ambiguity_tests` shows why).
//!
//! What cannot be told stays in doubt: while the wheel turns as `Tracker::doubt`, which may shrink, and when
//! it rests as `Tracked::lost`, for good. Where no account fits (`trust`), the tally goes on from what the
//! table makes of it, and where the hypothesis is worse than the table from two edges a tick more than that; the doubt is what a
//! hand could have turned meanwhile.
//!
//! Everything is in single precision. Nothing is allocated after `Tracker::new`.

mod beat;
mod candidates;
mod consistency;
mod filter;
mod gains;
mod gaps;
mod hypotheses;
mod limits;
mod recent;
mod warm_up;

pub(crate) use beat::Beat;

use crate::parameters::tracker::{
    AFTER_GAP, EDGES_PRESUMED, FOLLOWED_THROUGH, LONGEST_INTERVAL, LONGEST_TICKS, MISSING_FOR, PATIENCE,
    RIG_FILE_OFF, SHORTEST_TICK, SILENCE, SLOW_REPORTS,
};
use crate::timing::{Sample, SampleClock, single};
use beat::Report;
use filter::{Filter, PendingMargin, Settled, Tick, TrackState};
use limits::MotionLimits;
use recent::Recent;
use std::time::Duration;
use tallywheel_units::{Counts, Margin, Timestamp};
use warm_up::WarmUpBuffer;

/// What a report, or silence, changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Tracked {
    /// Edges to add to the tally; a correction of earlier ones may be among them.
    pub(crate) edges: i64,
    /// Both lines changed and the report interval is not known: two edges passed that no one can tell the
    /// direction of, and none is counted, though [`Tracker::edges`] goes on by two to keep to the phase.
    pub(crate) skipped: bool,
    /// The interval has become known, and with it what those reports meant: [`Self::edges`] is right only with
    /// the edges that [`Tracker::edges`] went on by.
    pub(crate) found: bool,
    /// What has become uncertain for good, in edges.
    pub(crate) lost: Option<Margin>,
    /// The same because of reports that are missing.
    pub(crate) missing: Option<Margin>,
}

/// Follows one wheel by its phases.
#[derive(Debug, Clone)]
pub(crate) struct Tracker {
    edges_per_turn: u32,
    filter: Filter,
    /// The clock's epoch that the filter was tuned to.
    epoch: u32,
    /// Number and time of the last sample whose number was certain.
    number: u64,
    time: f64,
    phase: Option<u8>,
    /// The phase after the one before.
    turn: u8,
    /// Edges from where the phase was 0.
    edges: i64,
    /// Edges where the filter's hypotheses begin.
    base: i64,
    recent: Recent,
    early: WarmUpBuffer,
    /// By how many edges the tally may be off because the interval was not measured yet.
    unmeasured: i64,
    /// The last report that was taken in, while a [`Beat`] goes on.
    taken: Report,
    following: bool,
    /// The last doubt that was told had two sides that were as likely.
    tie: bool,
    /// Slow reports in a row.
    slow: u8,
    /// Intervals of silence after which the wheel is looked at.
    patience: u32,
    /// The last gap, and the hypotheses before it.
    gap: Option<GapStart>,
    before_gap: TrackState,
}

/// How things stood before a gap, and what came after it.
#[derive(Debug, Clone, Copy)]
struct GapStart {
    /// Number and time of the report before it.
    number: u64,
    time: f64,
    base: i64,
    edges: i64,
    following: bool,
    /// The wheel rested.
    resting: bool,
    /// The phases of the reports since, each after the one before.
    turns: [u8; AFTER_GAP],
    length: usize,
}

impl Tracker {
    /// A tracker that has seen no report, of a wheel with so many edges of both lines per turn: four times the cycles.
    pub(crate) fn new(edges_per_turn: Option<u32>) -> Self {
        Self {
            edges_per_turn: edges_per_turn.unwrap_or(EDGES_PRESUMED),
            filter: Filter::new(),
            epoch: 0,
            number: 0,
            time: 0.0,
            phase: None,
            turn: 0,
            edges: 0,
            base: 0,
            recent: Recent::new(false),
            early: WarmUpBuffer::new(),
            unmeasured: 0,
            taken: Report::default(),
            following: false,
            tie: false,
            slow: 0,
            patience: PATIENCE,
            gap: None,
            before_gap: TrackState::at_rest(),
        }
    }

    /// Tunes the filter to the clock's interval.
    fn tune(&mut self, clock: &SampleClock) {
        self.epoch = clock.epoch();
        let hand = MotionLimits::new(self.edges_per_turn, Duration::from_nanos(clock.interval()));
        self.filter.tune(&hand);
        self.recent = Recent::new(clock.is_measured() && hand.is_always_slow());
    }

    /// The wheel has so many edges per turn; before its first report.
    pub(crate) fn know(&mut self, edges_per_turn: u32) {
        self.edges_per_turn = edges_per_turn.max(4);
        self.epoch = 0;
    }

    /// Whether it has seen no report since the start or [`Self::forget`].
    #[inline]
    pub(crate) const fn is_new(&self) -> bool {
        self.phase.is_none()
    }

    /// Whether both lines changed with the last report.
    #[inline]
    pub(crate) const fn both_changed(&self) -> bool {
        self.turn == 2
    }

    /// Edges so far, counted from a place where A and B were both off; modulo four always the phase.
    pub(crate) const fn edges(&self) -> i64 {
        self.edges
    }

    /// Takes the lines of a report that was sampled so.
    #[inline]
    pub(crate) fn step(&mut self, clock: &SampleClock, sample: &Sample, a: bool, b: bool) -> Tracked {
        let phase = phase(a, b);
        let Some(was) = self.phase.replace(phase) else {
            (self.number, self.time) = (sample.number, sample.time);
            self.edges = i64::from(phase);
            if clock.is_known() {
                self.tune(clock);
            }
            return Tracked::default();
        };
        let turn = phase.wrapping_sub(was) & 3;
        self.turn = turn;
        if !clock.is_known() {
            return self.by_table(sample, turn);
        }
        if self.epoch != clock.epoch() {
            return self.remeasured(clock, sample, turn);
        }
        if clock.is_measured() {
            if self.unmeasured != 0 || !self.recent.is_exact() {
                self.measured(clock);
            }
        } else {
            self.guessed(clock, sample, turn);
        }
        self.advance(clock, sample, turn)
    }

    /// The interval turned out to be as it was guessed.
    #[cold]
    fn measured(&mut self, clock: &SampleClock) {
        self.unmeasured = 0;
        self.early.clear();
        let hand = MotionLimits::new(self.edges_per_turn, Duration::from_nanos(clock.interval()));
        self.recent.is_exact_now(hand.is_always_slow());
    }

    /// The interval is what the rig file says, which may be wrong.
    #[cold]
    fn guessed(&mut self, clock: &SampleClock, sample: &Sample, turn: u8) {
        self.early.push(sample.gap, turn, self.edges);
        if turn != 0 && (turn == 2 || sample.gap < clock.interval().saturating_mul(5) / 2) {
            self.unmeasured += self.unseen(sample.gap.min(RIG_FILE_OFF * clock.interval()));
        }
    }

    /// A tracker of a board whose interval was not found for so long that the first reports are gone.
    #[cfg(test)]
    pub(crate) fn that_never_learns() -> Self {
        let mut tracker = Self::new(None);
        tracker.early.give_up();
        tracker
    }

    /// Whether all reports are kept that came before the interval was measured.
    pub(crate) fn keeps_first_reports(&self) -> bool {
        self.early.begins_at().is_some()
    }

    /// By how many edges the table may be off in so many nanoseconds: as far as a hand turns, in whole cycles.
    fn unseen(&self, nanos: u64) -> i64 {
        let hand = MotionLimits::new(self.edges_per_turn, Duration::from_nanos(nanos));
        hand.cycles_unseen() * 4
    }

    fn advance(&mut self, clock: &SampleClock, sample: &Sample, turn: u8) -> Tracked {
        if sample.missing > 0 {
            return self.missing(clock, sample, turn);
        }
        if sample.waited {
            if let Some(gap) = self.gap.filter(|gap| gap.length == 1 && gap.following) {
                return self.redo(clock, &gap, sample, turn);
            }
            self.number = self.number.min(sample.number.saturating_sub(1));
        }
        let intervals = sample.number.saturating_sub(self.number).max(1);
        if !sample.certain {
            return self.advance_uncertain(clock, intervals, turn);
        }
        let ticks = single(sample.time - self.time).clamp(SHORTEST_TICK, LONGEST_TICKS);
        let steady = clock.is_steady();
        if steady {
            self.look_for_gap(clock, sample, turn);
        } else if intervals > 1 {
            self.open_gap(turn);
        } else {
            self.gap = None;
        }
        (self.number, self.time) = (sample.number, sample.time);
        if !self.following {
            let ticks = if intervals > 1 && !steady { self.recent.silence(ticks) } else { ticks };
            return self.calm(ticks, turn);
        }
        self.patience = PATIENCE;
        self.filter.set_uncertainty(clock.uncertainty());
        self.filter.reports_may_wait(clock.stalls());
        if self.filter.is_spread() || intervals > 1 {
            let intervals = single_of(intervals);
            let jitter = clock.sample_jitter(intervals);
            if let Some(settled) = self.filter.cross(intervals, ticks, jitter, turn) {
                let missing = self.missing_since(&settled, clock);
                let lost = self.settled(settled);
                if lost.is_some() || missing.is_some() {
                    // What was told as lost for good is not taken back.
                    self.gap = None;
                }
                let put_right = self.tell(lost);
                let moved = self.calm(1.0, turn);
                return Tracked { edges: put_right.edges + moved.edges, missing, ..put_right };
            }
            return self.perhaps_calm();
        }
        self.filter.tick(Tick::new(ticks, turn));
        self.after_tick()
    }

    fn after_tick(&mut self) -> Tracked {
        if let Some(settled) = self.filter.settle() {
            let lost = self.settled(settled);
            return self.tell(lost);
        }
        self.perhaps_calm()
    }

    /// A report that was read late, so that it was sampled in one of so many intervals.
    #[cold]
    fn advance_uncertain(&mut self, clock: &SampleClock, most: u64, turn: u8) -> Tracked {
        if !self.following {
            // Slow wheels move at most an edge in any case.
            self.number += 1;
            self.time += 1.0;
            self.gap = None;
            return self.calm(1.0, turn);
        }
        self.patience = PATIENCE;
        self.filter.set_uncertainty(clock.uncertainty());
        self.filter.spread(u8::try_from(most).unwrap_or(u8::MAX), turn);
        self.after_tick()
    }

    /// Keeps how things stand before a report that follows on a gap.
    fn open_gap(&mut self, turn: u8) {
        let (number, time, base, edges, following) =
            (self.number, self.time, self.base, self.edges, self.following);
        let resting = !following && self.recent.is_empty();
        let turns = [turn; AFTER_GAP];
        self.gap = Some(GapStart { number, time, base, edges, following, resting, turns, length: 1 });
        if following {
            self.before_gap.clone_from(&self.filter.state);
        }
    }

    /// Of a board that reports at every interval: keeps how things stood before a report that came late.
    fn look_for_gap(&mut self, clock: &SampleClock, sample: &Sample, turn: u8) {
        if sample.gap.saturating_mul(2) >= clock.interval().saturating_mul(3) {
            self.open_gap(turn);
        } else if let Some(gap) = &mut self.gap {
            match gap.turns.get_mut(gap.length) {
                Some(slot) => {
                    *slot = turn;
                    gap.length += 1;
                }
                None => self.gap = None,
            }
        }
    }

    /// Reports are missing before the first report after the last gap: they were not made up for.
    #[cold]
    fn missing(&mut self, clock: &SampleClock, sample: &Sample, turn: u8) -> Tracked {
        let before = self.edges;
        (self.number, self.time) = (sample.number, sample.time);
        let mut turns = [turn; AFTER_GAP];
        let mut length = 1;
        let mut resting = !self.following && self.recent.is_empty();
        let mut lost = None;
        if let Some(gap) = self.gap.take() {
            turns = gap.turns;
            length = gap.length;
            if let Some(slot) = turns.get_mut(length) {
                *slot = turn;
                length += 1;
            }
            resting = gap.resting;
            (self.base, self.edges, self.following) = (gap.base, gap.edges, gap.following);
            if gap.following {
                self.filter.state.clone_from(&self.before_gap);
            }
        }
        let turns = turns.get(..length).unwrap_or_default();
        let moves = turns.iter().skip(1).any(|turn| *turn != 0);
        let bound = self.filter.unseen(sample.missing + 1, resting && !moves);
        if self.following && sample.missing <= FOLLOWED_THROUGH {
            self.filter.set_uncertainty(clock.uncertainty());
            let mut ticks = single_of(sample.missing + 1);
            for turn in turns {
                self.filter.tick(Tick::new(ticks, *turn));
                ticks = 1.0;
            }
            let near = self.filter.unseen(sample.missing + 1, true);
            let told = self.tell(None);
            return Tracked {
                edges: self.edges - before,
                missing: Some(margin(PendingMargin { low: near, high: near })),
                ..told
            };
        }
        if self.following {
            let settled = self.filter.settle_anyhow();
            lost = self.settled(settled);
            self.edges = self.base;
        }
        self.recent.clear();
        self.base = self.edges;
        if resting && !moves {
            for turn in turns {
                self.edges += i64::from(table(*turn)) + i64::from(*turn == 2) * 2;
            }
        } else {
            self.filter.rest();
            self.filter.start_anywhere();
            for turn in turns {
                self.filter.tick(Tick::new(1.0, *turn));
            }
            (self.following, self.slow, self.patience) = (true, 0, PATIENCE);
            self.edges = self.base + i64::from(self.filter.edges());
        }
        let missing =
            (!resting || moves || bound > 0).then(|| margin(PendingMargin { low: bound, high: bound }));
        Tracked { edges: self.edges - before, lost, missing, ..Tracked::default() }
    }

    /// As [`Self::step`] for what nearly every report is: one an interval after the last that leaves a calm wheel calm. Returns
    /// its edges; `None`, and nothing has changed, for any other.
    #[inline]
    pub(crate) fn fast_step(
        &mut self,
        clock: &SampleClock,
        sample: &Sample,
        a: bool,
        b: bool,
    ) -> Option<i64> {
        let phase = phase(a, b);
        let turn = phase.wrapping_sub(self.phase?) & 3;
        if self.following
            || self.epoch != clock.epoch()
            || !self.recent.is_exact()
            || self.recent.is_doubtful(turn)
            || self.unmeasured != 0
            || self.gap.is_some()
            || sample.number.wrapping_sub(self.number) != 1
            || sample.missing != 0
            || !(sample.certain && clock.is_measured())
            || (clock.is_steady() && sample.gap.saturating_mul(2) >= clock.interval().saturating_mul(3))
        {
            return None;
        }
        self.recent.take(single(sample.time - self.time), turn);
        (self.number, self.time) = (sample.number, sample.time);
        (self.phase, self.turn) = (Some(phase), turn);
        let edges = i64::from(table(turn));
        self.edges += edges;
        Some(edges)
    }

    /// Whether the wheel can go on with a [`Beat`], of whose reports so far it has taken each for itself and stayed calm.
    pub(crate) fn can_keep(&self, clock: &SampleClock) -> bool {
        self.phase.is_some()
            && !self.following
            && self.epoch == clock.epoch()
            && self.unmeasured == 0
            && clock.is_steady()
            && clock.is_measured()
    }

    /// From here on only the reports of `beat` are told in which the phase changes.
    pub(crate) fn keep(&mut self, beat: &Beat) {
        self.gap = None;
        self.taken = beat.last();
    }

    /// As [`Self::fast_step`] for the last report of the beat that is kept, in which B alone changed if `b`, else A alone.
    /// After `None` the beat has to end with [`Self::leave`], and the report is then to be taken as any other.
    #[inline]
    pub(crate) fn on_beat(&mut self, beat: &Beat, b: bool) -> Option<i64> {
        let (before, last) = (beat.one_before(), beat.last());
        self.recent.pass(before.after(self.taken));
        self.taken = before;
        let phase = self.phase?;
        // Forward A changes out of the phases 0 and 2, and B out of 1 and 3.
        let forward = (phase & 1 != 0) == b;
        let way = if forward { 1 } else { -1 };
        if !self.recent.change(way) {
            return None;
        }
        self.taken = last;
        self.turn = if forward { 1 } else { 3 };
        self.phase = Some(phase.wrapping_add(self.turn) & 3);
        self.edges += i64::from(way);
        Some(i64::from(way))
    }

    /// Ends the beat, which was kept until its last report, or the one before if `all_but_last` and this wheel has not
    /// taken that yet. Returns whether it has taken the last.
    #[cold]
    pub(crate) fn leave(&mut self, beat: &Beat, all_but_last: bool) -> bool {
        let until = if all_but_last && self.taken != beat.last() { beat.one_before() } else { beat.last() };
        self.recent.pass(until.after(self.taken));
        self.recent.resume(beat.ticks_until(until));
        (self.number, self.time) = beat.place_of(until);
        until == beat.last()
    }

    /// The interval is unknown, so nothing can be said about motion.
    #[cold]
    fn by_table(&mut self, sample: &Sample, turn: u8) -> Tracked {
        self.early.push(sample.gap, turn, self.edges);
        if turn != 0 {
            self.unmeasured += self.unseen(sample.gap.min(LONGEST_INTERVAL));
        }
        if turn == 2 {
            self.edges += 2;
            return Tracked { skipped: true, ..Tracked::default() };
        }
        self.count(turn)
    }

    fn count(&mut self, turn: u8) -> Tracked {
        let edges = i64::from(table(turn));
        self.edges += edges;
        Tracked { edges, ..Tracked::default() }
    }

    #[inline]
    fn calm(&mut self, ticks: f32, turn: u8) -> Tracked {
        if self.recent.push(ticks, turn) {
            return self.engage();
        }
        self.count(turn)
    }

    /// Begins to follow, from the first of the reports that are kept.
    #[cold]
    fn engage(&mut self) -> Tracked {
        let (mut before, mut last) = (0, 0);
        for (_, turn) in self.recent.reports() {
            last = i64::from(table(turn));
            before += last;
        }
        // The last one is not in the tally yet.
        self.base = self.edges - (before - last);
        self.filter.rest();
        if !self.recent.begins_at_rest() {
            self.filter.may_move(self.recent.speed());
        }
        for (ticks, turn) in self.recent.reports() {
            self.filter.tick(Tick::new(ticks, turn));
        }
        self.following = true;
        self.slow = 0;
        self.patience = PATIENCE;
        self.tell(None)
    }

    /// Another interval was measured than what was gone by until now: the first reports are gone through again.
    #[cold]
    fn remeasured(&mut self, clock: &SampleClock, sample: &Sample, turn: u8) -> Tracked {
        let before = self.edges;
        // A wheel that was followed by a wrong interval was not followed.
        let given_up = if self.following { self.interrupt() } else { None };
        let unmeasured = std::mem::take(&mut self.unmeasured);
        self.tune(clock);
        self.recent.clear();
        (self.following, self.gap) = (false, None);
        let early = std::mem::replace(&mut self.early, WarmUpBuffer::new());
        let mut lost: Option<Margin> = None;
        let mut lose = |more: Option<Margin>| {
            lost = [lost, more].into_iter().flatten().reduce(|a, b| a + b);
        };
        if let Some(edges) = early.begins_at() {
            self.edges = edges;
            let mut again = clock.rewound();
            let mut at = Timestamp::START;
            let first = again.report(at, false);
            (self.number, self.time) = (first.number, first.time);
            for (nanos, turn) in early.reports() {
                at = Timestamp::from_nanos(at.nanos().saturating_add(nanos));
                let sample = again.report(at, turn == 0);
                let step = self.advance(&again, &sample, turn);
                lose(step.lost);
                lose(step.missing);
            }
        } else {
            lose(given_up);
            lose((unmeasured > 0).then(|| Margin::both(Counts::new(unmeasured))));
        }
        if !clock.is_measured() {
            self.unmeasured = unmeasured;
        }
        (self.number, self.time) = clock.previous(sample);
        let moved = self.advance(clock, sample, turn);
        lose(moved.lost);
        Tracked {
            edges: self.edges - before,
            skipped: false,
            found: early.begins_at().is_some(),
            lost,
            missing: moved.missing,
        }
    }

    /// The report before, which came after a gap, had been waiting just as this one: it was read late, and the gap was the
    /// reader's and not the wheel's.
    #[cold]
    fn redo(&mut self, clock: &SampleClock, gap: &GapStart, sample: &Sample, turn: u8) -> Tracked {
        self.gap = None;
        self.filter.state.clone_from(&self.before_gap);
        (self.base, self.number, self.time) = (gap.base, gap.number, gap.time);
        (self.following, self.slow, self.patience) = (true, 0, PATIENCE);
        self.filter.set_uncertainty(clock.uncertainty());
        let most = u8::try_from(sample.number.saturating_sub(self.number)).unwrap_or(u8::MAX).max(1);
        self.filter.spread(most.saturating_sub(1).max(1), gap.turns.first().copied().unwrap_or(0));
        self.advance(clock, &Sample { waited: false, ..*sample }, turn)
    }

    /// Ends following a wheel that the table is right for.
    fn perhaps_calm(&mut self) -> Tracked {
        self.slow = if self.filter.is_slow_and_certain() { self.slow + 1 } else { 0 };
        if self.slow >= SLOW_REPORTS {
            self.base += i64::from(self.filter.edges());
            self.recent.begin(self.filter.speed());
            self.filter.rest();
            self.following = false;
        }
        self.tell(None)
    }

    fn tell(&mut self, lost: Option<Margin>) -> Tracked {
        if self.following {
            self.tie = self.filter.is_tie();
        }
        let inside = if self.following { self.filter.edges() } else { 0 };
        let now = self.base + i64::from(inside);
        let edges = now - std::mem::replace(&mut self.edges, now);
        Tracked { edges, lost, ..Tracked::default() }
    }

    fn settled(&mut self, settled: Settled) -> Option<Margin> {
        self.base += i64::from(settled.edges);
        self.following = false;
        self.tie = settled.tie;
        self.recent.clear();
        let lost = margin(settled.doubt);
        (!lost.is_certain()).then_some(lost)
    }

    /// How far the truth may lie from [`Self::edges`] beyond what was told as lost, in edges, while it may yet
    /// be put right.
    #[inline]
    pub(crate) fn doubt(&self) -> Margin {
        let doubt = if self.following { margin(self.filter.doubt()) } else { Margin::CERTAIN };
        if self.unmeasured == 0 { doubt } else { doubt + Margin::both(Counts::new(self.unmeasured)) }
    }

    /// Whether the doubt told last has two sides of which neither is likelier.
    pub(crate) const fn is_tie(&self) -> bool {
        self.tie
    }

    /// Whether the wheel is being followed; below one edge per report it is not.
    #[inline]
    pub(crate) const fn is_following(&self) -> bool {
        self.following
    }

    /// When [`Self::elapsed`] is to be called if no report comes before; `None` while nothing is open, which
    /// is always so when the wheel has rested for a while, and for a board that reports at every interval: its silence
    /// says nothing about the wheel.
    #[inline]
    pub(crate) fn due(&self, clock: &SampleClock) -> Option<Timestamp> {
        if self.following && !clock.is_steady() { clock.after(self.patience) } else { None }
    }

    /// It is `at`, and no report has come since the last.
    pub(crate) fn elapsed(&mut self, clock: &SampleClock, at: Timestamp) -> Tracked {
        let intervals = clock.silent_until(at, u32::MAX);
        if !self.following || clock.is_steady() || intervals < self.patience {
            return Tracked::default();
        }
        let silent = intervals.min(SILENCE);
        let settled = match self.filter.wait(silent) {
            Some(settled) => settled,
            // Nobody turns a wheel that evenly for so long.
            None if silent >= SILENCE => self.filter.settle_anyhow(),
            None => {
                self.patience = (self.patience * 2).min(SILENCE);
                return Tracked::default();
            }
        };
        let missing = self.missing_since(&settled, clock);
        let lost = self.settled(settled);
        Tracked { missing, ..self.tell(lost) }
    }

    /// A wheel on a board that reports on change fell silent too fast to have stopped: reports may be missing, and what a hand
    /// turns meanwhile is lost.
    fn missing_since(&self, settled: &Settled, clock: &SampleClock) -> Option<Margin> {
        let intervals = MISSING_FOR / clock.interval().max(1);
        let bound = self.filter.unseen(intervals, false);
        settled.stopped_dead.then(|| margin(PendingMargin { low: bound, high: bound }))
    }

    /// Reports are missing before the next one, so what the wheel did until then is not known. Its doubt is
    /// one for good; what the missing reports may hide is [`Self::hidden_in`].
    pub(crate) fn interrupt(&mut self) -> Option<Margin> {
        self.gap = None;
        if !self.following {
            self.recent.clear();
            return None;
        }
        let settled = self.filter.settle_anyhow();
        let lost = self.settled(settled);
        self.edges = self.base;
        lost
    }

    /// By how many cycles of four edges the tally may be off after so many reports in a row are gone; it goes by
    /// the phase, so these are whole.
    ///
    /// A wheel that was turning faster than an edge per report may have gone on as fast as a hand can. At one
    /// edge a report, reports + 1 edges fell between the two that are there, and one of them is counted.
    pub(crate) fn hidden_in(&self, reports: u64) -> i64 {
        let slow = reports.saturating_add(2) / 4;
        let cycles = if self.following { slow.saturating_mul(self.filter.per_tick()) } else { slow };
        i64::try_from(cycles).unwrap_or(i64::MAX)
    }

    /// The next report does not follow on the last.
    pub(crate) fn forget(&mut self) {
        self.phase = None;
        self.gap = None;
        self.following = false;
        self.recent.clear();
        self.early.clear();
        self.unmeasured = 0;
    }
}

fn margin(doubt: PendingMargin) -> Margin {
    Margin::new(Counts::new(doubt.low.into()), Counts::new(doubt.high.into()))
}

/// The lines' state as a number that grows by one, modulo four, with each edge forward.
#[inline]
const fn phase(a: bool, b: bool) -> u8 {
    match (a, b) {
        (false, false) => 0,
        (true, false) => 1,
        (true, true) => 2,
        (false, true) => 3,
    }
}

/// What the published table makes of a phase that is `turn` after the one before.
#[inline]
const fn table(turn: u8) -> i8 {
    match turn {
        1 => 1,
        3 => -1,
        _ => 0,
    }
}

/// A number of intervals; those that matter are few.
fn single_of(intervals: u64) -> f32 {
    f32::from(u16::try_from(intervals).unwrap_or(u16::MAX))
}

#[cfg(test)]
mod ambiguity_tests;
#[cfg(test)]
mod tests;
