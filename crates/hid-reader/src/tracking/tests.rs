//! Strokes of minimum-jerk form, knocks and rests, by hand. The grid of the testkit is where figures come from.

use super::*;

/// Where a stroke over `edges` in `ticks` is at tick `n`; beyond its end it rests.
fn stroke(edges: f64, ticks: f64, n: u32) -> i64 {
    let u = (f64::from(n) / ticks).min(1.0);
    let place = 0.5 + edges * u * u * u * (10.0 + u * (6.0 * u - 15.0));
    #[expect(clippy::as_conversions, reason = "a test's places are small")]
    let whole = place.floor() as i64;
    whole
}

pub(super) fn lines(edges: i64) -> (bool, bool) {
    [(false, false), (true, false), (true, true), (false, true)]
        [usize::try_from(edges.rem_euclid(4)).unwrap()]
}

const T: Duration = Duration::from_millis(4);

/// When a board sends reports.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Reporting {
    /// At every interval, and that is known.
    Steady,
    /// On change, whatever repeats.
    OnChange,
}

/// A tracker with the clock of its board.
#[derive(Clone)]
pub(super) struct Clocked {
    reporting: Option<Reporting>,
    pub(super) clock: SampleClock,
    pub(super) tracker: Tracker,
}

impl Clocked {
    pub(super) fn new(
        edges_per_turn: Option<u32>,
        interval: Option<Duration>,
        reporting: Option<Reporting>,
    ) -> Self {
        let mut clock = SampleClock::measured(interval);
        if reporting == Some(Reporting::Steady) {
            clock.is_known_to_be_steady();
        }
        Self { reporting, clock, tracker: Tracker::new(edges_per_turn) }
    }

    pub(super) fn step(&mut self, at: Timestamp, a: bool, b: bool) -> Tracked {
        let same = self.tracker.phase == Some(phase(a, b));
        self.step_of(at, a, b, same)
    }

    fn step_of(&mut self, at: Timestamp, a: bool, b: bool, repeated: bool) -> Tracked {
        let sample = self.sample(at, repeated);
        self.tracker.step(&self.clock, &sample, a, b)
    }

    fn sample(&mut self, at: Timestamp, repeated: bool) -> Sample {
        self.clock.report(at, repeated && self.reporting != Some(Reporting::OnChange))
    }

    pub(super) fn due(&self) -> Option<Timestamp> {
        self.tracker.due(&self.clock)
    }

    pub(super) fn elapsed(&mut self, at: Timestamp) -> Tracked {
        self.tracker.elapsed(&self.clock, at)
    }
}

struct Run {
    board: Clocked,
    now: Timestamp,
    tally: i64,
    lost: Margin,
}

impl Run {
    fn new(edges_per_turn: u32) -> Self {
        let board = Clocked::new(Some(edges_per_turn), Some(T), None);
        Self { board, now: Timestamp::START, tally: 0, lost: Margin::CERTAIN }
    }

    fn take(&mut self, tracked: Tracked) {
        self.tally += tracked.edges;
        self.lost += tracked.lost.unwrap_or_default();
    }

    fn report(&mut self, edges: i64) {
        let (a, b) = lines(edges);
        let tracked = self.board.step(self.now, a, b);
        self.take(tracked);
        self.now = self.now.after(T);
    }

    /// Reports of a whole stroke and the rest after it; each one, or only those that change something.
    fn stroke(&mut self, edges: f64, ticks: u32, changes_only: bool) {
        let mut before = None;
        for n in 0..ticks + 40 {
            let now = stroke(edges, f64::from(ticks), n);
            if changes_only && before == Some(now.rem_euclid(4)) {
                self.now = self.now.after(T);
                continue;
            }
            before = Some(now.rem_euclid(4));
            self.silence();
            self.report(now);
        }
        self.silence();
    }

    fn silence(&mut self) {
        while let Some(due) = self.board.due().filter(|due| *due < self.now) {
            let tracked = self.board.elapsed(due);
            self.take(tracked);
        }
    }
}

/// 160 edges in a quarter of a second peak at 4.8 edges a tick, and at a x T^2 = 0.24.
#[test]
fn a_stroke_past_four_edges_a_report_is_counted_edge_by_edge() {
    for changes_only in [false, true] {
        for (edges, ticks) in [(160.0, 62), (-160.0, 62), (300.0, 60), (-300.0, 60), (500.0, 110)] {
            let mut run = Run::new(400);
            run.stroke(edges, ticks, changes_only);
            let case = (edges, ticks, changes_only);
            assert_eq!(run.tally, stroke(edges, f64::from(ticks), 1000), "{case:?}");
            // Past 1.6 edges a millisecond firmware with a scan of its own might be four edges off with no trace.
            let bound = if edges.abs() < 200.0 { 0 } else { 32 };
            assert!(
                run.lost.low() <= Counts::new(bound) && run.lost.high() <= Counts::new(bound),
                "{case:?}"
            );
            assert_eq!(run.board.tracker.doubt(), Margin::CERTAIN, "{case:?}");
            assert_eq!(run.board.due(), None, "{case:?}: at rest there is no timer");
        }
    }
}

