//! `tallywheel replay`: a recording through the whole job, in virtual time.

pub mod lines;

use crate::args::ReplayArgs;
use lines::{LossLine, Moved, Summary};
use std::io::Write;
use tallywheel_engine::failure::Failure;
use tallywheel_engine::files;
use tallywheel_engine::player::{Player, ReplayEvent, read};
use tallywheel_engine::runtime_config;
use tallywheel_engine::tally::Effect;
use tallywheel_profile::{Aircraft, Rig};

/// The aircraft as the rig can use it; what is left out is told beside the output.
///
/// # Errors
/// Where standard error cannot be written.
pub fn usable(rig: &Rig, aircraft: &Aircraft) -> Result<Aircraft, Failure> {
    let (usable, left_out) = tallywheel_profile::reduce(rig, aircraft);
    for part in left_out {
        writeln!(std::io::stderr(), "tallywheel: {part}")?;
    }
    Ok(usable)
}

/// Replays a recording and writes every change and the summary to `out`.
///
/// # Errors
/// Where a file is wrong, nothing of the rig was recorded, or `out` cannot be written.
pub fn replay(args: &ReplayArgs, out: &mut impl Write) -> Result<(), Failure> {
    let rig = files::rig(&args.rig)?;
    let aircraft = usable(&rig, &files::aircraft(&args.aircraft)?)?;
    let mut player = Player::new(runtime_config::build(&rig, &aircraft)?, read(&args.recording)?)?;
    if !args.json {
        for bad in &player.recording().bad_lines {
            writeln!(out, "line {}: {}; left out", bad.line, bad.reason)?;
        }
    }
    while let Some(happened) = player.step().map(<[_]>::to_vec) {
        for happened in happened {
            write_change(&player, &happened, args.json, out)?;
        }
    }
    let summary = Summary::of(&player);
    if args.json { json_line(out, &summary) } else { Ok(out.write_all(summary.text().as_bytes())?) }
}

/// Writes one line per trim that the event moved, or one for a loss.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write_change(
    player: &Player,
    happened: &ReplayEvent,
    json: bool,
    out: &mut impl Write,
) -> Result<(), Failure> {
    let (names, tally) = (player.names(), player.tally());
    match &happened.effect {
        Effect::Counted(_) => {
            for (name, trim) in names.trims().zip(tally.trims()).filter(|(_, t)| t.wheel == happened.wheel) {
                let counts = tally.wheel(happened.wheel).map_or(0, |wheel| wheel.counts.get());
                let reading = trim.reading();
                let moved = Moved::new(happened.at, name, names.wheel(happened.wheel), counts, &reading);
                if json { json_line(out, &moved)? } else { writeln!(out, "{}", moved.text())? }
            }
        }
        // The next line has the margin.
        Effect::Doubted(_) | Effect::Agreed => {}
        Effect::Lost(loss) => {
            let lost = LossLine::new(names.board(happened.board), names.wheel(happened.wheel), loss);
            if json { json_line(out, &lost)? } else { writeln!(out, "{}", lost.text())? }
        }
    }
    Ok(())
}

/// Writes `value` as one line of JSON.
///
/// # Errors
/// Where `out` cannot be written.
pub fn json_line(out: &mut impl Write, value: &impl serde::Serialize) -> Result<(), Failure> {
    serde_json::to_writer(&mut *out, value).map_err(std::io::Error::from)?;
    Ok(writeln!(out)?)
}
