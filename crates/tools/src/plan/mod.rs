//! `tallywheel plan`: how fine and how fast a wheel is, built or planned.
//!
//! [`formulas`] holds what is published, [`choice`] applies it to every wiring, [`advice`] says what to do.

pub mod advice;
pub mod choice;
pub mod formulas;
pub mod quantity;
mod show;

use crate::args::PlanArgs;
use crate::replay::json_line;
use choice::{Decoder, Figures, Pulse, choices};
use quantity::{CyclesPerTurn, EncoderRatio, StepsPerTurn, Turning, milliseconds};
use std::io::Write;
use std::time::Duration;
use tallywheel_engine::failure::Failure;
use tallywheel_engine::{files, folders};
use tallywheel_profile::{Aircraft, Rig, WheelInputs, fit};
use tallywheel_units::Degrees;

/// The typed figures as quantities.
struct Typed {
    travel: Option<Degrees>,
    cycles: Option<CyclesPerTurn>,
    interval: Option<Duration>,
    pulse: Option<Pulse>,
    wanted: Turning,
    step: Option<Degrees>,
}

/// Prints what the figures or the files come to.
///
/// # Errors
/// Where a figure or a file is wrong or missing, or `out` cannot be written.
pub fn plan(args: &PlanArgs, out: &mut impl Write) -> Result<(), Failure> {
    let typed = typed(args)?;
    let no_files = args.rig.is_none() && args.folder.config.is_none() && args.aircraft.is_none();
    if let (true, Some(travel), Some(cycles)) = (no_files, typed.travel, typed.cycles) {
        let Some(interval) = typed.interval else {
            return Err(missing("how often the board reports", "--report-interval-ms"));
        };
        let figures = figures(&typed, travel, Some(cycles), None, interval);
        return show(args, out, "figures as typed", &figures);
    }
    let (rig, aircraft) = read(args)?;
    let aircraft = crate::replay::usable(&rig, &aircraft)?;
    let fitted = fit(&rig, &aircraft).map_err(tallywheel_engine::runtime_config::RuntimeConfigError::from)?;
    for fitted in fitted {
        let (Some(trim), Some(wheel)) =
            (aircraft.trims.get(fitted.trim.get()), rig.wheels.get(fitted.wheel.get()))
        else {
            continue;
        };
        let name = format!("{}, trim {} on wheel {} of {}", aircraft.name, trim.name, wheel.name, rig.name);
        let board = rig.boards.get(wheel.board.get());
        let Some(interval) = typed.interval.or_else(|| board.and_then(|board| board.report_interval)) else {
            let what = format!("how often the board of wheel {} reports (report_interval_ms)", wheel.name);
            return Err(missing(&what, "--report-interval-ms"));
        };
        let per_turn = StepsPerTurn::new(f64::from(wheel.per_turn.get()));
        let (decoder, known) = match wheel.inputs {
            WheelInputs::Pulses { .. } => (Decoder::Board, None),
            WheelInputs::Quadrature { per_cycle, .. } => (
                Decoder::Tallywheel,
                CyclesPerTurn::new(f64::from(wheel.per_turn.get()) / f64::from(per_cycle.get())),
            ),
        };
        let cycles = typed.cycles.or(known);
        let wired = per_turn.map(|per_turn| (decoder, per_turn));
        let mut figures = figures(&typed, typed.travel.unwrap_or(trim.travel), cycles, wired, interval);
        let given = wheel.pulse_on.zip(wheel.pulse_off).map(|(on, off)| Pulse { on, off });
        figures.pulse = figures.pulse.or(given);
        show(args, out, &name, &figures)?;
    }
    Ok(())
}

fn figures(
    typed: &Typed,
    travel: Degrees,
    cycles: Option<CyclesPerTurn>,
    wired: Option<(Decoder, StepsPerTurn)>,
    interval: Duration,
) -> Figures {
    Figures { travel, cycles, wired, interval, pulse: typed.pulse, wanted: typed.wanted, step: typed.step }
}

fn show(args: &PlanArgs, out: &mut impl Write, name: &str, figures: &Figures) -> Result<(), Failure> {
    let choices = choices(figures);
    if args.json {
        json_line(out, &show::PlanJson::new(name, figures, &choices))
    } else {
        Ok(out.write_all(show::text(name, figures, &choices).as_bytes())?)
    }
}

/// The same files as `replay` (two paths) or `run` (a folder and a name).
fn read(args: &PlanArgs) -> Result<(Rig, Aircraft), Failure> {
    if let Some(rig) = &args.rig {
        let Some(aircraft) = &args.aircraft else {
            return Err(missing("the aircraft file", "--aircraft"));
        };
        return Ok((files::rig(rig)?, files::aircraft(aircraft.as_ref())?));
    }
    let folder = args.folder.config.clone().map_or_else(folders::config, Ok)?;
    Ok((files::rig_in(&folder)?, files::choose_aircraft(&folder, args.aircraft.as_deref())?.aircraft))
}

fn missing(what: &str, option: &str) -> Failure {
    Failure::Choice(format!("{what} is not known; give it with {option}"))
}

fn typed(args: &PlanArgs) -> Result<Typed, Failure> {
    let ratio = match args.encoder_ratio {
        None => EncoderRatio::DIRECT,
        Some(number) => {
            EncoderRatio::new(number).ok_or_else(|| wrong("--encoder-ratio", number, "a number above 0"))?
        }
    };
    let cycles = checked(args.cycles_per_turn, "--cycles-per-turn", "a number above 0", CyclesPerTurn::new)?;
    let ms = "milliseconds above 0 and at most 60000";
    let on = checked(args.pulse_on_ms, "--pulse-on-ms", ms, milliseconds)?;
    let off = checked(args.pulse_off_ms, "--pulse-off-ms", ms, milliseconds)?;
    let travels = |number: f64| {
        Degrees::new(number).filter(|degrees| *degrees > Degrees::ZERO && *degrees <= Degrees::LONGEST_TRAVEL)
    };
    let degrees = "degrees above 0 and at most 36000";
    Ok(Typed {
        travel: checked(args.travel_degrees, "--travel-degrees", degrees, travels)?,
        cycles: cycles.map(|cycles| cycles.with_ratio(ratio)),
        interval: checked(args.report_interval_ms, "--report-interval-ms", ms, milliseconds)?,
        // A pause is as long as the pulse on boards that have one setting for both.
        pulse: on.or(off).map(|either| Pulse { on: on.unwrap_or(either), off: off.unwrap_or(either) }),
        wanted: Turning::new(args.turns_per_second)
            .ok_or_else(|| wrong("--turns-per-second", args.turns_per_second, "a number above 0"))?,
        step: checked(args.step_degrees, "--step-degrees", degrees, travels)?,
    })
}

fn checked<T>(
    number: Option<f64>,
    option: &str,
    expected: &str,
    make: impl Fn(f64) -> Option<T>,
) -> Result<Option<T>, Failure> {
    number.map(|number| make(number).ok_or_else(|| wrong(option, number, expected))).transpose()
}

fn wrong(option: &str, found: f64, expected: &str) -> Failure {
    Failure::Choice(format!("{option} {found}: expected {expected}"))
}
