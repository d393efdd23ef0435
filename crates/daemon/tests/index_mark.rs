//! Wheels with an index mark on a board that loses counts in silence, from the reports to the trims.
//!
//! The truth is the same wheel's true counts on the same trims. Whenever the mark tells something, the wheel has to be
//! right where fewer than half a turn was lost since it last did, and the truth has to be within every margin.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test stops at the first surprise")]

use std::time::Duration;
use tallywheel_accumulator::Place;
use tallywheel_engine::pipeline::Pipeline;
use tallywheel_engine::runtime_config;
use tallywheel_engine::tally::{Effect, Tally};
use tallywheel_hid_reader::Event;
use tallywheel_testkit::Chance;
use tallywheel_units::{Certainty, Counts, FixedCounts, Loss, LossKind, Margin, Timestamp, WheelIndex};

/// Joystick with 32 one-bit buttons.
const DESCRIPTOR: [u8; 23] = [
    0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x20, 0x15, 0x00, 0x25, 0x01, 0x75,
    0x01, 0x95, 0x20, 0x81, 0x02, 0xC0,
];
const PULSES: &str = "wiring = \"pulses\"\nforward = 1\nbackward = 2\npulse_on_ms = 8\npulse_off_ms = 8\n";
const QUADRATURE: &str = "wiring = \"quadrature\"\na = 1\nb = 2\ncounts_per_cycle = 4\n";
const LONG: &str = "travel_degrees = 10800\nneutral_degrees = 5400\n";
const TURN: i64 = 48;
const WHEEL: WheelIndex = WheelIndex::new(0);
const MARK: u8 = 0b100;

fn plan(wiring: &str, trim: &str) -> runtime_config::RuntimeConfig {
    let rig = format!(
        "name = \"bench\"\n[[board]]\nname = \"main\"\nusb = \"1209:7a11\"\nreport_interval_ms = 4\n[[wheel]]\nname = \"rudder\"\n\
         counts_per_turn = {TURN}\nindex = 3\n{wiring}"
    );
    let aircraft = format!("name = \"Dimmerly 1\"\n[[trim]]\nname = \"rudder\"\n{trim}");
    let rig = tallywheel_profile::rig("rig.toml", &rig).unwrap();
    runtime_config::build(&rig, &tallywheel_profile::aircraft("a.toml", &aircraft).unwrap()).unwrap()
}

/// A wheel in a hand, the board that reports it, and what both make of it.
struct Bench {
    raw: bool,
    path: Pipeline,
    tally: Tally,
    truth: Tally,
    /// Where the wheel is, and where the board takes it to be.
    at: i64,
    seen: i64,
    now: Timestamp,
    agreed: u32,
    measured: Vec<i64>,
    others: Vec<LossKind>,
    /// Whether the last report had the mark tell something.
    told: bool,
}

impl Bench {
    fn new(wiring: &str, trim: &str) -> Self {
        let plan = plan(wiring, trim);
        let (tally, truth) = (plan.tally.clone(), plan.tally.clone());
        let path = plan.boards[0].pipeline(&DESCRIPTOR).unwrap();
        let mut bench = Self {
            raw: wiring.starts_with(QUADRATURE),
            path,
            tally,
            truth,
            at: 0,
            seen: 0,
            now: Timestamp::START,
            agreed: 0,
            measured: Vec::new(),
            others: Vec::new(),
            told: false,
        };
        bench.report(0);
        bench
    }

    fn report(&mut self, pulse: u8) {
        let lines =
            if self.raw { [0b00, 0b01, 0b11, 0b10][usize::try_from(self.seen & 3).unwrap()] } else { pulse };
        // A sixth of the turn.
        let mark = if self.at.rem_euclid(TURN) >= TURN * 5 / 6 { MARK } else { 0 };
        self.now = self.now.after(Duration::from_millis(4));
        let Self { agreed, measured, others, told, .. } = self;
        let report = [lines | mark, 0, 0, 0];
        self.path.report(self.now, &report, &mut self.tally).iter().for_each(|event| match event.effect {
            Effect::Agreed => (*agreed, *told) = (*agreed + 1, true),
            Effect::Lost(loss) => match loss.measured() {
                Some(counts) => {
                    measured.push(counts.get());
                    *told = true;
                }
                None => others.push(loss.kind),
            },
            Effect::Counted(_) | Effect::Doubted(_) => {}
        });
    }

