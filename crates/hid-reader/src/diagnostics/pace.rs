//! What the times between pulses tell.
//!
//! C is the board's cycle, the least time from press to press, as far as [`Rate`] knows it. I are the times between
//! presses of either line, newest last.
//!
//! | intervals | means |
//! |---|---|
//! | the last four alike (eight where I is below 8 G), at C where C is known, then none for 5 I and 0.25 s | a queue drained; C is learned |
//! | four alike within an eighth, one of 2 or 3 times as much, three alike | counts are missing in the long one |
//! | two cycles of four alike, then the first two of it as one, then the other two | the same, for x4 and x2 |
//! | all pulses of one report, and four times in 16 up and down by 1.6 against four before | pulses fall between reports |
//! | anything else | nothing |
//!
//! Why a hand does none of this. Its speed has no steps, so it neither stops dead (in a minimum-jerk stroke
//! the last four intervals grow by more than 2) nor leaves out one beat.

use super::rate::Rate;
use super::width::Widths;
use super::{Evidence, HOUR, Hand, MILLISECOND, Nanos, loss, missing};
use tallywheel_units::{Certainty, Counts, Loss, LossKind, Margin};

const RING: usize = 12;
const SILENCE: Nanos = 250 * MILLISECOND;
/// Pulses of one report in a row, and jumps among as many intervals, that make pulses too short.
const ONE_REPORT: u32 = 16;
const JUMPS: u32 = 4;
/// One press of so many has to come in an even row.
const EVEN: u64 = 3;
/// A queue that drained.
#[derive(Debug, Clone, Copy)]
pub(super) struct Drained {
    pub(super) loss: Loss,
    pub(super) cycle: Nanos,
}

#[derive(Debug, Clone, Default)]
pub(super) struct Pace {
    /// Intervals, newest last; only the last `len` are of this spin.
    ring: [Nanos; RING],
    len: usize,
    /// So many presses in a row went the same way.
    same_way: usize,
    last: Option<(Nanos, bool)>,
    /// When the intervals became alike.
    alike_since: Nanos,
    alike: u32,
    drained: bool,
    /// Jumps of the last 16 intervals, newest in bit 0, and which way the last one went.
    jumps: u16,
    jumped_up: bool,
    unseen: Option<u64>,
    presses: u64,
    /// Presses that would have shown that the one before is missing.
    regular: u64,
    /// Pulses that were seen to be missing, and how many others have been allowed for.
    missing: u64,
    allowed: u64,
    /// Gaps in even intervals, how many of them have been told of, and long intervals that were none.
    seen: u64,
    told: u64,
    odd: u64,
}

impl Pace {
    pub(super) fn forget(&mut self) {
        let Self { presses, regular, missing, allowed, seen, told, odd, .. } = *self;
        *self = Self { presses, regular, missing, allowed, seen, told, odd, ..Self::default() };
    }

    pub(super) fn press(
        &mut self,
        at: Nanos,
        forward: bool,
        widths: &Widths,
        limited: bool,
        sink: &mut impl FnMut(Loss),
    ) {
        self.presses = self.presses.saturating_add(1);
        let Some((last, was_forward)) = self.last.replace((at, forward)) else {
            return;
        };
        let interval = at.saturating_sub(last).min(HOUR);
        self.same_way = if forward == was_forward { self.same_way.saturating_add(1) } else { 0 };
        self.push(at, interval, widths.grain());
        self.drained = false;
        self.jump(interval);
        if self.too_short(at, widths, sink) {
            return;
        }
        if !limited && let Some(counts) = self.gap(widths.grain()) {
            let from = at.saturating_sub(self.ring.iter().rev().take(8).sum());
            let evidence = Evidence { from, to: at, reports: 16 };
            // Where a pulse is one report long at most, the likely cause of a gap is that none saw it.
            let unseen = widths.one_report() >= ONE_REPORT / 2;
            let kind = if unseen { LossKind::PulsesTooShort } else { LossKind::GapInSpin };
            let others = Counts::new(i64::try_from(self.unseen_too(counts)).unwrap_or(i64::MAX));
            let bound = missing(forward, counts) + Margin::both(others);
            sink(loss(kind, Certainty::Inferred, evidence, bound));
        }
    }

    /// A pulse that is missing in the rhythm has been told of.
    pub(super) fn explained(&mut self) {
        self.same_way = 0;
    }

    /// Whether the last interval was longer than the board's cycle by half, or the one that is not over at `at` is.
    /// A cycle of which nothing is known may be any.
    pub(super) fn is_slow(&self, at: Nanos, rate: &Rate) -> bool {
        let Some(cycle) = rate.longest() else { return false };
        let Some((last, _)) = self.last else { return true };
        let slow = |interval: Nanos| 2 * interval.min(HOUR) > 3 * cycle;
        slow(at.saturating_sub(last)) || self.len > 0 && slow(self.newest(0))
    }

