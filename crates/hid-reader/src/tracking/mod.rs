//! Follows a wheel past one edge per report.
//!
//! Two lines show a wheel's edges modulo four. Below one edge per report that is enough, and the published
//! table is right; above, it takes three edges for one back and four for none. But a wheel has mass and a hand
//! has limits: where its motion is known, only one of the counts that fit the phase fits the motion too. Any
//! constant speed can be followed so; what limits it is acceleration, a, to about a x T^2 = 1 edge with T the
//! report interval.
//!
//! A [`Tracker`] has two ways to go on:
//!
//! | state | taken as | until |
//! |---|---|---|
//! | calm | what the table says; the last 16 reports are kept | a report that the table might get wrong: both lines changed, nearly one edge per report, a sudden turn |
//! | following | the likeliest of up to 24 paths, each an account of all reports since the wheel was last certain | it rests and no more can be found out, or it is slow and certain |
//!
//! When it begins to follow, the reports kept are gone through again, so what the table got wrong is put
//! right. A path (`paths`) has edges, speed and acceleration and is led by a filter (`filter`, `gains`, `offers`);
//! paths that differ by four edges compete by how well they foresee the next phase. A wheel that rests shows
//! the same phase again and again, and so does one at exactly four edges a report: but no hand keeps to that,
//! so the second account dies within a few reports, and what the tally got wrong meanwhile is put right late
//! rather than never. Intervals of which nobody tells are in `silence`, those of the board in `clock`; where a silence
//! is so long that one interval more fits into it, what a wheel turns in one stays in doubt (`twins` shows why).
//!
//! What cannot be told stays in doubt: while the wheel turns as [`Tracker::doubt`], which may shrink, and when
//! it rests as [`Tracked::lost`], for good. Where no account fits (`trust`), the tally goes on from what the
//! table makes of it, and where the path is worse than the table from two edges a tick more than that; the doubt is what a
//! hand could have turned meanwhile.
//!
//! Everything is in single precision. Nothing is allocated after [`Tracker::new`].

mod beat;
mod early;
mod filter;
mod gains;
mod hand;
mod offers;
mod paths;
mod recent;
mod silence;
mod trust;

pub use crate::timing::Reporting;
pub(crate) use beat::Beat;

use crate::timing::{Clock, Gap, SILENCE};
use beat::Report;
use early::Early;
use filter::{Doubt, Filter, Settled, Story, Tick};
use hand::Hand;
use recent::Recent;
use std::time::Duration;
use tallywheel_units::{Counts, Margin, Timestamp};

/// The finest wheel that is presumed where the edges of a turn are not said.
const EDGES_PRESUMED: u32 = 2400;
/// After so many intervals without a report a wheel that is followed is looked at.
const PATIENCE: u32 = 10;
/// After so many slow reports in a row a wheel is no longer followed.
const SLOW_REPORTS: u8 = 8;

/// What is known about a wheel and its board.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct TrackerConfig {
    /// Edges of both lines per turn: four times the cycles.
    pub edges_per_turn: Option<u32>,
    /// The board's report interval; learned when `None`.
    pub interval: Option<Duration>,
    /// When the board reports; learned when `None`.
    pub reporting: Option<Reporting>,
}

/// What a report, or silence, changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tracked {
    /// Edges to add to the tally; a correction of earlier ones may be among them.
    pub edges: i64,
    /// Both lines changed and the report interval is not known: two edges passed that no one can tell the
    /// direction of, and none is counted, though [`Tracker::edges`] goes on by two to keep to the phase.
    pub skipped: bool,
    /// The interval has become known, and with it what those reports meant: [`Self::edges`] is right only with
    /// the edges that [`Tracker::edges`] went on by.
    pub found: bool,
    /// What has become uncertain for good, in edges.
    pub lost: Option<Margin>,
}

