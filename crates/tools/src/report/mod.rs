//! `tallywheel report`: what was lost, how sure that is and what to do, as one page for a browser.
//!
//! [`facts`] plays the recording once, [`traces`] reads the lines around some losses from it again, [`verdict`]
//! judges, [`plot`] draws and [`page`] writes. The same files give the same page, to the byte.

pub mod columns;
pub mod facts;
pub mod html;
pub mod intervals;
pub mod limit;
pub mod page;
pub mod plot;
pub mod traces;
pub mod verdict;

use crate::args::ReportArgs;
use page::ReportSources;
use std::io::Write;
use std::path::{Path, PathBuf};
use tallywheel_accumulator::Place;
use tallywheel_engine::failure::Failure;
use tallywheel_engine::player::Player;
use tallywheel_engine::recorder::{self, Start};
use tallywheel_engine::runtime_config::{self, BoardConfig};
use tallywheel_engine::{files, folders};
use tallywheel_profile::{Aircraft, Rig};

/// Makes the report and writes it to the file that was asked for, or to `out`.
///
/// # Errors
/// Where a file is wrong, nothing of the rig was recorded, or the page cannot be written.
pub fn report(args: &ReportArgs, out: &mut impl Write) -> Result<(), Failure> {
    if args.last_hour {
        return last_hour_report(args, out);
    }
    let (Some(recording), Some(rig), Some(aircraft)) = (&args.recording, &args.rig, &args.aircraft) else {
        return Err(Failure::Choice("report needs a recording, --rig and --aircraft".to_owned()));
    };
    let origin =
        ReportSources { recording: name(recording), rig: name(rig), aircraft: name(Path::new(aircraft)) };
    let rig = files::rig(rig)?;
    let aircraft = crate::replay::usable(&rig, &files::aircraft(Path::new(aircraft))?)?;
    let plan = runtime_config::build(&rig, &aircraft)?;
    let plans = plan.boards.clone();
    let player = Player::new(plan, tallywheel_engine::player::read(recording)?)?;
    let page = make(&rig, &aircraft, player, &plans, &origin)?;
    write(&page, args.output.as_ref(), out)
}

fn last_hour_report(args: &ReportArgs, out: &mut impl Write) -> Result<(), Failure> {
    let folder = args.folder.config.clone().map_or_else(folders::config, Ok)?;
    let logs = args.log_dir.clone().map_or_else(folders::logs, Ok)?;
    let rig = files::rig_in(&folder)?;
    let file = files::choose_aircraft(&folder, args.aircraft.as_deref())?;
    let found = recorder::find(&logs)?;
    let origin = ReportSources {
        recording: "the last hour".to_owned(),
        rig: "rig.toml".to_owned(),
        aircraft: format!("{}.toml", file.stem),
    };
    let aircraft = crate::replay::usable(&rig, &file.aircraft)?;
    let plan = runtime_config::build(&rig, &aircraft)?;
    let plans = plan.boards.clone();
    let mut player = Player::assigned(plan, found.recording, &found.boards)?;
    for Start { trim, degrees, margin } in found.starts {
        player.tally_mut().resume(trim, Place::At(degrees), margin);
    }
    let placed = found.placed.into_iter();
    player.place(placed.map(|(at, Start { trim, degrees, margin })| (at, trim, Place::At(degrees), margin)));
    let page = make(&rig, &aircraft, player, &plans, &origin)?;
    write(&page, args.output.as_ref(), out)
}

/// The page of a recording on its way through a player that has not begun.
///
/// # Errors
/// Where a plot cannot be drawn.
pub fn make(
    rig: &Rig,
    aircraft: &Aircraft,
    mut player: Player,
    plans: &[BoardConfig],
    origin: &ReportSources,
) -> Result<String, Failure> {
    let devices: Vec<_> = (0..player.recording().devices.len())
        .map(|device| player.board(device).map(tallywheel_units::BoardIndex::get))
        .collect();
    let facts = facts::gather(&mut player, rig, aircraft);
    let traces = traces::traces(&facts, player.recording(), plans, &devices);
    page::page(&facts, &traces, origin)
}

fn write(page: &str, to: Option<&PathBuf>, out: &mut impl Write) -> Result<(), Failure> {
    match to.filter(|to| to.as_path() != Path::new("-")) {
        None => Ok(out.write_all(page.as_bytes())?),
        Some(path) => {
            std::fs::write(path, page).map_err(|source| Failure::File { path: path.clone(), source })
        }
    }
}

/// A file's name without its folders, which may say more of its owner than a page to be handed on should.
fn name(path: &Path) -> String {
    path.file_name().map_or_else(|| "standard input".to_owned(), |name| name.to_string_lossy().into_owned())
}
