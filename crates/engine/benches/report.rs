//! What one report costs from bytes to trims: decode and accumulate for a 32-button report with four
//! quadrature wheels, beside four `rotary-encoder-embedded` decoders (MIT) fed the same states.
//!
//! Beside them are the same tally by the plain table, and decode and accumulate alone, without the search for losses
//! that follows when outputs have been written. Past one edge per report stand wheels of 2400 counts per turn at up to
//! 2 turns/s, which a hand can do.
//!
//! Time is the median of rounds that alternate between them in one run, so that a noisy machine disturbs all alike;
//! instructions are counted by valgrind and repeat exactly. Nothing is asserted.

#![allow(clippy::disallowed_methods, reason = "a test of the running program lives in real time")]
#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::as_conversions
)]
#![allow(clippy::indexing_slicing, missing_docs)]

use rotary_encoder_embedded::Direction;
use rotary_encoder_embedded::quadrature::QuadratureTableMode;
use std::hint::black_box;
use std::process::Command;
use std::time::{Duration, Instant};
use tallywheel_engine::pipeline::Pipeline;
use tallywheel_engine::runtime_config;
use tallywheel_engine::tally::Tally;
use tallywheel_hid_reader::{Event, Layout};
use tallywheel_units::{Buttons, Counts, Timestamp, WheelIndex};

const RIG: &str = include_str!("four-wheels-rig.toml");
const AIRCRAFT: &str = include_str!("four-wheels-aircraft.toml");
/// Joystick with 32 one-bit buttons, written for this test.
const DESCRIPTOR: [u8; 23] = [
    0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x20, 0x15, 0x00, 0x25, 0x01, 0x75,
    0x01, 0x95, 0x20, 0x81, 0x02, 0xC0,
];
const REPORTS: usize = 4096;
const ROUNDS: usize = 41;
const PASSES: usize = 25;

/// Reports of four wheels that swing to and fro, one millisecond apart, each at another pace and `fastest` edges
/// per report at most; they end where they began, so that one pass can follow another without a jump.
fn reports(fastest: f64) -> Vec<[u8; 4]> {
    let phase = |n: usize, wheel: usize| {
        // So many whole swings; as many edges that the speed at the middle of a swing is `fastest`.
        let swings = [4.0, 6.0, 8.0, 10.0][wheel];
        let turn = std::f64::consts::TAU * swings / REPORTS as f64;
        let edges = 0.5 + fastest / turn * (1.0 - (turn * n as f64).cos());
        (edges.floor() as i64).rem_euclid(4) as usize
    };
    let report = |n| {
        let bits = (0..4).map(|wheel| [0b00, 0b01, 0b11, 0b10][phase(n, wheel)] << (2 * wheel));
        [bits.fold(0_u8, |all, bits| all | bits), 0, 0, 0]
    };
    (0..REPORTS).map(report).collect()
}

struct Ours {
    path: Pipeline,
    tally: Tally,
    at: Timestamp,
}

impl Ours {
    fn new() -> Self {
        Self::of(RIG)
    }

    /// With wheels so fine that a hand turns them past one edge per report.
    fn fine() -> Self {
        let fine = RIG.replace("counts_per_turn = 96", "counts_per_turn = 2400");
        assert!(fine != RIG, "the bench rig has other wheels");
        Self::of(&fine)
    }

    fn of(rig: &str) -> Self {
        let rig = tallywheel_profile::rig("rig.toml", rig).expect("the bench rig is valid");
        let aircraft =
            tallywheel_profile::aircraft("aircraft.toml", AIRCRAFT).expect("the aircraft is valid");
        let plan = runtime_config::build(&rig, &aircraft).expect("they fit");
        let path = plan.boards[0].pipeline(&DESCRIPTOR).expect("the board has the buttons");
        Self { path, tally: plan.tally, at: Timestamp::START }
    }

    fn pass(&mut self, reports: &[[u8; 4]]) {
        for report in reports {
            self.at = self.at.after(Duration::from_millis(1));
            black_box(self.path.report(self.at, black_box(report), &mut self.tally));
        }
        black_box(self.tally.readings());
    }

    /// The first half of each report alone: decode and accumulate. The second, which looks for losses, comes after the
    /// outputs and changes nothing of what the first half costs.
    fn pass_counting(&mut self, reports: &[[u8; 4]]) {
        for report in reports {
            self.at = self.at.after(Duration::from_millis(1));
            black_box(self.path.count(self.at, black_box(report), &mut self.tally));
        }
        black_box(self.tally.readings());
    }
}

/// The same work by the plain table: bytes to buttons, four table lookups, the same tally.
struct Table {
    layout: Layout,
    buttons: Buttons,
    tally: Tally,
    phases: [u8; 4],
}

impl Table {
    fn new() -> Self {
        let layout = Layout::from_descriptor(&DESCRIPTOR).expect("it is the bench's own");
        Self { layout, buttons: Buttons::NONE, tally: Ours::new().tally, phases: [0; 4] }
    }

    fn pass(&mut self, reports: &[[u8; 4]]) {
        for report in reports {
            self.tally.report();
            self.layout.apply(black_box(report), &mut self.buttons).expect("reports are whole");
            let bits = self.buttons.bits();
            for (wheel, was) in (0..4_u8).zip(&mut self.phases) {
                let phase = [0, 1, 3, 2][((bits >> (2 * wheel)) & 3) as usize];
                let edge = match (phase + 4 - std::mem::replace(was, phase)) % 4 {
                    1 => Counts::ONE,
                    3 => -Counts::ONE,
                    _ => continue,
                };
                black_box(self.tally.apply(WheelIndex::new(wheel), Event::Counts(edge)));
            }
        }
        black_box(self.tally.readings());
    }
}