/// Follows one wheel by its phases.
#[derive(Debug, Clone)]
pub struct Tracker {
    edges_per_turn: u32,
    clock: Clock,
    filter: Filter,
    /// The interval that the filter was tuned to, in nanoseconds; 0 where to none.
    tuned_to: u64,
    phase: Option<u8>,
    /// The phase after the one before.
    turn: u8,
    /// Something else than the wheel changed with this report.
    others_changed: bool,
    /// Edges from where the phase was 0.
    edges: i64,
    /// Edges where the filter's paths begin.
    base: i64,
    recent: Recent,
    early: Early,
    /// The last report that was taken in, while a [`Beat`] goes on.
    taken: Report,
    following: bool,
    /// The last doubt that was told had two sides that were as likely.
    tie: bool,
    /// Slow reports in a row.
    slow: u8,
    /// Intervals of silence after which the wheel is looked at.
    patience: u32,
    /// The last silence that was crossed, and the paths before it.
    silenced: Option<Silenced>,
    before_silence: Story,
}

/// A report that came after a silence.
#[derive(Debug, Clone, Copy)]
struct Silenced {
    at: Option<Timestamp>,
    /// Where the paths began before it.
    base: i64,
    turn: u8,
}

impl Tracker {
    /// A tracker that has seen no report.
    #[must_use]
    pub fn new(config: &TrackerConfig) -> Self {
        let mut tracker = Self {
            edges_per_turn: config.edges_per_turn.unwrap_or(EDGES_PRESUMED),
            clock: Clock::new(config.interval, config.reporting),
            filter: Filter::new(),
            tuned_to: 0,
            phase: None,
            turn: 0,
            others_changed: false,
            edges: 0,
            base: 0,
            recent: Recent::new(false),
            early: Early::new(),
            taken: Report::default(),
            following: false,
            tie: false,
            slow: 0,
            patience: PATIENCE,
            silenced: None,
            before_silence: Story::at_rest(),
        };
        tracker.tune();
        tracker
    }

    /// Tunes the filter to the interval if that is new.
    fn tune(&mut self) -> bool {
        let interval = self.clock.interval();
        if interval == self.tuned_to {
            return false;
        }
        self.tuned_to = interval;
        let hand = Hand::new(self.edges_per_turn, Duration::from_nanos(interval));
        self.filter.tune(&hand);
        self.recent = Recent::new(hand.is_always_slow());
        true
    }

    /// The wheel has so many edges per turn; before its first report.
    pub fn know(&mut self, edges_per_turn: u32) {
        self.edges_per_turn = edges_per_turn.max(4);
        self.tuned_to = 0;
        self.tune();
    }

    /// Whether it has seen no report since the start or [`Self::forget`].
    #[must_use]
    #[inline]
    pub const fn is_new(&self) -> bool {
        self.phase.is_none()
    }

    /// Whether both lines changed with the last report.
    #[must_use]
    #[inline]
    pub const fn both_changed(&self) -> bool {
        self.turn == 2
    }

    /// Edges so far, counted from a place where A and B were both off; modulo four always the phase.
    #[must_use]
    pub const fn edges(&self) -> i64 {
        self.edges
    }

    /// Says of the report that is about to be taken whether it is as the one before to the bit. Where that is never
    /// said, the wheel is taken to be alone on its board.
    #[inline]
    pub const fn repeated(&mut self, repeated: bool) {
        self.others_changed = !repeated;
    }

    /// Takes the lines of a report that was read at `at`.
    #[inline]
    pub fn step(&mut self, at: Timestamp, a: bool, b: bool) -> Tracked {
        let phase = phase(a, b);
        let Some(was) = self.phase.replace(phase) else {
            self.clock.report(at, true);
            self.edges = i64::from(phase);
            return Tracked::default();
        };
        let turn = phase.wrapping_sub(was) & 3;
        self.turn = turn;
        let last = self.clock.last();
        match self.clock.report(at, turn != 0 || self.others_changed) {
            Some(Gap::Waited) if self.was_silenced(last) => self.redo(turn),
            Some(gap) if !self.following && self.clock.interval() == self.tuned_to => self.calm(gap, turn),
            Some(gap) => self.follow(gap, turn),
            None => self.by_table(at, last, turn),
        }
    }

