//! Whether the hand asked the board for more pulses than it can give out.
//!
//! C is the board's cycle, pulse on plus pulse off: no two presses of one line are nearer. It is known (given), measured
//! (a fold in the rhythm, or a queue that drained, showed it) or unknown; then it is at most the shortest interval seen.
//! L is the shortest interval that [`free_of_loss`](super::free_of_loss) allows. A span is a row of presses none of which
//! is so long after the one before that nothing can have been dropped between them.
//!
//! | C | a span | means |
//! |---|---|---|
//! | known, measured | one to eight intervals together shorter than as many L, by more than times are uncertain | top rate |
//! | known, measured | anything else | nothing |
//! | unknown | folded, with all before it | top rate; C is measured from here on |
//! | unknown | slower than the fastest one by 5/4 | nothing |
//! | unknown | hardly faster than one that was smooth | nothing |
//! | unknown | anything else | in doubt, until one of the above |

use super::cycle;
use super::span::{Folds, Stroke};
use super::{Doubt, Evidence, HOUR, Hand, MILLISECOND, Nanos, loss};
use tallywheel_units::{Certainty, Counts, Loss, LossKind, Margin};

/// Presses whose times are kept: windows of up to eight intervals.
const RING: usize = 9;
/// How late a report may be read without that being seen in the pulse's width.
const LATE: Nanos = MILLISECOND;

/// The longest pause after a pulse that boards make; where a pulse is longer, a pause as long as it. Common practice, no
/// source.
const LONGEST_PAUSE: Nanos = 64 * MILLISECOND;

/// A press of a span.
#[derive(Debug, Clone, Copy, Default)]
struct Press {
    at: Nanos,
    forward: bool,
    /// Whether the pulse was as long as it should be, or no one knows.
    timed: bool,
}

#[derive(Debug, Clone, Default)]
pub(super) struct Rate {
    /// The last presses, newest last; only the last `len` are of this span.
    presses: [Press; RING],
    len: usize,
    given: Option<Nanos>,
    measured: bool,
    /// How long a pulse is.
    pulse: Option<Nanos>,
    /// The report interval, where it is not guessed from the rhythm.
    interval: Option<Nanos>,
    seen: bool,
    /// A pulse of this span was too long to be one.
    spoiled: bool,
    /// The shortest mean interval seen, so an upper limit of C.
    least: Option<Nanos>,
    /// The same of this span.
    floor: Nanos,
    stroke: Stroke,
    folds: Folds,
    since: Nanos,
    limit: Option<Doubt>,
    /// How far the doubt about this span goes.
    open: Option<Doubt>,
    open_counts: Counts,
    /// The shortest interval of strokes that were smooth.
    smooth: Option<Nanos>,
    /// How many strokes were smooth, and how many were not although they were long enough.
    strokes: (u32, u32),
    is_smooth: bool,
    spans: Floors,
}

impl Rate {
    pub(super) fn give(&mut self, cycle: Option<Nanos>) {
        self.given = cycle.filter(|cycle| *cycle > 0);
    }

    /// A queue that drained showed the cycle.
    pub(super) fn measure(&mut self, cycle: Nanos) {
        let least = self.least.get_or_insert(cycle);
        *least = cycle.min(*least);
        self.measured = true;
    }

    /// C, where it is known or measured.
    pub(super) fn cycle(&self) -> Option<Nanos> {
        self.given.or_else(|| self.least.filter(|_| self.measured))
    }

    /// What C cannot be longer than, as far as anything is known.
    pub(super) fn longest(&self) -> Option<Nanos> {
        let usual = self.pulse.map(|pulse| pulse + pulse.max(LONGEST_PAUSE));
        self.given.or_else(|| self.least.into_iter().chain(usual).min())
    }

    /// What is known of pulse and report interval.
    ///
    /// Where pulses are hardly `seen`, as they are no longer than a report, those that are not make the rhythm jump.
    pub(super) fn know(&mut self, pulse: Option<Nanos>, interval: Option<Nanos>, seen: bool) {
        (self.pulse, self.interval, self.seen) = (pulse, interval, seen);
    }

    pub(super) fn forget(&mut self) {
        self.close(Hand::default());
        self.len = 0;
    }

    /// Whether a span is said to be at the limit until `at`.
    pub(super) fn is_at_limit(&self, at: Nanos) -> bool {
        self.limit.is_some_and(|limit| limit.covered >= at)
    }