/// The table is wrong in it, or nothing was shown.
#[test]
fn the_table_loses_that_stroke() {
    let phases: Vec<_> = (0..100).map(|n| stroke(160.0, 62.0, n)).collect();
    let turns = phases.windows(2).map(|pair| u8::try_from((pair[1] - pair[0]).rem_euclid(4)).unwrap());
    let table: i64 = turns.map(|turn| i64::from(table(turn))).sum();
    assert!((table - 160).abs() > 40, "{table}");
}

#[test]
fn below_one_edge_a_report_it_is_the_table() {
    let mut run = Run::new(2400);
    let mut edges = 0;
    run.report(0);
    for n in 0..5000_i64 {
        edges += [1, 0, 1, 0, 0, -1, 0, 0, 1, 0][usize::try_from(n % 10).unwrap()];
        run.report(edges);
        assert_eq!(run.tally, edges, "{n}");
        assert!(!run.board.tracker.is_following(), "{n}");
    }
}

#[test]
fn a_knock_out_of_rest_stays_in_doubt_both_ways() {
    let mut run = Run::new(400);
    (0..20).for_each(|_| run.report(0));
    (0..20).for_each(|_| run.report(2));
    assert_eq!(run.lost.low() + run.lost.high(), Counts::new(4));
    assert!(run.lost.covers(Counts::new(2 - run.tally)) && run.lost.covers(Counts::new(-2 - run.tally)));
    assert!(run.board.tracker.is_tie() && run.board.due().is_none());
}

#[test]
fn silence_ends_every_doubt() {
    // Noise, then nothing: whatever was believed, at most 64 intervals later nothing is awaited.
    let mut noise = 0x9E37_79B9_7F4A_7C15_u64;
    let mut run = Run::new(2400);
    run.board = Clocked::new(Some(2400), Some(T), Some(Reporting::OnChange));
    for _ in 0..200 {
        for _ in 0..30 {
            noise ^= noise << 13;
            noise ^= noise >> 7;
            noise ^= noise << 17;
            run.report(i64::from(noise & 3 == 1) + 2 * i64::from(noise & 4 == 4));
        }
        let last = run.now;
        run.now = run.now.after(T * 70);
        run.silence();
        assert_eq!((run.board.due(), run.board.tracker.doubt()), (None, Margin::CERTAIN), "{last}");
    }
    assert!(
        run.lost.low() > Counts::new(1000),
        "noise is no motion that anyone could be sure of: {}",
        run.lost
    );
}

/// What a slow reader finds waiting is read at once and was sampled an interval apart.
#[test]
fn reports_that_waited_are_an_interval_apart() {
    let mut run = Run::new(400);
    (0..40).for_each(|_| run.report(0));
    let (edges, ticks) = (160.0, 62);
    let mut waiting = 0;
    for n in 0..ticks + 40 {
        // The reader sleeps for 8 intervals in the middle of the stroke.
        if (20..28).contains(&n) {
            waiting += 1;
            continue;
        }
        let due = run.now.after(T * waiting);
        run.now = due;
        for late in (1..=waiting).rev() {
            let (a, b) = lines(stroke(edges, 62.0, n - late));
            let tracked = run.board.step(run.now, a, b);
            run.take(tracked);
        }
        waiting = 0;
        run.report(stroke(edges, 62.0, n));
    }
    assert_eq!(run.tally, 160);
}

/// A wheel at one edge a report, and a reader that is held up for 30 ms: what it reads late is all there.
#[test]
fn a_silence_that_was_the_readers_is_taken_back() {
    let mut run = Run::new(2400);
    for n in 0..100 {
        run.report(n);
    }
    assert!(run.board.tracker.is_following());
    run.now = run.now.after(T * 30);
    for n in 100..130 {
        let (a, b) = lines(n);
        let tracked = run.board.step(run.now, a, b);
        run.take(tracked);
        run.now = run.now.after(Duration::from_micros(20));
    }
    for n in 130..200 {
        run.report(n);
        assert_eq!((run.tally, run.lost), (n, Margin::CERTAIN));
    }
    assert_eq!(run.board.tracker.doubt(), Margin::CERTAIN);
}