struct Oracle {
    wheels: [QuadratureTableMode; 4],
    counts: [i64; 4],
}

impl Oracle {
    fn new() -> Self {
        Self { wheels: std::array::from_fn(|_| QuadratureTableMode::new(1)), counts: [0; 4] }
    }

    fn pass(&mut self, reports: &[[u8; 4]]) {
        for report in reports {
            let bits = black_box(report)[0];
            for (n, (wheel, count)) in self.wheels.iter_mut().zip(&mut self.counts).enumerate() {
                let pair = bits >> (2 * n);
                *count += match wheel.update(pair & 1 != 0, pair & 2 != 0) {
                    Direction::Clockwise => 1,
                    Direction::Anticlockwise => -1,
                    Direction::None => 0,
                };
            }
        }
        black_box(&self.counts);
    }
}

fn per_report(mut pass: impl FnMut()) -> f64 {
    let start = Instant::now();
    for _ in 0..PASSES {
        pass();
    }
    start.elapsed().as_nanos() as f64 / (PASSES * REPORTS) as f64
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Instructions that valgrind counts for `passes` passes of `which`.
fn counted(which: &str, passes: usize) -> f64 {
    let output = Command::new("valgrind")
        .args(["--tool=callgrind", "--callgrind-out-file=/dev/null"])
        .arg(std::env::current_exe().unwrap())
        .args(["--passes", which, &passes.to_string()])
        .output()
        .expect("valgrind is needed to count instructions: apt-get install valgrind");
    let text = String::from_utf8_lossy(&output.stderr);
    let line = text.lines().find(|l| l.contains("Collected :")).unwrap_or_else(|| panic!("valgrind: {text}"));
    line.rsplit(' ').next().unwrap().parse().unwrap()
}

fn instructions(which: &str) -> f64 {
    (counted(which, 12) - counted(which, 2)) / (10 * REPORTS) as f64
}

fn main() {
    let (reports, fast) = (reports(0.5), reports(4.8));
    let (mut ours, mut oracle) = (Ours::new(), Oracle::new());
    let arguments: Vec<String> = std::env::args().collect();
    if let Some(at) = arguments.iter().position(|a| a == "--passes") {
        for _ in 0..arguments[at + 2].parse().unwrap() {
            match arguments[at + 1].as_str() {
                "ours" => ours.pass(&reports),
                _ => oracle.pass(&reports),
            }
        }
        return;
    }
    // The same states must mean the same counts, or the figures compare nothing. At the end of a pass they are 0.
    ours.pass(&reports[..REPORTS / 8]);
    oracle.pass(&reports[..REPORTS / 8]);
    let counts: [i64; 4] = std::array::from_fn(|n| {
        let wheel = WheelIndex::new(u8::try_from(n).unwrap());
        ours.tally.wheel(wheel).unwrap().counts.get()
    });
    assert!(counts == oracle.counts && counts != [0; 4], "{counts:?} and {:?}", oracle.counts);
    ours.pass(&reports[REPORTS / 8..]);
    oracle.pass(&reports[REPORTS / 8..]);
    let (mut table, mut counting, mut following) = (Table::new(), Ours::new(), Ours::fine());
    following.pass(&fast);
    let [mut ours_ns, mut counting_ns, mut oracle_ns, mut table_ns, mut following_ns] =
        [const { Vec::new() }; 5];
    for _ in 0..ROUNDS {
        ours_ns.push(per_report(|| ours.pass(&reports)));
        counting_ns.push(per_report(|| counting.pass_counting(&reports)));
        oracle_ns.push(per_report(|| oracle.pass(&reports)));
        table_ns.push(per_report(|| table.pass(&reports)));
        let start = Instant::now();
        following.pass(&fast);
        following_ns.push(start.elapsed().as_nanos() as f64 / REPORTS as f64);
    }
    let [ours_ns, counting_ns, oracle_ns, table_ns, following_ns] =
        [ours_ns, counting_ns, oracle_ns, table_ns, following_ns].map(median);
    // Four wheels at once are four times the work of the one that a hand turns.
    let per_wheel = (following_ns - ours_ns) / 4.0;
    let (ours_count, oracle_count) = (instructions("ours"), instructions("oracle"));
    println!("one report of 32 buttons with four quadrature wheels, {ROUNDS} alternating rounds");
    println!("{:<44} {:>10} {:>14}", "", "ns/report", "instructions");
    println!("{:<44} {ours_ns:>10.1} {ours_count:>14.1}", "tallywheel: bytes to four trims in degrees");
    println!("{:<44} {oracle_ns:>10.1} {oracle_count:>14.1}", "rotary-encoder-embedded: bits to four counts");
    println!("{:<44} {counting_ns:>10.1}", "tallywheel: decode and accumulate alone");
    println!("{:<44} {table_ns:>10.1}", "the same tally by the plain table");
    println!("{:<44} {following_ns:>10.1}", "tallywheel: up to 4.8 edges a report on each");
    println!(
        "{{\"ns_per_report\":{ours_ns:.1},\"instructions_per_report\":{ours_count:.1},\
         \"oracle_ns_per_report\":{oracle_ns:.1},\"oracle_instructions_per_report\":{oracle_count:.1},\
         \"ns_ratio\":{:.2},\"instructions_ratio\":{:.2},\
         \"table_ns_per_report\":{table_ns:.1},\"table_ratio\":{:.2},\
         \"ns_counting\":{counting_ns:.1},\"counting_ratio\":{:.2},\
         \"ns_following_a_wheel\":{per_wheel:.0}}}",
        ours_ns / oracle_ns,
        ours_count / oracle_count,
        ours_ns / table_ns,
        counting_ns / table_ns,
    );
}