    /// When a silence would be long enough to be one.
    pub(super) fn deadline(&self) -> Nanos {
        match self.last {
            Some((last, _)) if self.len >= 4 && !self.drained => {
                last.saturating_add(SILENCE.max(5 * self.newest(0)))
            }
            _ => Nanos::MAX,
        }
    }

    /// No press until `at`, or one just now. What it means is to be told with the next report, which shows
    /// whether the board was silent or the reader asleep.
    pub(super) fn silence(&mut self, at: Nanos, widths: &Widths, rate: &Rate, hand: Hand) -> Option<Drained> {
        if at < self.deadline() {
            return None;
        }
        self.drained = true;
        let (last, _) = self.last?;
        let (grain, four) = (widths.grain(), self.four());
        let mean = four / 4;
        // The coarser the times, the more of them it takes.
        let of = if mean >= 8 * grain { 4 } else { 8 };
        let alike = self.spread(of) <= (mean / 10).max(2 * grain)
            && 5 * grain <= 2 * mean
            && self.len >= of
            && self.unseen.is_none();
        let at_cycle = rate.cycle().is_none_or(|cycle| mean.abs_diff(cycle) <= cycle / 8 + grain / 2);
        // Whatever the cycle is, it is not longer than this.
        let at_cycle =
            at_cycle && rate.longest().is_some_and(|longest| mean <= longest + longest / 8 + grain / 2);
        let drained = (alike && at_cycle).then(|| {
            let from = self.alike_since.min(last.saturating_sub(four));
            let mut bound = hand.most(last.saturating_sub(from));
            if rate.is_at_limit(last) {
                // That the board was at its limit has been said, with all that it may have cost.
                bound = Counts::ZERO;
            }
            let evidence = Evidence { from, to: at, reports: self.alike.saturating_add(1).saturating_mul(2) };
            let loss = loss(LossKind::LatePulses, Certainty::Inferred, evidence, Margin::both(bound));
            Drained { loss, cycle: mean }
        });
        // After a silence a new stroke begins.
        (self.len, self.alike) = (0, 0);
        drained
    }

    fn push(&mut self, at: Nanos, interval: Nanos, grain: Nanos) {
        let before = self.newest(0);
        self.ring.copy_within(1.., 0);
        if let Some(newest) = self.ring.last_mut() {
            *newest = interval;
        }
        self.len = (self.len + 1).min(RING);
        if self.len > 1 && before.abs_diff(interval) <= (before / 10).max(2 * grain) {
            self.alike = self.alike.saturating_add(1);
        } else {
            (self.alike, self.alike_since) = (1, at.saturating_sub(interval));
        }
    }

    /// The interval `back` before the newest.
    fn newest(&self, back: usize) -> Nanos {
        self.ring.iter().rev().nth(back).copied().unwrap_or_default()
    }

    fn four(&self) -> Nanos {
        self.ring.iter().rev().take(4).sum()
    }

    /// By how much the last `of` intervals differ.
    fn spread(&self, of: usize) -> Nanos {
        let last = || self.ring.iter().rev().take(of).copied();
        last().max().unwrap_or_default() - last().min().unwrap_or_default()
    }

    /// How many counts are missing in a long interval between even ones.
    fn gap(&mut self, grain: Nanos) -> Option<u64> {
        self.gap_in_smooth(grain).or_else(|| self.gap_in_cycles(grain))
    }

    /// Even intervals, a long one, even intervals: two or three times what is between its neighbours, where a hand would
    /// have gone on getting faster or slower as it did. Where a hand stops between two strokes its neighbours are longer
    /// than theirs.
    ///
    /// Four alike before it and three after it are enough by themselves. Two and two are so where it has come more than
    /// once in a hand that is even, and neither is where long intervals that are no multiple are common: a hand that
    /// stops and goes makes those.
    fn gap_in_smooth(&mut self, grain: Nanos) -> Option<u64> {
        let times = |back: usize| {
            // In microseconds, so that products fit.
            let [a, b, long, c, d] = std::array::from_fn(|n| self.newest(back + 2 - n) / 1_000);
            let grain = grain / 1_000;
            let near = |x: Nanos, y: Nanos| 4 * x.abs_diff(y) <= x.min(y) + 4 * grain;
            let slope = (b * c).abs_diff(a * d) * 7 <= a * d + 7 * grain * (a + d) / 2;
            let even = near(a, b) && near(c, d) && slope && 2 * b.max(c) <= 3 * b.min(c);
            let fine = 10 * grain <= 3 * a.min(b).min(c).min(d);
            let mean = (b + c) / 2;
            let times = (long + mean / 2) / mean.max(1);
            let whole = long.abs_diff(times * mean) <= times * mean / 12 + grain / 2;
            (even && fine).then_some((times, whole && times <= 3, 2 * long >= 3 * mean))
        };
        let now = (self.len >= 5 && self.same_way >= 5).then(|| times(2)).flatten();
        if let Some((times, whole, long)) = now {
            self.regular = self.regular.saturating_add(1);
            match (long, whole && times > 1) {
                (_, true) => self.seen = self.seen.saturating_add(times - 1),
                (true, false) => self.odd = self.odd.saturating_add(1),
                _ => {}
            }
        }
        // A hand that is seldom even makes gaps by itself.
        let often = self.seen >= 2 && self.seen > 3 * self.odd && self.regular * EVEN >= self.presses;
        let more = self.seen.saturating_sub(self.told);
        let sure = self
            .gap_in_even(grain)
            .filter(|_| 2 * self.odd <= self.seen + 1)
            .map(|sure| sure.min(more.max(1)));
        let more = if often { more } else { sure? };
        self.told = self.seen;
        (more > 0).then_some(more)
    }

