//! Clean turning: nothing is lost, and nothing may be named.
//!
//! Sessions of ten minutes, each on a bench of its own. Three in four are boards that decode by themselves,
//! at most at half of their top rate, with a queue of two or more; one in four is a raw encoder with contact
//! bounce, below 0.6 edges a report. Two in three hands turn nearly as fast as that. Wrist strokes with rests, regrips and reversals, detents or none, phases
//! of the encoder uneven to the data sheet.

use super::bench::{Bench, Kinds, buttons};
use super::severity::Setting;
use crate::{Chance, Detents, Encoder, Hand, Motion, RawBoard, Reporting, Sampling, Wheel};
use tallywheel_hid_reader::{WheelConfig, WheelFacts, WheelInputs};
use tallywheel_units::{CountsPerCycle, CountsPerTurn};

/// The length of a session in seconds.
const SESSION: f64 = 600.0;

/// What many sessions came to.
#[derive(Debug, Clone, Default)]
pub struct Clean {
    /// Hours turned.
    pub hours: f64,
    /// Counts made, without sign of the sessions.
    pub counts: u64,
    /// Reports read.
    pub reports: u64,
    /// Sessions with a false alarm: seed and what was named.
    pub alarms: Vec<(u64, Kinds)>,
    /// Sessions that were not clean or not counted right; there must be none.
    pub wrong: Vec<u64>,
}

/// Turns for so many hours, from seed `first` on.
#[must_use]
pub fn run(hours: f64, first: u64) -> Clean {
    let mut clean = Clean::default();
    let mut seed = first;
    while clean.hours < hours {
        session(seed, &mut clean);
        clean.hours += SESSION / 3600.0;
        seed += 1;
    }
    clean
}

fn session(seed: u64, clean: &mut Clean) {
    let mut chance = Chance::new(seed ^ 0xC1EA);
    let run = if seed % 4 == 3 { raw(&mut chance) } else { pulses(&mut chance) };
    match run {
        Some((outcome, truth)) => {
            clean.counts += outcome.counts.get().unsigned_abs();
            clean.reports += outcome.reports;
            if outcome.kinds != Kinds::default() {
                clean.alarms.push((seed, outcome.kinds));
            }
            if outcome.counts.get() != truth {
                clean.wrong.push(seed);
            }
        }
        None => clean.wrong.push(seed),
    }
}

/// Two in three hands turn nearly as fast as is clean.
fn haste(chance: &mut Chance) -> f64 {
    if chance.happens(2.0 / 3.0) { chance.between(0.9, 1.0) } else { chance.between(0.3, 0.9) }
}

fn turns(peak: f64, chance: &mut Chance, clicks: Option<u32>) -> Motion {
    let hand = Hand { detents: clicks, rest_percent: 5 + chance.below(20), ..Hand::wrist(peak) };
    hand.turns(0.0, SESSION - 0.5, chance)
}

fn pulses(chance: &mut Chance) -> Option<(super::Outcome, i64)> {
    let mut setting = Setting::draw(chance);
    setting.pulses_known = chance.happens(0.5);
    let per_turn = f64::from(setting.cycles * setting.per_cycle.get());
    let fastest = (0.5 / (setting.on + setting.off) / per_turn).min(4.0);
    let clicks = chance.happens(0.5).then_some(setting.cycles);
    // Detents hurry the wheel from one to the next; it stays at half of the top rate with them too.
    let peak = fastest * haste(chance) / if clicks.is_some() { 2.0 } else { 1.0 };
    let motion = turns(peak, chance, clicks);
    let detents = clicks.map(|per_turn| Detents { per_turn, depth: 0.6, half_at: 0.3 });
    let encoder = Encoder::ideal(4 * setting.cycles).with_phase_error(chance);
    let wheel = Wheel { motion, encoder, detents, offset: 2.5 };
    let mut board = setting.board(&wheel, chance);
    board.looks_every = 0.000_5;
    let [forward, backward] = buttons();
    let inputs = WheelInputs::Pulses { forward, backward };
    let config = WheelConfig { inputs, pressed_at_rest: false, index: None };
    let mut bench = Bench::new(config, setting.given_interval(), &setting.facts())?;
    board.by_ref().for_each(|report| bench.read(report));
    bench.touch(SESSION);
    let tally = board.tally();
    (tally.dropped == 0 && tally.unreadable == 0).then(|| (bench.outcome(), tally.truth))
}

fn raw(chance: &mut Chance) -> Option<(super::Outcome, i64)> {
    let (interval, per_turn) = (0.001 * f64::from(1 + chance.below(4)), 48 + 24 * chance.below(4));
    let fastest = (0.5 / (f64::from(per_turn) * interval)).min(4.0);
    let peak = fastest * haste(chance);
    let motion = turns(peak, chance, None);
    let encoder = Encoder::ideal(per_turn).with_phase_error(chance).with_bounce(chance);
    let wheel = Wheel { motion, encoder, detents: None, offset: 0.5 };
    let reporting = if chance.happens(0.5) { Reporting::Fixed } else { Reporting::OnChange };
    let [a, b] = buttons();
    let inputs = WheelInputs::Quadrature { a, b, per_cycle: CountsPerCycle::X4 };
    let facts = WheelFacts { counts_per_turn: CountsPerTurn::new(per_turn), ..WheelFacts::default() };
    let given = chance.happens(0.5).then_some(interval);
    let mut bench = Bench::new(WheelConfig { inputs, pressed_at_rest: false, index: None }, given, &facts)?;
    let sampling = Sampling::every(interval, reporting);
    let mut board = RawBoard::new(sampling, Chance::new(chance.seed())).with(&wheel, a, b);
    let mut first = None;
    while let Some(report) = board.next() {
        first.get_or_insert(board.edges(0));
        bench.read(report);
    }
    Some((bench.outcome(), board.edges(0) - first.unwrap_or_default()))
}