    pub(super) fn is_limited(&self) -> bool {
        self.limit.is_some()
    }

    /// A line was pressed. Its time is known to within `grain`.
    pub(super) fn press(
        &mut self,
        at: Nanos,
        forward: bool,
        grain: Nanos,
        hand: Hand,
        sink: &mut impl FnMut(Loss),
    ) {
        let last = self.presses.last().copied().unwrap_or_default();
        let interval = at.saturating_sub(last.at).min(HOUR);
        if self.len > 0 && interval > self.apart(grain) {
            self.close(hand);
        }
        if let Some(longest) = self.longest() {
            self.folds.any(interval, longest);
        }
        let first = self.len == 0;
        self.presses.copy_within(1.., 0);
        if let Some(newest) = self.presses.last_mut() {
            *newest = Press { at, forward, timed: true };
        }
        self.len = (self.len + 1).min(RING);
        if first {
            (self.since, self.floor, self.stroke, self.spoiled) = (at, HOUR, Stroke::default(), false);
            self.folds.begin();
            return;
        }
        if forward != last.forward {
            self.stroke = Stroke::default();
            self.folds.begin();
            return;
        }
        if !last.timed {
            return;
        }
        self.floor = self.floor.min(self.mean(grain));
        match self.given {
            Some(cycle) => self.against(cycle, at, grain, hand, sink),
            None => self.unknown(interval, at, grain, hand, sink),
        }
    }

    /// The pulse that began last is over: it shows how late its beginning was read.
    pub(super) fn release(&mut self, at: Nanos, typical: Option<Nanos>, grain: Nanos) {
        if let (Some(press), Some(typical)) = (self.presses.last_mut(), typical) {
            let width = at.saturating_sub(press.at);
            press.at = press.at.min(at.saturating_sub(typical));
            let long = width > typical + grain + 2 * LATE;
            press.timed = width + grain + 2 * LATE >= typical && !long;
            if long {
                self.spoiled = true;
                self.stroke.spoil();
            }
        }
    }

    /// No line was pressed for long.
    pub(super) fn silence(&mut self, at: Nanos, grain: Nanos, hand: Hand) {
        let last = self.presses.last().map_or(0, |press| press.at);
        if self.len > 0 && at.saturating_sub(last) > self.apart(grain) {
            self.close(hand);
        }
    }

    /// When [`Self::silence`] would end a span that is in doubt.
    pub(super) fn deadline(&self, grain: Nanos) -> Option<Nanos> {
        self.open?;
        Some(self.presses.last()?.at.saturating_add(self.apart(grain)).saturating_add(1))
    }

    /// The board is gone, and how far the wheel was turned with it.
    pub(super) fn unplugged(&mut self) {
        self.forget();
        self.spans = Floors::default();
    }

    /// How far the counts may be off as long as the cycle is unknown.
    pub(super) fn pending(&self) -> Margin {
        if self.given.is_some() || self.measured {
            return Margin::CERTAIN;
        }
        let clear = self.clear();
        let open = if self.open.is_some() && (self.floor < clear || self.spoiled) {
            self.open_counts
        } else {
            Counts::ZERO
        };
        Margin::both(self.spans.below(clear) + open)
    }

    /// After so long without a press nothing can have been dropped since.
    fn apart(&self, grain: Nanos) -> Nanos {
        let cycle = self.longest().unwrap_or(HOUR / 4);
        2 * cycle + cycle / 4 + 2 * grain
    }

    /// The shortest mean of one to four intervals that end with the last press, as long as it may truly be.
    fn mean(&self, grain: Nanos) -> Nanos {
        let means = self.windows().take(4).map(|(number, sum)| (sum + grain) / number);
        means.min().unwrap_or(HOUR)
    }

