//! What no decoder can tell. A flick by two edges within one interval is the same forward and back, on any board and with
//! perfect lines (a x T^2 < 0.6). And two wheels that a board reporting changes only reports alike, to the bit and to the
//! nanosecond, though one turned by four edges more. Both keep to a x T^2 < 0.4, and every interval of both boards is
//! within a tenth of T. And a stroke of 16 edges that is too hard to follow looks like a nudge of one edge to and fro, so
//! past a x T^2 = 1 no margin that is 0 after a nudge holds the truth always.
//!
//! Either wheel is brought to four edges an interval, at which each sample shows what the one before did, and back to
//! rest. In between one keeps exactly that speed for a while; the other gains four edges on it, evenly enough, and its
//! board takes one sample more in the same time. So it is no fault to be in doubt then, and one not to be.
//!
//! From some 60 silent intervals on a wheel is taken for resting, as no hand turns so evenly for so long: such twins, if
//! there were any, would be lost, and the margin would not say so.

use super::tests::{Clocked, Reporting, lines};
use super::*;

/// Intervals from rest to four edges an interval, and back.
const RISE: f64 = 20.0;

/// The hypothesis of the stroke of minimum jerk: its part of the whole way at part `u` of its time.
fn way(u: f64) -> f64 {
    let u = u.clamp(0.0, 1.0);
    u * u * u * (10.0 + u * (6.0 * u - 15.0))
}

/// The integral of [`way`].
fn sum_of_way(u: f64) -> f64 {
    let (u, beyond) = (u.clamp(0.0, 1.0), (u - 1.0).max(0.0));
    u * u * u * u * (2.5 + u * (u - 3.0)) + beyond
}

/// A wheel that keeps its speed for `holds` intervals and gains `gains` edges in them.
#[derive(Clone, Copy)]
struct Wheel {
    holds: f64,
    gains: f64,
}

impl Wheel {
    /// Where it is after so many intervals, in edges.
    fn place(self, time: f64) -> f64 {
        let falls = time - RISE - self.holds;
        let at_speed = sum_of_way(time / RISE) - sum_of_way(falls / RISE);
        0.5 + 4.0 * RISE * at_speed + self.gains * way((time - RISE) / self.holds)
    }

    /// When it is there, between two moments.
    fn time_at(self, place: f64, mut from: f64, mut to: f64) -> f64 {
        for _ in 0..80 {
            let middle = (from + to) / 2.0;
            if self.place(middle) < place { from = middle } else { to = middle }
        }
        to
    }

    /// When its board looks: at every interval, but while the speed is kept whenever four more edges have passed.
    fn samples(self) -> Vec<f64> {
        let end = RISE + self.holds;
        let mut times: Vec<_> = (0..=20).map(f64::from).collect();
        let held = 4.0 * self.holds + self.gains;
        let mut edges = 4.0;
        while edges < held {
            times.push(self.time_at(self.place(RISE) + edges, RISE, end));
            edges += 4.0;
        }
        times.extend((0..=30).map(|n| end + f64::from(n)));
        times
    }

    /// What its board reports: when, and how many edges have passed.
    fn reports(self) -> Vec<(u64, i64)> {
        let mut reports: Vec<(u64, i64)> = Vec::new();
        for time in self.samples() {
            #[expect(clippy::as_conversions, reason = "a test's places and times are small")]
            let (nanos, edges) = ((time * 1e6).round() as u64, (self.place(time) + 1e-6).floor() as i64);
            if reports.last().is_none_or(|(_, before)| (before - edges) % 4 != 0) {
                reports.push((nanos, edges));
            }
        }
        reports
    }

    /// The hardest that it is accelerated, in edges per interval^2.
    fn hardest(self) -> f64 {
        let step = 0.01;
        let bend = |n: i32| {
            let time = f64::from(n) * step;
            (self.place(time - step) - 2.0 * self.place(time) + self.place(time + step)) / (step * step)
        };
        (1..12_000).map(|n| bend(n).abs()).fold(0.0, f64::max)
    }
}

