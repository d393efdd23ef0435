//! The demo's recording: fifteen seconds at an invented bench.
//!
//! One board, reports on change, looked at every 4 ms. Wheel "rudder": an encoder of 24 cycles with 24 detents,
//! raw on buttons 1 (A) and 2 (B), so 96 counts a turn as x4. Wheel "elevator": an encoder of the same make
//! that the board decodes itself, one pulse per cycle on buttons 3 (forward) and 4 (backward).
//!
//! The rudder is made for a travel of 580 degrees that starts at 320: it is wound past the high stop, back to
//! the low half, and at 13.2 s it is knocked two edges further within one report interval, so that A and B
//! change at once and nobody can tell which way.

use crate::{
    ButtonField, Chance, Detents, Encoder, Hand, Motion, PulseBoard, PulseTally, RawBoard, Recorder, Report,
    Reporting, Sampling, Shape, Wheel,
};
use tallywheel_units::{ButtonNumber, Buttons, CountsPerCycle};

/// Line A of the rudder's encoder.
pub const RUDDER_A: u8 = 1;
/// Line B of the rudder's encoder.
pub const RUDDER_B: u8 = 2;
/// The elevator's forward pulses.
pub const ELEVATOR_FORWARD: u8 = 3;
/// The elevator's backward pulses.
pub const ELEVATOR_BACKWARD: u8 = 4;
/// Edges per turn of either encoder.
pub const EDGES_PER_TURN: u32 = 96;

const CLICKS: Detents = Detents { per_turn: 24, depth: 0.6, half_at: 0.3 };
const CLICK: f64 = 1.0 / 24.0;

/// What truly happened at the bench.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// Edges of the rudder's encoder from the first report to the last, signed; as x4, its counts.
    pub rudder_edges: i64,
    /// What became of the elevator's counts.
    pub elevator: PulseTally,
}

/// The demo's reports and the truth about them.
#[must_use]
pub fn reports() -> (Vec<Report>, Truth) {
    let mut chance = Chance::new(24);
    let rudder = rudder(&mut chance);
    let elevator = elevator(&mut chance);
    // Two boards of one seed sample at the same moments: together they are one board with four lines.
    let sampling = Sampling { latency: 0.0, ..Sampling::every(0.004, Reporting::Fixed) };
    let seed = chance.seed();
    let [a, b, forward, backward] = [RUDDER_A, RUDDER_B, ELEVATOR_FORWARD, ELEVATOR_BACKWARD]
        .map(|n| ButtonNumber::new(n).unwrap_or(ButtonNumber::LAST));
    let mut raw = RawBoard::new(sampling, Chance::new(seed)).with(&rudder, a, b);
    let mut decoding = PulseBoard::new(sampling, &elevator, forward, backward, Chance::new(seed));
    (decoding.per_cycle, decoding.pulse_on, decoding.pulse_off) = (CountsPerCycle::X1, 0.02, 0.02);

    let (mut reports, mut sent, mut first) = (Vec::new(), None, None);
    while let Some(lines) = raw.next() {
        first.get_or_insert(raw.edges(0));
        let pulses = decoding.next().map_or(Buttons::NONE, |report| report.buttons);
        let buttons = Buttons::from_bits(lines.buttons.bits() | pulses.bits());
        if sent.replace(buttons) != Some(buttons) {
            reports.push(Report { at: lines.at, buttons });
        }
    }
    let truth = Truth { rudder_edges: raw.edges(0) - first.unwrap_or_default(), elevator: decoding.tally() };
    (reports, truth)
}

/// The demo's recording in the hid-recorder text format, the truth in a comment.
#[must_use]
pub fn recording() -> String {
    let (reports, truth) = reports();
    let mut recorder = Recorder::new("Bench board", ButtonField::ThirtyTwo);
    recorder.comment(&format!(
        "truth rudder_edges={} elevator_counts={} elevator_dropped={} knock_edges=2",
        truth.rudder_edges, truth.elevator.pulsed, truth.elevator.dropped
    ));
    for report in &reports {
        recorder.report(report);
    }
    recorder.finish()
}

fn rudder(chance: &mut Chance) -> Wheel {
    let encoder = Encoder::ideal(EDGES_PER_TURN).with_phase_error(chance).with_bounce(chance);
    let mut motion = Motion::resting_at(0.0);
    motion.rest(0.4);
    for (clicks, peak, pause) in [
        (5.0, 0.7, 0.25),
        (8.0, 0.9, 0.2), // 195 degrees on the way to the high stop, which is 260 away
        (9.0, 0.9, 0.3), // 330: past it
        (4.0, 0.8, 0.7), // 390
        (-2.0, 0.4, 0.2),
        (-9.0, 0.9, 0.25),
        (-11.0, 0.9, 0.2),
        (-10.0, 0.9, 0.3),
        (-8.0, 0.9, 0.5), // into the low half
        (3.0, 0.5, 0.0),
        (-2.0, 0.5, 0.3),
        (6.0, 0.9, 0.2),
        (7.0, 0.9, 0.3),
        (1.0, 0.3, 0.2),
        (1.0, 0.3, 0.2),
    ] {
        motion.stroke(clicks * CLICK, peak);
        motion.rest(pause);
    }
    motion.rest_until(13.2);
    motion.knock(2.0 / f64::from(EDGES_PER_TURN));
    motion.rest(0.8);
    motion.stroke(2.0 * CLICK, 0.3);
    motion.rest_until(15.0);
    Wheel { motion, encoder, detents: Some(CLICKS), offset: 0.5 }
}

fn elevator(chance: &mut Chance) -> Wheel {
    // The board filters bounce itself; what it would not filter, it would pulse out both ways.
    let encoder = Encoder::ideal(EDGES_PER_TURN).with_phase_error(chance);
    let mut motion = Motion::resting_at(0.0);
    motion.rest(5.0);
    let hand = Hand { detents: Some(24), stroke: (0.15, 0.4), ..Hand::wrist(0.7) };
    let turning = hand.turns(0.0, 4.0, chance);
    for (begins, ends) in turning.strokes() {
        let (mut from, mut to) = (crate::Cursor::default(), crate::Cursor::default());
        let turns = turning.position(&mut to, ends) - turning.position(&mut from, begins);
        motion.stroke(turns, Shape::MinimumJerk.peak_speed() * turns.abs() / (ends - begins));
        motion.rest(0.2);
    }
    motion.rest_until(15.0);
    Wheel { motion, encoder, detents: Some(CLICKS), offset: 0.5 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_committed_recording_is_the_one_that_the_testkit_writes() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/recordings/demo.hid");
        let committed = std::fs::read_to_string(path).unwrap();
        assert!(
            committed == recording(),
            "run `cargo run -p tallywheel-testkit -- record tests/recordings/demo.hid`"
        );
        assert!(committed.len() < 200 * 1024);
    }

    #[test]
    fn both_lines_of_the_rudder_change_at_once_exactly_once() {
        let (reports, truth) = reports();
        let lines = |r: &Report| r.buttons.bits() & 3;
        let both = reports.windows(2).filter(|w| lines(&w[0]) ^ lines(&w[1]) == 3).count();
        assert_eq!(both, 1);
        assert_eq!((truth.elevator.dropped, truth.elevator.unreadable), (0, 0));
        assert_eq!(truth.elevator.pulsed, truth.elevator.counted);
    }
}