    /// How many intervals end with the last press, all of one direction, and how long they are together.
    fn windows(&self) -> impl Iterator<Item = (u64, Nanos)> + '_ {
        let newest = self.presses.last().copied().unwrap_or_default();
        let before = self.presses.iter().rev().take(self.len).skip(1);
        (1..)
            .zip(before.take_while(move |press| press.forward == newest.forward))
            .filter(|(_, press)| press.timed)
            .map(move |(number, press)| (number, newest.at.saturating_sub(press.at)))
    }

    fn against(&mut self, cycle: Nanos, at: Nanos, grain: Nanos, hand: Hand, sink: &mut impl FnMut(Loss)) {
        let allowed = cycle::allowed(cycle, self.interval.unwrap_or_default());
        if self.limit.is_none() && self.windows().any(|(number, sum)| sum + grain + LATE < number * allowed) {
            // What the board dropped on the way to here is part of it.
            self.limit = Some(Doubt::since(self.since.saturating_sub(2 * cycle)));
        }
        if let Some(limit) = &mut self.limit
            && let Some(bound) = limit.grow(at, hand)
        {
            sink(top_rate(limit.since, at, bound));
        }
    }

    fn unknown(&mut self, interval: Nanos, at: Nanos, grain: Nanos, hand: Hand, sink: &mut impl FnMut(Loss)) {
        let floor = self.floor;
        let least = self.least.get_or_insert(floor);
        *least = floor.min(*least);
        let least = *least;
        if self.measured {
            return self.against(least, at, grain, hand, sink);
        }
        if self.stroke.interval(interval, grain) {
            self.is_smooth = true;
            self.smooth = Some(self.smooth.map_or(floor, |smooth| smooth.min(floor)));
        }
        let doubt = self.open.get_or_insert(Doubt::since(self.since.saturating_sub(2 * least)));
        if let Some(more) = doubt.grow(at, hand) {
            self.open_counts += more.high();
        }
        let longest = self.longest().unwrap_or(least);
        if self.folds.interval(interval, longest, grain) && self.seen {
            self.measured = true;
            let bound =
                self.spans.below(cycle::allowed(least, self.interval.unwrap_or_default())) + self.open_counts;
            let from = self.since;
            (self.limit, self.open) = (self.open.take(), None);
            self.open_counts = Counts::ZERO;
            self.spans = Floors::default();
            sink(top_rate(from, at, Margin::both(bound)));
        }
    }

    /// Spans whose intervals are all at least this long have lost nothing.
    fn clear(&self) -> Nanos {
        let slow = self.longest().map_or(HOUR, |longest| longest + longest / 4);
        let (smooth, rough) = self.strokes;
        let smooth_one = u32::from(self.is_smooth);
        match self.smooth {
            Some(floor) if smooth + smooth_one >= 2.max(3 * rough) && self.folds.are_rare() => {
                slow.min(floor - floor / 8)
            }
            _ => slow,
        }
    }

    fn close(&mut self, hand: Hand) {
        if let (Some(doubt), Some(last)) = (self.open.take(), self.presses.last()) {
            let rough = self.stroke.is_rough(self.is_smooth);
            self.strokes.0 = self.strokes.0.saturating_add(u32::from(self.is_smooth));
            self.strokes.1 = self.strokes.1.saturating_add(u32::from(rough));
            self.is_smooth = false;
            let suspect = self.spoiled || self.folds.here() > 1;
            self.spans
                .add(if suspect { 1 } else { self.floor }, hand.most(last.at.saturating_sub(doubt.since)));
        }
        (self.len, self.limit, self.open_counts, self.is_smooth) = (0, None, Counts::ZERO, false);
    }
}

#[cold]
fn top_rate(from: Nanos, at: Nanos, bound: Margin) -> Loss {
    loss(LossKind::TopRate, Certainty::Inferred, Evidence { from, to: at, reports: 2 }, bound)
}

/// How many counts the spans of each floor may have hidden; sixteen floors to the octave, from 4 ms to 1 s.
#[derive(Debug, Clone)]
struct Floors([u32; 128]);

impl Default for Floors {
    fn default() -> Self {
        Self([0; 128])
    }
}

impl Floors {
    fn place(floor: Nanos) -> usize {
        let octave = floor.max(1).ilog2();
        let part = (floor >> octave.saturating_sub(4)) & 15;
        let place = u64::from(octave.saturating_sub(22)) * 16 + part;
        usize::try_from(place).unwrap_or(usize::MAX).min(127)
    }

    fn add(&mut self, floor: Nanos, counts: Counts) {
        if let Some(at) = self.0.get_mut(Self::place(floor)) {
            *at = at.saturating_add(u32::try_from(counts.get()).unwrap_or(u32::MAX));
        }
    }

    fn below(&self, floor: Nanos) -> Counts {
        let sum: u64 = self.0.iter().take(Self::place(floor)).map(|counts| u64::from(*counts)).sum();
        Counts::new(i64::try_from(sum).unwrap_or(i64::MAX))
    }
}
