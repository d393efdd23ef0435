//! What one report costs from bytes to trims: decode and accumulate for a 32-button report with four
//! quadrature wheels, beside four `rotary-encoder-embedded` decoders (MIT) fed the same states.
//!
//! Time is the median of rounds that alternate between the two in one run, so that a noisy machine disturbs
//! both alike; instructions are counted by valgrind and repeat exactly. Nothing is asserted.

#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::as_conversions
)]
#![allow(clippy::indexing_slicing, missing_docs)]

use rand::{Rng, SeedableRng};
use rotary_encoder_embedded::Direction;
use rotary_encoder_embedded::quadrature::QuadratureTableMode;
use std::hint::black_box;
use std::process::Command;
use std::time::{Duration, Instant};
use tallywheel::plan::{self, BoardPath};
use tallywheel::tally::Tally;
use tallywheel_units::Timestamp;

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

/// Reports in which each of four wheels stays or moves an edge either way, one millisecond apart, and then
/// the same way back, so that one pass can follow another without a jump.
fn reports() -> Vec<[u8; 4]> {
    let mut random = rand_pcg::Pcg64::seed_from_u64(7);
    let mut phase = [0_u8; 4];
    let there: Vec<[u8; 4]> = (0..REPORTS / 2)
        .map(|n| {
            let mut bits = 0_u8;
            for (wheel, phase) in phase.iter_mut().enumerate() {
                if n > 0 {
                    *phase = (*phase + [0, 1, 3][random.random_range(0..3)]) % 4;
                }
                bits |= [0b00, 0b01, 0b11, 0b10][usize::from(*phase)] << (2 * wheel);
            }
            [bits, 0, 0, 0]
        })
        .collect();
    there.iter().chain(there.iter().rev()).copied().collect()
}

struct Ours {
    path: BoardPath,
    tally: Tally,
    at: Timestamp,
}

impl Ours {
    fn new() -> Self {
        let rig = tallywheel_profile::rig("rig.toml", RIG).expect("the bench rig is valid");
        let aircraft =
            tallywheel_profile::aircraft("aircraft.toml", AIRCRAFT).expect("the aircraft is valid");
        let plan = plan::plan(&rig, &aircraft).expect("they fit");
        let path = plan.boards[0].path(&DESCRIPTOR).expect("the board has the buttons");
        Self { path, tally: plan.tally, at: Timestamp::START }
    }

    fn pass(&mut self, reports: &[[u8; 4]]) {
        for report in reports {
            self.at = self.at.after(Duration::from_millis(1));
            self.path.report(self.at, black_box(report), &mut self.tally, &mut |_, effect| {
                black_box(effect);
            });
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
    let reports = reports();
    let (mut ours, mut oracle) = (Ours::new(), Oracle::new());
    let arguments: Vec<String> = std::env::args().collect();
    if let Some(at) = arguments.iter().position(|a| a == "--passes") {
        for _ in 0..arguments[at + 2].parse().unwrap() {
            if arguments[at + 1] == "ours" { ours.pass(&reports) } else { oracle.pass(&reports) }
        }
        return;
    }
    // The same states must mean the same counts, or the figures compare nothing. Half a pass is one way.
    ours.pass(&reports[..REPORTS / 2]);
    oracle.pass(&reports[..REPORTS / 2]);
    let counts: [i64; 4] = std::array::from_fn(|n| {
        let wheel = tallywheel_units::WheelIndex::new(u8::try_from(n).unwrap());
        ours.tally.wheel(wheel).unwrap().counts.get()
    });
    assert!(counts == oracle.counts && counts != [0; 4], "{counts:?} and {:?}", oracle.counts);
    ours.pass(&reports[REPORTS / 2..]);
    oracle.pass(&reports[REPORTS / 2..]);
    let (mut ours_ns, mut oracle_ns) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        ours_ns.push(per_report(|| ours.pass(&reports)));
        oracle_ns.push(per_report(|| oracle.pass(&reports)));
    }
    let (ours_ns, oracle_ns) = (median(ours_ns), median(oracle_ns));
    let (ours_count, oracle_count) = (instructions("ours"), instructions("oracle"));
    println!("one report of 32 buttons with four quadrature wheels, {ROUNDS} alternating rounds");
    println!("{:<44} {:>10} {:>14}", "", "ns/report", "instructions");
    println!("{:<44} {ours_ns:>10.1} {ours_count:>14.1}", "tallywheel: bytes to four trims in degrees");
    println!("{:<44} {oracle_ns:>10.1} {oracle_count:>14.1}", "rotary-encoder-embedded: bits to four counts");
    println!(
        "{{\"ns_per_report\":{ours_ns:.1},\"instructions_per_report\":{ours_count:.1},\
         \"oracle_ns_per_report\":{oracle_ns:.1},\"oracle_instructions_per_report\":{oracle_count:.1},\
         \"ns_ratio\":{:.2},\"instructions_ratio\":{:.2}}}",
        ours_ns / oracle_ns,
        ours_count / oracle_count,
    );
}