    /// As [`Self::step`] for what nearly every report is: one that leaves a calm wheel calm. Returns its edges;
    /// `None`, and nothing has changed, for any other. `repeated` is as for [`Self::repeated`].
    #[inline]
    pub(crate) fn calm_step(&mut self, at: Timestamp, a: bool, b: bool, repeated: bool) -> Option<i64> {
        let phase = phase(a, b);
        let turn = phase.wrapping_sub(self.phase?) & 3;
        if self.following || self.clock.interval() != self.tuned_to || self.recent.is_doubtful(turn) {
            return None;
        }
        let ticks = self.clock.live(at, (turn != 0) | !repeated)?;
        self.recent.take(ticks, turn);
        (self.phase, self.turn) = (Some(phase), turn);
        let edges = i64::from(table(turn));
        self.edges += edges;
        Some(edges)
    }

    /// A beat from here on, if the wheel is calm and its board known to report steadily.
    pub(crate) fn beat(&self) -> Option<Beat> {
        let calm = self.phase.is_some() && !self.following && self.clock.interval() == self.tuned_to;
        if calm && self.clock.is_steady() { Beat::of(&self.clock) } else { None }
    }

    /// Whether the wheel can go on with `beat`, of whose reports so far it has taken each for itself and stayed calm.
    pub(crate) fn can_keep(&self, beat: &Beat) -> bool {
        self.clock.is_steady() && beat.is_that_of(&self.clock)
    }

    /// From here on only the reports of `beat` are told in which the phase changes.
    pub(crate) fn keep(&mut self, beat: &Beat) {
        self.taken = beat.last();
    }

