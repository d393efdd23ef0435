//! A board, the kernel's ring of 63 and a reader with a will of its own, in virtual time from a seed.

use super::*;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use std::collections::VecDeque;

const SECOND: u64 = 1_000_000;

/// When a board sends its reports, in microseconds.
#[derive(Debug, Clone, Copy)]
enum Board {
    /// Every interval, a tenth of it early or late.
    Steady,
    /// Only changes: a hand that rests and strokes, contacts that bounce from report to report, and now and
    /// then a stroke so fast that every report carries a change.
    OnChange,
}

fn sends(board: Board, interval: u64, until: u64, random: &mut Pcg64) -> Vec<u64> {
    let mut at = 0;
    let mut sends = Vec::new();
    while at < until {
        match board {
            Board::Steady => {
                at += interval;
                sends.push(at + random.random_range(0..=interval / 10));
            }
            Board::OnChange => {
                at += random.random_range(interval..3 * SECOND);
                let pace = if random.random_bool(0.3) { 1 } else { random.random_range(1..30) };
                for _ in 0..random.random_range(1..300) {
                    at += interval * random.random_range(1..=pace);
                    for _ in 0..random.random_range(0..3) {
                        sends.push(at);
                        at += interval;
                    }
                    sends.push(at);
                }
            }
        }
    }
    sends
}

/// A reader that takes `cost` per report, wakes up to `late` after one comes, and sleeps through `naps`
/// (start and length).
struct Reader {
    cost: std::ops::RangeInclusive<u64>,
    late: u64,
    naps: Vec<(u64, u64)>,
}

/// The stalls that the detector sees and the reports that the kernel drops, each with its time.
fn watch(
    given: Option<u64>,
    sends: &[u64],
    reader: Reader,
    random: &mut Pcg64,
) -> (Vec<(u64, Stall)>, Vec<u64>) {
    let mut detector = StallDetector::new(given.map(Duration::from_micros));
    let (mut stalls, mut dropped, mut ring) = (Vec::new(), Vec::new(), VecDeque::new());
    let mut sends = sends.iter().copied().peekable();
    let mut naps = reader.naps.into_iter().peekable();
    let mut now = 0;
    loop {
        if ring.is_empty() {
            let Some(next) = sends.peek() else { return (stalls, dropped) };
            now = now.max(*next) + random.random_range(0..=reader.late);
        } else {
            now += random.random_range(reader.cost.clone());
        }
        while let Some((start, length)) = naps.next_if(|nap| nap.0 <= now) {
            now = now.max(start + length);
        }
        while let Some(sent) = sends.next_if(|send| *send <= now) {
            if ring.len() < 63 { ring.push_back(sent) } else { dropped.push(sent) }
        }
        ring.pop_front().unwrap();
        if let Some(stall) = detector.report(Timestamp::from_micros(now)) {
            stalls.push((now, stall));
        }
    }
}

/// No alarm without a dropped report: bounces, fast strokes, a reader that is often late and at times so
/// late that the ring fills to all but a few places.
#[test]
fn no_false_alarm_in_ten_hours_of_clean_reading() {
    let mut reports = 0;
    for seed in 0..60 {
        let mut random = Pcg64::seed_from_u64(seed);
        let interval = [125, 250, 1000, 2000, 4000, 8000, 10_000][random.random_range(0..7)];
        let board = if seed % 3 == 0 { Board::Steady } else { Board::OnChange };
        let sends = sends(board, interval, 600 * SECOND, &mut random);
        reports += sends.len();
        let mut nap = |start| (start, random.random_range(interval..interval * 55));
        let naps = (1..170).map(|i| nap(i * 7 * SECOND / 2)).collect();
        let late = interval * random.random_range(0..3);
        let reader = Reader { cost: 5..=(interval / 4).min(60), late, naps };
        let given = (seed % 2 == 0).then_some(interval);
        let (stalls, dropped) = watch(given, &sends, reader, &mut random);
        assert_eq!(
            (stalls, dropped),
            (vec![], vec![]),
            "seed {seed}, {board:?}, {interval} us, given {given:?}"
        );
    }
    assert!(reports > 1_000_000, "{reports}");
}

