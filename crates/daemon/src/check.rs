//! `tallywheel check`: are all files valid, and does every aircraft fit the rig?

use crate::args::CheckArgs;
use crate::failure::Failure;
use crate::files::{self, FilesError};
use crate::{folders, plan};
use std::io::Write;
use std::path::Path;

/// Checks every file in the folder and says so on `out`.
///
/// # Errors
/// Where a file is wrong, after all have been looked at.
pub fn check(args: &CheckArgs, out: &mut impl Write) -> Result<(), Failure> {
    let folder = args.folder.config.clone().map_or_else(folders::config, Ok)?;
    let mut wrong = 0_usize;
    let mut say = |path: &Path, verdict: Result<String, String>| -> std::io::Result<()> {
        match verdict {
            Ok(what) => writeln!(out, "{}: good: {what}", path.display()),
            Err(why) => {
                wrong += 1;
                writeln!(out, "{why}")
            }
        }
    };
    let rig = match files::rig_in(&folder) {
        Ok(rig) => {
            let what =
                format!("{}, {}", number(rig.boards.len(), "board"), number(rig.wheels.len(), "wheel"));
            say(&folder.join("rig.toml"), Ok(what))?;
            Some(rig)
        }
        Err(error) => {
            say(&folder, Err(error.to_string()))?;
            None
        }
    };
    match files::aircraft_in(&folder) {
        Ok(paths) => {
            let mut read = Vec::new();
            for path in paths {
                say(&path, aircraft(&path, rig.as_ref(), &mut read))?;
            }
            let read: Vec<_> = read.iter().collect();
            if let Err(errors) = tallywheel_profile::together(&read) {
                say(&folder, Err(errors.to_string()))?;
            }
        }
        Err(error) => say(&folder, Err(error.to_string()))?,
    }
    match wrong {
        0 => Ok(()),
        n => Err(Failure::Choice(format!("{} wrong", number(n, "file")))),
    }
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
        let plan = plan::plan(rig, &aircraft).map_err(|error| format!("{}: {error}", path.display()))?;
        for output in &plan.outputs {
            if let Err(problem) = output.check() {
                what += &format!("\n  but {} is left out here: {problem}", output.name());
            }
        }
    }
    Ok(what)
}

fn number(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}