    /// As [`Self::calm_step`] for the last report of the beat that is kept, in which B alone changed if `b`, else A alone.
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
        self.clock.resume(beat.read_at(until));
        until == beat.last()
    }

    /// The interval is unknown, so nothing can be said about motion.
    fn by_table(&mut self, at: Timestamp, last: Option<Timestamp>, turn: u8) -> Tracked {
        self.early.push(last.map_or(0, |last| at.nanos().saturating_sub(last.nanos())), turn);
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
    fn calm(&mut self, gap: Gap, turn: u8) -> Tracked {
        if self.recent.push(gap, turn) {
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

    /// Goes through the reports again that came before the interval was known.
    #[cold]
    fn begin(&mut self) -> Tracked {
        let before = self.edges;
        self.edges -= self.early.reports().map(|(_, turn)| early_edges(turn)).sum::<i64>();
        self.recent.clear();
        self.following = false;
        let early = std::mem::replace(&mut self.early, Early::new());
        let mut lost = Margin::CERTAIN;
        for (nanos, turn) in early.reports() {
            let gap = self.clock.measure(nanos);
            let step = if self.following { self.go_on(gap, turn) } else { self.calm(gap, turn) };
            lost += step.lost.unwrap_or_default();
        }
        Tracked {
            edges: self.edges - before,
            skipped: false,
            found: early.is_whole(),
            lost: (!lost.is_certain()).then_some(lost),
        }
    }

    fn follow(&mut self, gap: Gap, turn: u8) -> Tracked {
        if self.tune() {
            // A wheel that was followed by a wrong interval was not followed.
            let given_up = if self.following { self.interrupt() } else { None };
            let begun = self.begin();
            let moved = if self.following { self.go_on(gap, turn) } else { self.calm(gap, turn) };
            let lost = [given_up, begun.lost, moved.lost].into_iter().flatten().reduce(|a, b| a + b);
            return Tracked { edges: begun.edges + moved.edges, skipped: false, found: begun.found, lost };
        }
        self.go_on(gap, turn)
    }

    fn go_on(&mut self, gap: Gap, turn: u8) -> Tracked {
        self.patience = PATIENCE;
        match gap {
            Gap::Live(ticks) => self.filter.tick(Tick::new(ticks, turn)),
            Gap::Waited => self.filter.tick(Tick::new(1.0, turn)),
            Gap::Late(ticks) => self.filter.late(ticks, turn),
            Gap::Silent(ticks) => {
                self.silenced = Some(Silenced { at: self.clock.last(), base: self.base, turn });
                self.before_silence.clone_from(&self.filter.story);
                if let Some(settled) = self.filter.cross(ticks, turn) {
                    let lost = self.settled(settled);
                    if lost.is_some() {
                        // What was told as lost for good is not taken back.
                        self.silenced = None;
                    }
                    let put_right = self.tell(lost);
                    let moved = self.calm(Gap::Live(1.0), turn);
                    return Tracked { edges: put_right.edges + moved.edges, ..put_right };
                }
                return self.perhaps_calm();
            }
        }
        if let Some(settled) = self.filter.settle() {
            let lost = self.settled(settled);
            return self.tell(lost);
        }
        self.perhaps_calm()
    }

    /// Whether the last report, read at `last`, came after a silence and nothing is lost by it.
    #[cold]
    fn was_silenced(&self, last: Option<Timestamp>) -> bool {
        self.silenced.is_some_and(|silenced| silenced.at == last) && self.clock.interval() == self.tuned_to
    }

    /// This report had been waiting, so the silence before the last one was the reader's and not the wheel's:
    /// both are an interval after the one before.
    #[cold]
    fn redo(&mut self, turn: u8) -> Tracked {
        if let Some(silenced) = self.silenced.take() {
            self.filter.story.clone_from(&self.before_silence);
            self.base = silenced.base;
            self.following = true;
            self.slow = 0;
            self.filter.tick(Tick::new(1.0, silenced.turn));
        }
        self.go_on(Gap::Live(1.0), turn)
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
    #[must_use]
    #[inline]
    pub fn doubt(&self) -> Margin {
        if self.following { margin(self.filter.doubt()) } else { Margin::CERTAIN }
    }

    /// Whether the doubt told last has two sides of which neither is likelier.
    #[must_use]
    pub const fn is_tie(&self) -> bool {
        self.tie
    }

    /// Whether the wheel is being followed; below one edge per report it is not.
    #[must_use]
    #[inline]
    pub const fn is_following(&self) -> bool {
        self.following
    }

    /// When [`Self::elapsed`] is to be called if no report comes before; `None` while nothing is open, which
    /// is always so when the wheel has rested for a while.
    #[must_use]
    #[inline]
    pub fn due(&self) -> Option<Timestamp> {
        if self.following { self.clock.after(self.patience) } else { None }
    }

    /// It is `at`, and no report has come since the last.
    pub fn elapsed(&mut self, at: Timestamp) -> Tracked {
        let silent = self.clock.silent_until(at);
        if !self.following || silent < self.patience {
            return Tracked::default();
        }
        let settled = match self.filter.wait(silent) {
            Some(settled) => settled,
            // Nobody turns a wheel that evenly for so long.
            None if silent >= SILENCE => self.filter.settle_anyhow(),
            None => {
                self.patience = (self.patience * 2).min(SILENCE);
                return Tracked::default();
            }
        };
        let lost = self.settled(settled);
        self.tell(lost)
    }

    /// Reports are missing before the next one, so what the wheel did until then is not known. Its doubt is
    /// one for good; what the missing reports may hide is [`Self::hidden_in`].
    pub fn interrupt(&mut self) -> Option<Margin> {
        if !self.following {
            self.recent.clear();
            return None;
        }
        self.silenced = None;
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
    #[must_use]
    pub fn hidden_in(&self, reports: u64) -> i64 {
        let slow = reports.saturating_add(2) / 4;
        let cycles = if self.following { slow.saturating_mul(self.filter.per_tick()) } else { slow };
        i64::try_from(cycles).unwrap_or(i64::MAX)
    }

    /// The next report does not follow on the last.
    pub fn forget(&mut self) {
        self.phase = None;
        self.silenced = None;
        self.following = false;
        self.recent.clear();
        self.early.clear();
        self.clock.forget();
    }
}

fn margin(doubt: Doubt) -> Margin {
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

/// The same where a report in which both lines changed was taken for two edges forward.
fn early_edges(turn: u8) -> i64 {
    if turn == 2 { 2 } else { table(turn).into() }
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod twins;