    /// NotificationQueue by one count, which the board may miss, and rests for so many reports.
    fn step(&mut self, way: i64, missed: bool, rests: u32) {
        self.told = false;
        self.at += way;
        self.truth.apply(WHEEL, Event::Counts(Counts::new(way)));
        if !missed {
            self.seen += way;
        }
        let pulse = if way > 0 { 0b01 } else { 0b10 };
        let pulse = if missed { 0 } else { pulse };
        self.report(pulse);
        self.report(pulse);
        for _ in 0..=rests {
            self.report(0);
        }
    }

    fn turn(&mut self, counts: i64) {
        for _ in 0..counts.abs() {
            self.step(counts.signum(), false, 8);
        }
    }

    fn miss(&mut self, counts: i64) {
        for _ in 0..counts.abs() {
            self.step(counts.signum(), true, 8);
        }
    }

    /// Sees the mark from both sides, so that each is a reference.
    fn acquaint(&mut self) {
        for turns in [1, -1, 1, -1] {
            self.turn(turns * (TURN + TURN / 2));
        }
        assert!(self.agreed >= 4 && self.measured.is_empty(), "{} agreed", self.agreed);
    }

    /// What is wrong, truth minus tally: of the wheel and of the trim.
    fn errors(&self) -> (i64, f64) {
        let wheel = |tally: &Tally| tally.wheel(WHEEL).unwrap().counts.get();
        let trim = |tally: &Tally| tally.trims()[0].accumulator.reading().position;
        (wheel(&self.truth) - wheel(&self.tally), (trim(&self.truth) - trim(&self.tally)).to_f64())
    }

    fn margins_hold(&self) -> bool {
        let (wheel, trim) = self.errors();
        let side = |counts: Counts| i32::try_from(counts.get()).map_or(f64::MAX, f64::from);
        let margin = self.trim_margin();
        self.tally.wheel(WHEEL).unwrap().stated().covers(Counts::new(wheel))
            && (-side(margin.low())..=side(margin.high())).contains(&trim)
    }

    fn trim_margin(&self) -> Margin {
        self.tally.trims()[0].reading().margin
    }
}

#[test]
fn what_was_lost_in_silence_is_put_right_at_the_mark() {
    let (mut marks, mut put_right, mut apart) = (0, 0, 0);
    for seed in 0..120 {
        let wiring = if seed % 2 == 0 { PULSES } else { QUADRATURE };
        let trims = ["stops = \"slip\"", "stops = \"remember\"", "stops = \"slip\"\nreversed = true"];
        let mut chance = Chance::new(seed);
        let trim = trims[usize::try_from(seed / 2 % 3).unwrap()];
        let mut bench = Bench::new(wiring, &format!("travel_degrees = 1080\nneutral_degrees = 540\n{trim}"));
        bench.acquaint();
        let mut way = 1;
        // At most one row of losses from mark to mark: two may cancel, which no mark can see.
        let (mut lost, mut since_turn, mut left, mut last) = (false, 0, 0, 0);
        for _ in 0..3_000 {
            if left == 0 && chance.happens(0.012) {
                (way, since_turn) = (-way, 0);
            }
            // No turn of direction before the board has shown that there was one.
            if left == 0 && !lost && since_turn > 2 && chance.happens(0.008) {
                // One count alone may be the mark's own, which is a matter of the unit tests.
                left = 2 + i64::from(chance.below(9));
                // What lines A and B do in whole cycles is what nobody can see.
                left = if wiring == QUADRATURE { (left / 4 + 1) * 4 } else { left };
                // The same again and again would be a wrong setting.
                left += if left == last { 4 } else { 0 };
                (lost, last) = (true, left);
            }
            let missed = left > 0;
            left -= i64::from(missed);
            since_turn += i64::from(!missed);
            bench.step(way, missed, 8 + chance.below(4));
            // In the middle of a row, what is yet to be lost is not what the mark could tell.
            if bench.told {
                let (wheel, trim) = bench.errors();
                assert_eq!(wheel, 0, "seed {seed}, {wiring}: {:?}, at {}", bench.measured, bench.at);
                assert!(bench.margins_hold(), "seed {seed}, {wiring}: {trim}, {}", bench.trim_margin());
                apart += u32::from(trim != 0.0);
                marks += 1;
                lost = left > 0;
            }
        }
        put_right += bench.measured.len();
        assert!(!bench.others.contains(&LossKind::WrongCountsPerTurn), "seed {seed}");
    }
    assert!(marks > 3_000 && put_right > 400, "{marks} marks, {put_right} put right");
    println!(
        "{marks} marks, {put_right} losses put right, {apart} times the trim had met a stop and was off within its margin"
    );
    assert!(apart > 0, "stops that slip were met, and the margin says so");
}

