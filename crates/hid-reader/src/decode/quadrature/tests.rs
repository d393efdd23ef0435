//! The published tables, a published library, and what sampling too slowly does.

use super::*;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use rotary_encoder_embedded::Direction;
use rotary_encoder_embedded::quadrature::QuadratureTableMode;

const ALL: [CountsPerCycle; 3] = [CountsPerCycle::X1, CountsPerCycle::X2, CountsPerCycle::X4];

fn lines(state: &str) -> (bool, bool) {
    (state.starts_with('1'), state.ends_with('1'))
}

/// A decoder on a board whose interval nobody ever finds, so that the table is all there is.
struct ByTable {
    quadrature: Quadrature,
    clock: SampleClock,
}

impl ByTable {
    fn new(per_cycle: CountsPerCycle) -> Self {
        let quadrature = Quadrature { tracker: Tracker::that_never_learns(), ..Quadrature::new(per_cycle) };
        Self { quadrature, clock: SampleClock::new(None) }
    }

    /// What was counted and lost; what is in doubt beside is for other tests.
    fn step(&mut self, at: Timestamp, a: bool, b: bool) -> Step {
        let sample = self.clock.report(at, false);
        Step { doubt: None, ..self.quadrature.step(at, (&self.clock, &sample), a, b) }
    }
}

/// (A, B) of phase 0..=3, and of any edge number.
fn at_edge(e: i64) -> (bool, bool) {
    lines(["00", "10", "11", "01"][usize::try_from(e.rem_euclid(4)).unwrap()])
}

/// What a decoder counts over these states, and how many losses it sees. The first state sets it.
fn decode(per_cycle: CountsPerCycle, states: impl IntoIterator<Item = (bool, bool)>) -> (i64, u64) {
    let mut decoder = ByTable::new(per_cycle);
    states.into_iter().fold((0, 0), |(counts, losses), (a, b)| {
        let step = decoder.step(Timestamp::START, a, b);
        (counts + step.counts.get(), losses + u64::from(step.loss.is_some()))
    })
}

fn one_step(per_cycle: CountsPerCycle, was: (bool, bool), is: (bool, bool)) -> (i64, bool) {
    let (counts, losses) = decode(per_cycle, [was, is]);
    (counts, losses == 1)
}

/// The table as printed in the module's text; `None` is illegal.
#[test]
fn every_pair_of_states() {
    let table = [
        ("00", [("00", Some(0)), ("01", Some(-1)), ("10", Some(1)), ("11", None)]),
        ("01", [("00", Some(1)), ("01", Some(0)), ("10", None), ("11", Some(-1))]),
        ("10", [("00", Some(-1)), ("01", None), ("10", Some(0)), ("11", Some(1))]),
        ("11", [("00", None), ("01", Some(1)), ("10", Some(-1)), ("11", Some(0))]),
    ];
    for (was, row) in table {
        for (is, edges) in row {
            let expected = (edges.unwrap_or(0), edges.is_none());
            assert_eq!(one_step(CountsPerCycle::X4, lines(was), lines(is)), expected, "{was} to {is}");
        }
    }
}

/// ST RM0365, table 118, "Counting direction versus encoder signals", TI1 = A and TI2 = B: the edge, the
/// other line's level, the direction. "TI1 and TI2" is x4, "TI1 only" is x2.
#[test]
fn st_counting_direction_versus_encoder_signals() {
    const UP: i64 = 1;
    const DOWN: i64 = -1;
    let on_a = [(true, true, DOWN), (false, true, UP), (true, false, UP), (false, false, DOWN)];
    let on_b = [(true, true, UP), (false, true, DOWN), (true, false, DOWN), (false, false, UP)];
    for (rising, b, direction) in on_a {
        assert_eq!(one_step(CountsPerCycle::X4, (!rising, b), (rising, b)), (direction, false));
        assert_eq!(one_step(CountsPerCycle::X2, (!rising, b), (rising, b)), (direction, false));
    }
    for (rising, a, direction) in on_b {
        assert_eq!(one_step(CountsPerCycle::X4, (a, !rising), (a, rising)), (direction, false));
        assert_eq!(one_step(CountsPerCycle::X2, (a, !rising), (a, rising)), (0, false));
    }
}