#[test]
fn an_unknown_interval_is_learned_and_what_came_before_is_put_right() {
    let mut board = Clocked::new(Some(400), None, None);
    let (mut now, mut tally, mut skipped) = (Timestamp::START, 0, false);
    for n in 0..120_u32 {
        let (a, b) = lines(stroke(160.0, 62.0, n.saturating_sub(5)));
        let tracked = board.step(now, a, b);
        tally += tracked.edges;
        skipped |= tracked.skipped;
        now = now.after(T);
    }
    assert!(skipped, "two edges at a time came before the interval was known");
    assert_eq!(board.tracker.edges(), 160);
    assert!(tally <= 160);
}

/// What waits in a board that reports changes only is fetched at the host's beat, one change each time. The wheel
/// seems to turn at one edge an interval and to reverse at once, which no hand does; yet the table is right.
#[test]
fn a_beat_that_only_changes_show_is_not_gone_by() {
    let mut board = Clocked::new(Some(96), None, None);
    let (mut now, mut tally, mut edge) = (Timestamp::START, 0, 0_i64);
    let (a, b) = lines(edge);
    board.step(now, a, b);
    for steps in [41, -66, 30, -90, 10, 20] {
        for _ in 0..i64::abs(steps) {
            now = now.after(T);
            edge += i64::signum(steps);
            let (a, b) = lines(edge);
            tally += board.step(now, a, b).edges;
            assert_eq!(tally, edge);
        }
        now = now.after(T * 200);
    }
}

#[test]
fn what_is_interrupted_stays_in_doubt() {
    let mut run = Run::new(400);
    (0..20).for_each(|n| run.report(stroke(160.0, 62.0, n)));
    assert!(run.board.tracker.is_following());
    assert!(run.board.tracker.hidden_in(10) > 3, "a fast wheel may have gone on");
    run.board.tracker.interrupt();
    assert!(!run.board.tracker.is_following());
    assert_eq!(run.board.tracker.hidden_in(10), 3);
    run.board.tracker.forget();
    assert!(run.board.tracker.is_new());
}

/// The short way for nearly every report, and the way that all can go, come to the same.
#[test]
fn a_calm_step_is_a_step() {
    let mut noise = 0x2545_F491_4F6C_DD1D_u64;
    let mut next = move |below: u64| {
        noise ^= noise << 13;
        noise ^= noise >> 7;
        noise ^= noise << 17;
        (noise >> 33) % below
    };
    let interval = [None, Some(Duration::from_millis(4))];
    let reporting = [None, Some(Reporting::Steady), Some(Reporting::OnChange)];
    let (mut calm, mut others, mut followed) = (0, 0, 0);
    for run in 0..300 {
        let edges_per_turn = [Some(48), Some(400), None][run % 3];
        let board = Clocked::new(edges_per_turn, interval[run / 3 % 2], reporting[run / 6 % 3]);
        let (mut short, mut long) = (board.clone(), board);
        let (mut now, mut place, mut speed) = (Timestamp::START, 0_i64, 0_i64);
        for _ in 0..600 {
            // In 64ths of an edge: rest, creeping, strokes, and a knock now and then.
            speed = match next(40) {
                0 => 0,
                1 => i64::try_from(next(64)).unwrap() - 32,
                2 => i64::try_from(next(400)).unwrap() - 200,
                _ => speed,
            };
            place += speed + if next(200) == 0 { 64 } else { 0 };
            now = now.after(Duration::from_micros(match next(60) {
                0 => 400 + next(2000),
                1 => 9000 + next(90_000),
                _ => 3600 + next(800),
            }));
            let (a, b) = lines(place.div_euclid(64));
            let repeated = next(2) == 0 && lines(long.tracker.edges()) == (a, b);
            let whole = long.step_of(now, a, b, repeated);
            let sample = short.sample(now, repeated);
            match short.tracker.fast_step(&short.clock, &sample, a, b) {
                Some(edges) => {
                    assert_eq!(whole, Tracked { edges, ..Tracked::default() }, "{run} {now}");
                    calm += 1;
                }
                None => {
                    assert_eq!(short.tracker.step(&short.clock, &sample, a, b), whole, "{run} {now}");
                    others += 1;
                }
            }
            let state = |board: &Clocked| {
                let tracker = &board.tracker;
                (
                    tracker.edges(),
                    tracker.doubt(),
                    board.due(),
                    tracker.both_changed(),
                    tracker.is_following(),
                )
            };
            assert_eq!(state(&short), state(&long), "{run} {now}");
            followed += u32::from(long.tracker.is_following());
        }
    }
    assert!(calm > 30_000 && others > 30_000 && followed > 30_000, "{calm} {others} {followed}");
}