#[test]
fn a_trim_between_its_stops_goes_with_the_wheel() {
    for trim in ["", "reversed = true"] {
        let mut bench = Bench::new(PULSES, &format!("{LONG}{trim}"));
        bench.acquaint();
        bench.miss(7);
        bench.turn(TURN);
        assert_eq!((bench.errors(), bench.measured.as_slice()), ((0, 0.0), [7].as_slice()));
        assert!(bench.trim_margin().is_certain());
        let wheel = bench.tally.wheel(WHEEL).unwrap();
        assert_eq!((wheel.margin, wheel.turned.get()), (Margin::CERTAIN, wheel.turned.get()));
        let trim = &bench.tally.trims()[0];
        assert_eq!(trim.applied + trim.refused, FixedCounts::from_counts(wheel.counts));
        assert_eq!(bench.tally.losses().find(|(kind, _)| *kind == LossKind::OffAtIndex).unwrap().1, 1);
    }
}

/// The same with a wheel that counts backwards: the rig's direction is applied to what the mark says.
#[test]
fn a_reversed_wheel() {
    let mut bench = Bench::new(&format!("{PULSES}reversed = true\n"), LONG);
    for turns in [1, -1, 1, -1] {
        bench.turn(turns * (TURN + TURN / 2));
    }
    bench.miss(7);
    bench.turn(TURN);
    assert_eq!(bench.measured, [-7]);
    assert_eq!(bench.tally.wheel(WHEEL).unwrap().counts.get(), -bench.at);
    assert!(bench.trim_margin().is_certain());
}

/// Whoever puts the trim right himself knows better than a mark that has not come since.
#[test]
fn an_aligned_trim_stays_where_it_was_put() {
    let mut bench = Bench::new(PULSES, LONG);
    bench.acquaint();
    bench.miss(7);
    for tally in [&mut bench.tally, &mut bench.truth] {
        tally.align(0, Place::Neutral);
    }
    bench.turn(TURN);
    assert_eq!((bench.errors(), bench.measured.as_slice()), ((0, 0.0), [7].as_slice()));
    let margin = Margin::new(Counts::ZERO, Counts::new(7));
    assert_eq!(bench.trim_margin(), margin, "it may have been lost since");
    let trim = &bench.tally.trims()[0];
    assert_eq!(
        trim.applied + trim.refused,
        FixedCounts::from_counts(bench.tally.wheel(WHEEL).unwrap().counts)
    );
    // From here on it goes with the wheel again.
    bench.miss(3);
    bench.turn(TURN);
    assert_eq!((bench.errors(), bench.trim_margin()), ((0, 0.0), margin));
}

