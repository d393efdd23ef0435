//! `tallywheel check`: are all files valid, and does every aircraft fit the rig?

use crate::args::CheckArgs;
use std::io::Write;
use std::path::{Path, PathBuf};
use tallywheel_engine::failure::Failure;
use tallywheel_engine::files::{self, FilesError};
use tallywheel_engine::{folders, runtime_config};
use tallywheel_profile::Start;

/// Checks every file in the folder and says so on `out`.
///
/// # Errors
/// Where a file is wrong, after all have been looked at.
pub fn check(args: &CheckArgs, out: &mut impl Write) -> Result<(), Failure> {
    let folder = args.folder.config.clone().map_or_else(folders::config, Ok)?;
    let verdicts = look(&folder);
    for (path, verdict) in &verdicts {
        match verdict {
            Ok(what) => writeln!(out, "{}: good: {what}", path.display())?,
            Err(why) => writeln!(out, "{why}")?,
        }
    }
    match verdicts.iter().filter(|(_, verdict)| verdict.is_err()).count() {
        0 => Ok(()),
        n => Err(Failure::Choice(format!("{} wrong", number(n, "file")))),
    }
}

/// Every file in the folder and what it holds, or every mistake in it.
#[must_use]
pub fn look(folder: &Path) -> Vec<(PathBuf, Result<String, String>)> {
    let mut verdicts = Vec::new();
    let rig = match files::rig_in(folder) {
        Ok(rig) => {
            let what =
                format!("{}, {}", number(rig.boards.len(), "board"), number(rig.wheels.len(), "wheel"));
            verdicts.push((folder.join("rig.toml"), Ok(what)));
            Some(rig)
        }
        Err(error) => {
            verdicts.push((folder.to_owned(), Err(error.to_string())));
            None
        }
    };
    match files::aircraft_in(folder) {
        Ok(paths) => {
            let mut read = Vec::new();
            for path in paths {
                let verdict = aircraft(&path, rig.as_ref(), &mut read);
                verdicts.push((path, verdict));
            }
            let read: Vec<_> = read.iter().collect();
            if let Err(errors) = tallywheel_profile::together(&read) {
                verdicts.push((folder.to_owned(), Err(errors.to_string())));
            }
        }
        Err(error) => verdicts.push((folder.to_owned(), Err(error.to_string()))),
    }
    verdicts
}

/// Says what is in one file, and adds it to those that were read.
fn aircraft(
    path: &Path,
    rig: Option<&tallywheel_profile::Rig>,
    read: &mut Vec<tallywheel_profile::Aircraft>,
) -> Result<String, String> {
    let aircraft = files::aircraft(path).map_err(|error: FilesError| error.to_string())?;
    read.push(aircraft.clone());
    let mut what = format!(
        "{}, {}, {}",
        aircraft.name,
        number(aircraft.trims.len(), "trim"),
        number(aircraft.outputs.len(), "output"),
    );
    if let Some(rig) = rig {
        let (aircraft, left_out) = tallywheel_profile::reduce(rig, &aircraft);
        for part in left_out {
            what += &format!("\n  but {part}");
        }
        let waits =
            aircraft.trims.iter().filter(|trim| trim.start == Start::Simulator && rig.simulator.is_none());
        for trim in waits {
            what += &format!(
                "\n  but trim {} is to start where the simulator has it, and rig.toml has no [simulator] to hear it by: it \
                 starts where it was last",
                trim.name
            );
        }
        let plan =
            runtime_config::build(rig, &aircraft).map_err(|error| format!("{}: {error}", path.display()))?;
        for output in &plan.outputs {
            if let Err(problem) = tallywheel_output::check(output) {
                what += &format!("\n  but {} is left out here: {problem}", output.name());
            }
        }
    }
    Ok(what)
}

fn number(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}