/// A steady board: each nap that loses reports is seen once, right after it, and the estimate is exact but
/// for the jitter. The measured case is among them: 200 ms at 1,000 reports a second lose 137
/// (Linux 6.1, measured).
#[test]
fn every_overflow_of_a_steady_board_is_seen() {
    for seed in 0..200 {
        let mut random = Pcg64::seed_from_u64(seed);
        let interval = [125, 1000, 4000, 8000, 10_000][random.random_range(0..5)];
        let sends = sends(Board::Steady, interval, interval * 6000, &mut random);
        let length = if seed == 0 { 200 * interval } else { interval * random.random_range(66..600) };
        let naps = vec![(interval * random.random_range(2000..4000), length)];
        // A reader with the interval from the rig file may be slow to catch up; one that has to learn too.
        let reader = Reader { cost: 5..=interval / 5, late: interval / 20, naps: naps.clone() };
        let given = (seed % 2 == 0).then_some(interval);
        let (stalls, dropped) = watch(given, &sends, reader, &mut random);
        let [(at, stall)] = stalls[..] else { panic!("seed {seed}: {stalls:?}, {} dropped", dropped.len()) };
        let lost = u64::try_from(dropped.len()).unwrap();
        assert!((lost..=lost + 8).contains(&stall.gone), "seed {seed}: {stall:?}, {lost} dropped");
        let woke = naps[0].0 + length;
        assert!((woke..woke + 63 * interval / 2).contains(&at), "seed {seed}");
        assert!((63..80).contains(&stall.reports), "seed {seed}: {stall:?}");
        assert!(stall.lasted >= Duration::from_micros(length), "seed {seed}: {stall:?}");
    }
}

/// A board that sends only changes, in the middle of a fast stroke, the reader catching up at 5 to 40 us a
/// report: seen, and the bound holds. How long the wheel had rested is not known, so it is no estimate.
#[test]
fn every_overflow_of_a_fast_stroke_is_seen() {
    for seed in 0..200 {
        let mut random = Pcg64::seed_from_u64(seed);
        let interval = [1000, 2000, 4000, 8000][random.random_range(0..4)];
        let mut sends = sends(Board::OnChange, interval, 20 * SECOND, &mut random);
        let stroke = sends.last().unwrap() + random.random_range(interval..SECOND);
        sends.extend((0..1000).map(|i| stroke + i * interval));
        let length = interval * random.random_range(66..600);
        let nap = (stroke + interval * random.random_range(0..300), length);
        let reader = Reader { cost: 5..=40, late: 60, naps: vec![nap] };
        let given = (seed % 2 == 0).then_some(interval);
        let (stalls, dropped) = watch(given, &sends, reader, &mut random);
        let [(_, stall)] = stalls[..] else { panic!("seed {seed}: {stalls:?}, {} dropped", dropped.len()) };
        let lost = u64::try_from(dropped.len()).unwrap();
        assert!(lost > 0 && stall.gone >= lost, "seed {seed}: {stall:?}, {lost} dropped");
    }
}

/// A reader that is held up once more while it catches up is still noticed.
#[test]
fn a_reader_held_up_again_is_noticed() {
    let mut random = Pcg64::seed_from_u64(1);
    let sends = sends(Board::Steady, 1000, 5 * SECOND, &mut random);
    let naps = vec![(2 * SECOND, 150_000), (2 * SECOND + 150_300, 9_000)];
    let reader = Reader { cost: 10..=20, late: 50, naps };
    let (stalls, dropped) = watch(Some(1000), &sends, reader, &mut random);
    assert_eq!(stalls.len(), 1);
    assert!(dropped.len() > 80 && stalls[0].1.gone >= u64::try_from(dropped.len()).unwrap());
}

/// Something that is no USB board and sends every 40 us after a rest: quick, but far longer than any ring.
#[test]
fn a_stream_faster_than_usb_is_no_stall() {
    let mut random = Pcg64::seed_from_u64(3);
    let sends: Vec<u64> = (0..50).flat_map(|burst| (0..500).map(move |i| burst * SECOND + i * 40)).collect();
    let reader = Reader { cost: 1..=10, late: 10, naps: vec![] };
    assert_eq!(watch(None, &sends, reader, &mut random), (vec![], vec![]));
}

#[test]
fn the_interval_of_a_steady_board_is_learned_and_that_of_a_hand_is_not() {
    let mut random = Pcg64::seed_from_u64(2);
    let mut learn = |board| {
        let mut detector = StallDetector::new(None);
        for send in sends(board, 4000, 60 * SECOND, &mut random) {
            detector.report(Timestamp::from_micros(send));
        }
        detector.interval.nanos
    };
    let learned = learn(Board::Steady);
    assert!(learned.abs_diff(4_000_000) < 100_000, "{learned} ns");
    assert_eq!(learn(Board::OnChange), FASTEST_BOARD);
}

#[test]
fn no_time_is_too_long_or_too_short() {
    for given in [Some(Duration::ZERO), Some(Duration::MAX), None] {
        let mut detector = StallDetector::new(given);
        for i in 0..5000_u64 {
            let at = if i % 100 == 0 { u64::MAX - 5000 + i } else { i };
            detector.report(Timestamp::from_nanos(at));
        }
        detector.forget();
        assert_eq!(detector.report(Timestamp::from_nanos(u64::MAX)), None);
    }
}