/// What the program knows that it missed leaves the margin at the mark, but for whole turns.
#[test]
fn a_stated_loss_is_settled_by_the_mark() {
    let mut bench = Bench::new(QUADRATURE, LONG);
    bench.acquaint();
    let settled = |bench: &mut Bench, bound| {
        let (kind, certainty) = (LossKind::ReaderStalled, Certainty::Inferred);
        let (at, lasted) = (bench.now, Duration::ZERO);
        let loss = Loss { kind, certainty, at, lasted, reports: 63, bound: Margin::both(Counts::new(bound)) };
        bench.tally.apply(WHEEL, Event::Loss(loss));
        assert_eq!(bench.trim_margin(), loss.bound);
        bench.turn(TURN);
        let margin = bench.trim_margin();
        for tally in [&mut bench.tally, &mut bench.truth] {
            tally.align(0, Place::Neutral);
        }
        bench.turn(TURN);
        bench.turn(-2 * TURN);
        margin
    };
    assert_eq!(settled(&mut bench, 20), Margin::CERTAIN);
    assert_eq!(settled(&mut bench, 60), Margin::both(Counts::new(TURN)));
    assert!(bench.measured.is_empty());
}

#[test]
fn an_unplugged_board_is_off_by_any_amount_whatever_the_mark_says() {
    let mut bench = Bench::new(QUADRATURE, LONG);
    bench.acquaint();
    bench.path.unplugged(bench.now, &mut bench.tally);
    bench.at += 20;
    bench.turn(3 * TURN);
    assert!(bench.trim_margin().is_unknown() && bench.measured.is_empty());
}

/// The rig file was changed while the wheel turned: what is known of the mark goes on.
#[test]
fn a_new_path_takes_the_mark_over() {
    let mut bench = Bench::new(PULSES, LONG);
    bench.acquaint();
    bench.miss(7);
    let mut next = plan(PULSES, LONG).boards[0].pipeline(&DESCRIPTOR).unwrap();
    next.take_over(&bench.path);
    bench.path = next;
    bench.turn(TURN);
    assert_eq!((bench.errors(), bench.measured.as_slice()), ((0, 0.0), [7].as_slice()));
}

/// Pulses as fast as the board gives them out may be late, so at which count the mark came is not known.
#[test]
fn a_board_at_its_limit_is_not_believed() {
    let mut bench = Bench::new(PULSES, LONG);
    bench.acquaint();
    let agreed = bench.agreed;
    bench.turn(10);
    for _ in 0..2 * TURN {
        bench.step(1, false, 0);
    }
    assert_eq!((bench.agreed, bench.measured.len()), (agreed, 0));
    bench.turn(TURN);
    assert_eq!(bench.agreed, agreed + 1);
}

#[test]
fn a_wrong_setting_is_named_and_nothing_is_put_right_any_more() {
    let mut bench = Bench::new(PULSES, LONG);
    for _ in 0..10 {
        // 45 counts a turn instead of 48.
        for at in 0..TURN {
            bench.step(1, at % 16 == 5, 8);
        }
    }
    assert_eq!(bench.measured, [3, 3, 3]);
    assert_eq!(bench.others.iter().filter(|kind| **kind == LossKind::WrongCountsPerTurn).count(), 1);
}

#[test]
fn a_hidden_board_hides_its_mark_too() {
    let rig = "name = \"bench\"\n[[board]]\nname = \"main\"\nusb = \"1209:7a11\"\nhide = true\n[[wheel]]\nname = \"rudder\"\n\
               wiring = \"pulses\"\nforward = 1\nbackward = 2\ncounts_per_turn = 48\nindex = 9\n";
    let rig = tallywheel_profile::rig("rig.toml", rig).unwrap();
    let aircraft = "name = \"x\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 600\nneutral_degrees = 300\n";
    let plan =
        runtime_config::build(&rig, &tallywheel_profile::aircraft("a.toml", aircraft).unwrap()).unwrap();
    assert_eq!(plan.boards[0].hidden().unwrap().bits(), 0b1_0000_0011);
}