/// TI SPRUIW9C, table 23-3 (= SPRUIX1B, table 15-3), "Quadrature Decoder Truth Table": the edge before, the
/// edge now, the direction. "TOGGLE" is the same line's edge back, which undoes the one before.
#[test]
fn ti_quadrature_decoder_truth_table() {
    let rows = [
        (('A', true), [(('B', true), 1), (('B', false), -1)]),
        (('A', false), [(('B', false), 1), (('B', true), -1)]),
        (('B', true), [(('A', true), -1), (('A', false), 1)]),
        (('B', false), [(('A', false), -1), (('A', true), 1)]),
    ];
    let set = |state: (bool, bool), (line, level): (char, bool)| {
        if line == 'A' { (level, state.1) } else { (state.0, level) }
    };
    for (before, nexts) in rows {
        for (next, direction) in nexts {
            // Before `next` its line is at the other level; before `before` so is that one's.
            let middle = set(set((false, false), before), (next.0, !next.1));
            let first = set(middle, (before.0, !before.1));
            let mut decoder = ByTable::new(CountsPerCycle::X4);
            decoder.step(Timestamp::START, first.0, first.1);
            let came = decoder.step(Timestamp::START, middle.0, middle.1).counts.get();
            let last = set(middle, next);
            let goes = decoder.step(Timestamp::START, last.0, last.1).counts.get();
            assert_eq!(goes, direction, "{before:?} then {next:?}");
            let back = one_step(CountsPerCycle::X4, middle, first).0;
            assert_eq!(back, -came, "TOGGLE after {before:?}");
        }
    }
}

/// NI M Series manual, "Measurements using quadrature encoders", figures 7-15 to 7-17: two cycles with A
/// leading, then two with B leading.
#[test]
fn ni_x1_x2_x4_sequences() {
    let figures: [(CountsPerCycle, &[i64]); 3] = [
        (CountsPerCycle::X1, &[5, 6, 7, 6, 5]),
        (CountsPerCycle::X2, &[5, 6, 7, 8, 9, 8, 7, 6, 5]),
        (CountsPerCycle::X4, &[5, 6, 7, 8, 9, 10, 11, 12, 13, 12, 11, 10, 9, 8, 7, 6, 5]),
    ];
    for (per_cycle, printed) in figures {
        let mut decoder = ByTable::new(per_cycle);
        let mut counter = vec![5];
        for e in (0..=8).chain((0..8).rev()) {
            let (a, b) = at_edge(e);
            let counts = decoder.step(Timestamp::START, a, b).counts;
            if !counts.is_zero() {
                counter.push(counter.last().unwrap() + counts.get());
            }
        }
        assert_eq!(counter, printed, "{per_cycle:?}");
    }
}

/// Linux, Documentation/driver-api/generic-counter.rst, "Quadrature x1 A" (and NI's text on X1): going
/// forward A rising counts, going backward A falling counts, nothing else does.
#[test]
fn x1_counts_a_rising_forward_and_a_falling_backward() {
    for e in 0..4 {
        let (was, forward) = (at_edge(e), at_edge(e + 1));
        let a_rises = !was.0 && forward.0;
        assert_eq!(one_step(CountsPerCycle::X1, was, forward), (i64::from(a_rises), false));
        assert_eq!(one_step(CountsPerCycle::X1, forward, was), (-i64::from(a_rises), false));
    }
}

#[test]
fn twenty_four_cycles_from_every_phase() {
    for start in 0..4 {
        for (per_cycle, counts) in ALL.into_iter().zip([24, 48, 96]) {
            assert_eq!(decode(per_cycle, (start..=start + 96).map(at_edge)), (counts, 0));
            assert_eq!(decode(per_cycle, (start..=start + 96).rev().map(at_edge)), (-counts, 0));
        }
    }
}

/// `rotary-encoder-embedded` 0.5 `QuadratureTableMode` with threshold 1, dt = A, clk = B, on 1,000,000 random
/// states, illegal pairs included: the same count at each.
#[test]
fn a_published_library_agrees_on_a_million_random_states() {
    let mut random = Pcg64::seed_from_u64(0x9E37_79B9_7F4A_7C15);
    let mut oracle = QuadratureTableMode::new(1);
    let mut decoder = ByTable::new(CountsPerCycle::X4);
    decoder.step(Timestamp::START, false, false);
    let (mut was, mut illegal) = ((false, false), 0);
    for _ in 0..1_000_000 {
        let (a, b) = (random.random(), random.random());
        let step = decoder.step(Timestamp::START, a, b);
        assert_eq!(step.counts.get(), direction(oracle.update(a, b)));
        let both = a != was.0 && b != was.1;
        assert_eq!(step.loss.is_some(), both);
        illegal += u32::from(both);
        was = (a, b);
    }
    assert!((240_000..260_000).contains(&illegal), "a quarter of all pairs is illegal, here {illegal}");
}