    /// Four alike, the long one, three alike.
    fn gap_in_even(&self, grain: Nanos) -> Option<u64> {
        if self.len < 8 || self.same_way < 8 {
            return None;
        }
        let long = self.newest(3);
        let even = || (0..8).filter(|back| *back != 3).map(|back| self.newest(back));
        let mean = even().sum::<Nanos>() / 7;
        let alike = even().all(|interval| interval.abs_diff(mean) <= (mean / 8).max(grain));
        let times = (long + mean / 2) / mean.max(1);
        let whole = long.abs_diff(times * mean) <= mean / 6 + grain / 2;
        (alike && whole && (2..=3).contains(&times) && 10 * grain <= 3 * mean).then(|| times - 1)
    }

    /// How many more may be missing where it cannot be seen, given that `more` were just seen to be: at either end of a
    /// stroke, and where a hand is uneven. The first time that is twice as many as it should be.
    fn unseen_too(&mut self, more: u64) -> u64 {
        self.missing = self.missing.saturating_add(more);
        let other = self.presses.saturating_sub(self.regular);
        let should = (2 * self.missing * other).div_ceil(self.regular.max(1));
        let added = should.saturating_sub(self.allowed);
        self.allowed = self.allowed.max(should);
        added
    }

    /// a b c d, a b c d, a+b, c d: the phases of an encoder are uneven, but alike from cycle to cycle.
    fn gap_in_cycles(&self, grain: Nanos) -> Option<u64> {
        if self.len < 11 || self.same_way < 11 {
            return None;
        }
        let [a2, b2, c2, d2, a, b, c, d, long, c3, d3] = std::array::from_fn(|n| self.newest(10 - n));
        let alike = |x: Nanos, y: Nanos| x.abs_diff(y) <= (x.max(y) / 5).max(grain);
        let steady =
            alike(a, a2) && alike(b, b2) && alike(c, c2) && alike(d, d2) && alike(c, c3) && alike(d, d3);
        let least = a.min(b).min(c).min(d);
        // Phases differ by 0.6 to 1.4 (data sheets, facts 2.4); what differs by more is a hand's pause.
        let phases = a.max(b).max(c).max(d) * 2 <= 5 * least;
        // Even ones are looked at elsewhere.
        let phases = phases && a.max(b).max(c).max(d) * 8 >= 9 * least;
        let missing = phases && alike(long, a + b) && long * 2 >= 3 * a && 10 * grain <= 3 * least;
        // Of pulses that come in pairs, forwards or both ways, the sum would be no surprise.
        (steady && missing && !alike(long, a)).then_some(1)
    }

    /// Takes note when an interval is up or down against the one four before, and the last jump went the
    /// other way. Four, since the phases of an encoder repeat after four counts at most.
    fn jump(&mut self, interval: Nanos) {
        let before = self.newest(4);
        let up = self.len >= 5 && interval * 5 >= before * 8;
        let down = self.len >= 5 && interval * 8 <= before * 5;
        let jumped = (up || down) && up != self.jumped_up;
        if jumped {
            self.jumped_up = up;
        }
        self.jumps = self.jumps << 1 | u16::from(jumped);
    }

