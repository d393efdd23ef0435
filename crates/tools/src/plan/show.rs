//! The plan for people and for scripts.

use super::advice::{self, Fit, fit, name, whole};
use super::choice::{Choice, Decoder, Figures, STROKE_TURNS};
use super::quantity::Turning;
use crate::fold::{COLUMNS, fold};
use serde::Serialize;
use std::time::Duration;

pub(super) fn text(title: &str, figures: &Figures, choices: &[Choice]) -> String {
    let mut text = format!("Plan: {title}\n");
    text += &format!("  travel {}, a report every {} ms", figures.travel, plain(ms(figures.interval)));
    if let Some(cycles) = figures.cycles {
        text += &format!(", {} cycles in a turn of the wheel", whole(cycles.get()));
    }
    match figures.pulse {
        Some(pulse) => {
            text += &format!("\n  pulses {} ms on, {} ms off\n", plain(ms(pulse.on)), plain(ms(pulse.off)));
        }
        None => text += "\n  pulses taken as short as the reports allow: one report on, one off\n",
    }
    text += "\n                    counts   counts   degrees     axis   no loss up to, turns/s     full\n";
    text += "  wiring            a turn   in all   a count  a count  ideal lines  uneven lines   travel\n";
    for choice in choices {
        text += &format!(
            "{} {:<15} {:>8} {:>8} {:>9.3} {:>8.1} {:>12} {:>13} {:>8}\n",
            if choice.wired { ">" } else { " " },
            name(choice),
            whole(choice.per_turn.get()),
            whole(choice.counts),
            choice.degrees_per_count.get(),
            choice.axis_steps_per_count,
            speed(choice.fastest),
            speed(choice.fastest_uneven),
            choice.full_travel.map_or_else(|| "-".to_owned(), seconds),
        );
    }
    if choices.iter().any(|choice| choice.wired) {
        text += "  > is how the rig is wired.\n";
    }
    text += "  Uneven lines: phase difference 0.25 T +- 0.1 T, so the shortest state lasts 0.15 T.\n";
    if let Some((change, stroke)) = choices.iter().find_map(|choice| choice.change.zip(choice.stroke)) {
        text += &format!(
            "  Quadrature: faster than this, Tallywheel follows the motion. The limit then is how fast the speed changes:\n  \
             a x T^2 up to 1 edge, here {} turns/s in a second; a stroke of {STROKE_TURNS} turns reaches {stroke} within it.\n",
            plain(significant(change.get())),
        );
    }
    text.push('\n');
    for sentence in advice::advice(figures, choices) {
        text += &format!("{}\n", fold(&sentence, 2, COLUMNS));
    }
    text.push('\n');
    text
}

fn speed(turning: Option<Turning>) -> String {
    turning.map_or_else(|| "never".to_owned(), |turning| format!("{:.3}", turning.get()))
}

fn seconds(time: Duration) -> String {
    let seconds = time.as_secs_f64();
    if seconds < 10.0 { format!("{seconds:.2} s") } else { format!("{seconds:.0} s") }
}

/// Three digits: the limit was found by experiment and has no more.
fn significant(number: f64) -> f64 {
    let unit = 10_f64.powf(number.log10().floor() - 2.0);
    (number / unit).round() * unit
}

fn plain(number: f64) -> String {
    let text = format!("{number:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

/// A plan as one JSON object; its keys are a promise to scripts and only ever grow.
#[derive(Debug, Serialize)]
pub(super) struct PlanJson<'a> {
    plan: &'a str,
    travel_degrees: f64,
    cycles_per_turn: Option<f64>,
    report_interval_ms: f64,
    pulse_on_ms: Option<f64>,
    pulse_off_ms: Option<f64>,
    turns_per_second: f64,
    choices: Vec<ChoiceJson>,
    recommended: Option<String>,
    advice: Vec<String>,
}

#[derive(Debug, Serialize)]
struct ChoiceJson {
    wiring: &'static str,
    counts_per_cycle: Option<u32>,
    wired: bool,
    counts_per_turn: f64,
    counts_stop_to_stop: f64,
    degrees_per_count: f64,
    axis_steps_per_count: f64,
    /// Null where counts may be lost at any speed.
    fastest_turns_per_second_ideal: Option<f64>,
    fastest_turns_per_second: Option<f64>,
    full_travel_s: Option<f64>,
    /// Quadrature only: how fast the speed may change where the motion is followed.
    followed_turns_per_second_squared: Option<f64>,
    /// Quadrature only: what a stroke of half a turn reaches within that.
    followed_turns_per_second: Option<f64>,
    keeps_up: &'static str,
}

impl<'a> PlanJson<'a> {
    pub(super) fn new(title: &'a str, figures: &Figures, choices: &[Choice]) -> Self {
        Self {
            plan: title,
            travel_degrees: figures.travel.get(),
            cycles_per_turn: figures.cycles.map(|cycles| round(cycles.get())),
            report_interval_ms: round(ms(figures.interval)),
            pulse_on_ms: figures.pulse.map(|pulse| round(ms(pulse.on))),
            pulse_off_ms: figures.pulse.map(|pulse| round(ms(pulse.off))),
            turns_per_second: figures.wanted.get(),
            choices: choices.iter().map(|choice| ChoiceJson::new(choice, figures.wanted)).collect(),
            recommended: advice::best(figures, choices).map(name),
            advice: advice::advice(figures, choices),
        }
    }
}

impl ChoiceJson {
    fn new(choice: &Choice, wanted: Turning) -> Self {
        let turning = |turning: Option<Turning>| turning.map(|turning| round(turning.get()));
        Self {
            wiring: match choice.decoder {
                Decoder::Board => "pulses",
                Decoder::Tallywheel => "quadrature",
            },
            counts_per_cycle: choice.per_cycle.map(tallywheel_units::CountsPerCycle::get),
            wired: choice.wired,
            counts_per_turn: round(choice.per_turn.get()),
            counts_stop_to_stop: round(choice.counts),
            degrees_per_count: round(choice.degrees_per_count.get()),
            axis_steps_per_count: round(choice.axis_steps_per_count),
            fastest_turns_per_second_ideal: turning(choice.fastest),
            fastest_turns_per_second: turning(choice.fastest_uneven),
            full_travel_s: choice.full_travel.map(|time| round(time.as_secs_f64())),
            followed_turns_per_second_squared: choice.change.map(|change| round(change.get())),
            followed_turns_per_second: turning(choice.stroke),
            keeps_up: match fit(choice, wanted) {
                Fit::Safe => "safe",
                Fit::Follows => "follows",
                Fit::Loses => "loses",
            },
        }
    }
}

/// To a millionth: more digits would be noise.
fn round(number: f64) -> f64 {
    (number * 1e6).round() / 1e6
}