/// The same library, and the true position, on 1,000,000 random single edges.
#[test]
fn a_published_library_agrees_on_a_million_single_edges() {
    let mut random = Pcg64::seed_from_u64(0x9E37_79B9_7F4A_7C15);
    let mut oracle = QuadratureTableMode::new(1);
    let mut decoders = ALL.map(ByTable::new);
    decoders
        .iter_mut()
        .for_each(|decoder| assert_eq!(decoder.step(Timestamp::START, false, false), Step::default()));
    let (mut e, mut published, mut tallies) = (0_i64, 0, [0; 3]);
    for _ in 0..1_000_000 {
        e += if random.random() { 1 } else { -1 };
        let (a, b) = at_edge(e);
        published += direction(oracle.update(a, b));
        for (decoder, tally) in decoders.iter_mut().zip(&mut tallies) {
            let step = decoder.step(Timestamp::START, a, b);
            assert_eq!(step.loss, None);
            *tally += step.counts.get();
        }
        assert_eq!(tallies, [(e + 3).div_euclid(4), (e + 1).div_euclid(2), e]);
        assert_eq!(published, e);
    }
}

fn direction(direction: Direction) -> i64 {
    match direction {
        Direction::None => 0,
        Direction::Clockwise => 1,
        Direction::Anticlockwise => -1,
    }
}

/// One cycle in which every edge bounces. Bounce is on one line at a time, so it cancels: the crates
/// `quadrature-decoder` 0.2 and `rotary-encoder-embedded` 0.5 give +4 and +1 for it too.
#[test]
fn bounce_on_one_line_cancels() {
    let cycle = "11 01 11 01 11 01 00 01 00 01 00 10 00 10 11 10 11";
    for (per_cycle, counts) in ALL.into_iter().zip([1, 2, 4]) {
        assert_eq!(decode(per_cycle, cycle.split(' ').map(lines)), (counts, 0));
    }
}

/// A wheel that trembles on any one edge for ever is never off by more than that edge.
#[test]
fn a_tremble_never_accumulates() {
    for per_cycle in ALL {
        for e in 0..4 {
            let mut decoder = ByTable::new(per_cycle);
            let mut tally = 0;
            for i in 0..10_000 {
                let (a, b) = at_edge(e + i % 2);
                tally += decoder.step(Timestamp::START, a, b).counts.get();
                assert!((-1..=1).contains(&tally));
            }
        }
    }
}

/// What the table makes of 960 edges at constant speed of which only every k-th state is seen. Run with the
/// crate `quadrature-decoder` 0.2: at three edges a report it counts backwards and at four nothing, without
/// one illegal pair.
#[test]
fn the_signature_of_sampling_too_slowly() {
    let signature = [(1, 960, 0), (2, 0, 480), (3, -320, 0), (4, 0, 0), (5, 192, 0), (6, 0, 160)];
    for (k, counts, illegal) in signature {
        let seen = (0..=960).filter(|e| e % k == 0).map(at_edge);
        assert_eq!(decode(CountsPerCycle::X4, seen), (counts, illegal), "every {k}th state");
    }
}

/// Two edges at once, either way, from any phase: the truth is within the bound, and the bound is no wider.
#[test]
fn the_bound_of_an_illegal_pair_is_exact() {
    for per_cycle in ALL {
        for e in 0..4 {
            let mut decoder = ByTable::new(per_cycle);
            let (a, b) = at_edge(e);
            decoder.step(Timestamp::START, a, b);
            let (a, b) = at_edge(e + 2);
            let step = decoder.step(Timestamp::from_micros(9), a, b);
            let loss = step.loss.unwrap();
            assert_eq!(step.counts, Counts::ZERO);
            assert_eq!((loss.kind, loss.certainty), (LossKind::BothLinesChanged, Certainty::Observed));
            assert_eq!((loss.at, loss.reports), (Timestamp::from_micros(9), 1));
            let (up, _) = decode(per_cycle, [e, e + 1, e + 2].map(at_edge));
            let (down, _) = decode(per_cycle, [e, e - 1, e - 2].map(at_edge));
            assert_eq!(loss.bound, Margin::new(Counts::new(down), Counts::new(up)));
        }
    }
}

/// After an illegal pair the table goes on from where the lines are.
#[test]
fn it_goes_on_after_an_illegal_pair() {
    assert_eq!(decode(CountsPerCycle::X4, ["00", "11", "01", "00", "10"].map(lines)), (3, 1));
}