    /// Pulses that no report sees were not counted, and how many is anybody's guess: eight for each one that
    /// was seen.
    fn too_short(&mut self, at: Nanos, widths: &Widths, sink: &mut impl FnMut(Loss)) -> bool {
        if widths.one_report() < ONE_REPORT || widths.is_seen() {
            self.unseen = None;
            return false;
        }
        let jumpy = self.jumps.count_ones() >= JUMPS;
        match self.unseen {
            None if !jumpy => return false,
            Some(told) if self.presses < told => return true,
            _ => {}
        }
        let ahead = self.presses.saturating_add(u64::from(ONE_REPORT));
        let of = ahead - self.unseen.unwrap_or_default();
        self.unseen = Some(ahead);
        let bound = Margin::both(Counts::new(i64::try_from(of.saturating_mul(8)).unwrap_or(i64::MAX)));
        let from = at.saturating_sub(self.ring.iter().sum());
        let evidence = Evidence { from, to: at, reports: 2 * ONE_REPORT };
        sink(loss(LossKind::PulsesTooShort, Certainty::Inferred, evidence, bound));
        true
    }
}

#[cfg(test)]
mod tests {
    use super::super::width::Pulse;
    use super::*;

    /// What presses at such intervals, in milliseconds, of pulses of so many, read every millisecond, come to; then a
    /// silence of a second.
    fn named(cycle: Option<u64>, width: u64, intervals: &[u64]) -> Vec<&'static str> {
        let (mut pace, mut widths, mut rate, mut told) =
            (Pace::default(), Widths::default(), Rate::default(), Vec::new());
        rate.give(cycle.map(|ms| ms * MILLISECOND));
        for _ in 0..20 {
            let pulse = Pulse { until: width * MILLISECOND, paused: HOUR, ..Pulse::default() };
            widths.pulse(pulse, HOUR, Some(MILLISECOND), |_, _| {});
        }
        let mut sink = |loss: Loss| told.push(loss.kind.name());
        let mut at = 1_000 * MILLISECOND;
        pace.press(at, true, &widths, false, &mut sink);
        rate.know(widths.typical(), Some(MILLISECOND), true);
        rate.press(at, true, MILLISECOND, Hand::default(), &mut |_| {});
        for interval in intervals {
            at += interval * MILLISECOND;
            pace.press(at, true, &widths, rate.is_limited(), &mut sink);
            rate.press(at, true, MILLISECOND, Hand::default(), &mut |_| {});
        }
        if let Some(drained) = pace.silence(at + 1_000 * MILLISECOND, &widths, &rate, Hand::default()) {
            sink(drained.loss);
        }
        told
    }

    /// The table above, row by row.
    #[test]
    fn every_row() {
        let slower = [150, 200, 300];
        let with = |spin: &[u64]| [spin, &slower].concat();
        let none: [&str; 0] = [];
        // A queue that drained, at the cycle where it is known; a hand that slows down.
        assert_eq!(named(None, 20, &[60, 40, 40, 40, 40, 40]), ["late-pulses"]);
        assert_eq!(named(Some(40), 20, &[60, 40, 40, 40, 40, 40]), ["late-pulses"]);
        assert_eq!(named(Some(40), 20, &[80, 60, 60, 60, 60, 60]), none, "not at the cycle");
        assert_eq!(named(None, 20, &[60, 40, 40, 40, 50, 70]), none);
        // One missing among even ones, and in the four phases of an encoder.
        let even = |then: &[u64]| with(&[&[100; 6], then].concat());
        assert_eq!(named(None, 20, &even(&[98, 100, 200, 101, 100, 100])), ["gap-in-spin"]);
        let faster = [92, 86, 80, 150, 70, 68, 66, 64, 62, 60, 60, 120, 60, 60, 60, 60];
        assert_eq!(named(None, 20, &even(&faster)), ["gap-in-spin"], "speeding up, where it comes again");
        assert_eq!(named(None, 20, &even(&[98, 100, 150, 101, 100, 100])), none);
        assert_eq!(named(None, 20, &even(&[98, 100, 200, 200, 200, 200])), none);
        assert_eq!(
            named(None, 20, &even(&[60, 66, 76, 92, 200, 92, 76, 66, 60])),
            none,
            "a stop between strokes"
        );
        let stops = [100, 100, 250, 100, 100, 160, 100, 100, 155, 100, 100, 200, 100, 100, 90];
        assert_eq!(named(None, 20, &even(&stops)), none, "a hand that stops and goes");
        let cycle = [70, 130, 90, 110];
        assert_eq!(
            named(None, 20, &with(&[&cycle[..], &cycle, &[200, 90, 110], &cycle].concat())),
            ["gap-in-spin"]
        );
        assert_eq!(named(None, 20, &with(&[&cycle[..], &cycle, &cycle, &cycle].concat())), none);
        // Pulses of one report, with holes and without.
        let holes = [100, 200, 100, 100, 300, 100, 500, 100, 100, 100, 300, 100, 200, 100, 100, 100];
        assert_eq!(named(None, 1, &with(&[holes, holes].concat())), ["pulses-too-short", "pulses-too-short"]);
        assert_eq!(named(None, 1, &with(&[100; 40])), none);
    }
}