#[test]
fn two_wheels_that_no_one_can_tell_apart_are_both_within_the_margin() {
    for holds in [22.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0] {
        let (even, gaining) = (Wheel { holds, gains: 0.0 }, Wheel { holds, gains: 4.0 });
        for wheel in [even, gaining] {
            assert!(wheel.hardest() < 0.4, "{}", wheel.hardest());
            let samples = wheel.samples();
            assert!(samples.windows(2).all(|two| (0.9..=1.1).contains(&(two[1] - two[0]))), "{samples:?}");
        }
        assert_eq!(gaining.samples().len(), even.samples().len() + 1);
        let (reports, others) = (even.reports(), gaining.reports());
        let seen = |reports: &[(u64, i64)]| -> Vec<_> {
            reports.iter().map(|(at, edges)| (*at, lines(*edges))).collect()
        };
        assert_eq!(seen(&reports), seen(&others), "they are reported alike");
        let (edges, four_more) = (reports.last().unwrap().1, others.last().unwrap().1);
        assert_eq!(four_more, edges + 4);

        let mut board = Clocked::new(Some(2400), Some(Duration::from_millis(1)), Some(Reporting::OnChange));
        board.clock.is_uneven();
        let mut lost = Margin::CERTAIN;
        for (at, edges) in reports {
            let at = Timestamp::from_nanos(at);
            while let Some(due) = board.due().filter(|due| *due < at) {
                lost += board.elapsed(due).lost.unwrap_or_default();
            }
            let (a, b) = lines(edges);
            lost += board.step(at, a, b).lost.unwrap_or_default();
        }
        while let Some(due) = board.due() {
            lost += board.elapsed(due).lost.unwrap_or_default();
        }
        let told = (board.tracker.edges(), lost);
        for truth in [edges, four_more] {
            assert!(
                lost.covers(Counts::new(truth - board.tracker.edges())),
                "{holds}: {truth}, told {told:?}"
            );
        }
    }
}

/// A flick of 2.99 edges within 5.4 intervals, forward from just past an edge or back from just before one.
fn flicked(time: f64, sign: f64) -> f64 {
    0.5 + sign * (2.99 * way((time - 10.0) / 5.4) - 0.495)
}

/// A board with a fixed interval that looks at the middle of the flick half an interval from either side sees two edges
/// pass at once. Which way they went no decoder can tell, though the lines are perfect and every interval is just T.
#[test]
fn two_flicks_that_no_one_can_tell_apart_are_both_within_the_margin() {
    // A stroke of minimum jerk is accelerated by 10 / sqrt(3) s / t^2 at most.
    assert!(10.0 / 3.0_f64.sqrt() * 2.99 / (5.4 * 5.4) < 0.6);
    #[expect(clippy::as_conversions, reason = "a test's places are small")]
    let edges =
        |sign| -> Vec<i64> { (0..60).map(|n| flicked(f64::from(n) + 0.2, sign).floor() as i64).collect() };
    let (forward, back) = (edges(1.0), edges(-1.0));
    let seen = |edges: &[i64]| -> Vec<_> { edges.iter().map(|edges| lines(*edges)).collect() };
    assert_eq!(seen(&forward), seen(&back), "they are reported alike");
    assert_eq!((forward.last(), back.last()), (Some(&2), Some(&-2)));

    for (edges_per_turn, millis) in [(48, 16), (96, 8), (400, 4), (1000, 8), (2400, 16)] {
        let mut board =
            Clocked::new(Some(edges_per_turn), Some(Duration::from_millis(millis)), Some(Reporting::Steady));
        let (mut at, mut tally, mut lost) = (Timestamp::START, 0, Margin::CERTAIN);
        for edges in &forward {
            let (a, b) = lines(*edges);
            let tracked = board.step(at, a, b);
            tally += tracked.edges;
            lost += tracked.lost.unwrap_or_default();
            at = at.after(Duration::from_millis(millis));
        }
        for truth in [2, -2] {
            assert!(
                lost.covers(Counts::new(truth - tally)),
                "{edges_per_turn}: {truth}, told {tally} {lost:?}"
            );
        }
        assert_eq!(lost.low() + lost.high(), Counts::new(4), "no more than both is in doubt");
    }
}

/// A stroke of 16 edges in six intervals, which `testkit -- grid` came upon, and a wheel that is nudged: forward, back, and
/// the same again the other way round. Who doubted what the nudge shows could be certain of nothing.
#[test]
fn a_stroke_too_hard_to_follow_looks_like_a_nudge() {
    let rest = |edges: i64| std::iter::repeat_n(edges, 40);
    let stroke: Vec<i64> = rest(0).chain([1, 4, 8, 12, 15]).chain(rest(16)).collect();
    let nudge: Vec<i64> = rest(0).chain([1, 0, 0, 0, -1]).chain(rest(0)).collect();
    let seen = |edges: &[i64]| -> Vec<_> { edges.iter().map(|edges| lines(*edges)).collect() };
    assert_eq!(seen(&stroke), seen(&nudge), "they are reported alike");
    let bends = stroke.windows(3).map(|three| three[0] - 2 * three[1] + three[2]);
    assert_eq!(bends.map(i64::abs).max(), Some(2), "a x T^2");

    let mut board = Clocked::new(Some(96), Some(Duration::from_millis(16)), Some(Reporting::Steady));
    let (mut at, mut tally, mut lost) = (Timestamp::START, 0, Margin::CERTAIN);
    for edges in nudge {
        let (a, b) = lines(edges);
        let tracked = board.step(at, a, b);
        tally += tracked.edges;
        lost += tracked.lost.unwrap_or_default();
        at = at.after(Duration::from_millis(16));
    }
    assert_eq!((tally, lost), (0, Margin::CERTAIN), "it is taken for what it nearly always is");
}
