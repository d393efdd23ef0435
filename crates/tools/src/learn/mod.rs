//! `tallywheel learn`: finds out how a wheel is wired from a hand that turns it as asked.
//!
//! [`session`] holds the samples and marks, from a terminal or a recording; [`analyse`] makes [`learnt`] of it; [`rig_file`]
//! writes that into a rig file.

pub mod analyse;
pub mod learnt;
mod live;
mod pair;
mod prompts;
pub mod rig_file;
pub mod session;
mod show;
mod timing;

pub use pair::Kind;

use crate::args::LearnArgs;
use crate::replay::json_line;
use learnt::Learnt;
use live::Answers;
use rig_file::{RigFileError, Update};
use session::Session;
use std::io::{self, IsTerminal, Read, Write};
use std::path::{Path, PathBuf};
use tallywheel_engine::failure::Failure;
use tallywheel_engine::folders;
use tallywheel_hid_reader::{RecordedDevice, Recording};
use tallywheel_profile::UsbId;

/// Learns a wheel, shows it on `out`, and writes it to the rig file if that is wanted.
///
/// # Errors
/// Where nothing was found, the rig file cannot be written though that was asked for, or `out` cannot be written.
pub fn learn(args: &LearnArgs, out: &mut impl Write) -> Result<(), Failure> {
    let (session, devices, answers) = match &args.recording {
        Some(path) => {
            let (session, devices) = recorded(path)?;
            (session, devices, None)
        }
        None => {
            let live = live::record(args)?;
            (live.session, live.devices, Some(live.answers))
        }
    };
    let learnt = analyse::learn(&session);
    let device = learnt.wheel.as_ref().and_then(|wheel| devices.get(wheel.device));
    let path = args.folder.config.clone().map_or_else(folders::config, Ok)?.join("rig.toml");
    if !args.json {
        out.write_all(show::text(&learnt, device).as_bytes())?;
    }
    let (Some(device), Some(_)) = (device, &learnt.wheel) else {
        if args.json {
            json(out, &learnt, None, None, Vec::new())?;
        }
        return Err(Failure::Choice("no wheel was found".to_owned()));
    };
    let old = match std::fs::read_to_string(&path) {
        Ok(text) => Some(text),
        Err(error) if error.kind() == io::ErrorKind::NotFound => None,
        Err(source) => return Err(Failure::File { path, source }),
    };
    match update(args, &learnt, device, &path, old.as_deref()) {
        Ok(update) if args.json => {
            let written = if args.yes { Some(write(&path, old.as_deref(), &update)?) } else { None };
            json(out, &learnt, Some(device), written.is_some().then_some(&*path), update.kept)
        }
        Ok(update) => offer(args, &path, old.as_deref(), &update, answers.as_ref(), out),
        Err(error) if args.yes => {
            if args.json {
                json(out, &learnt, Some(device), None, vec![error.to_string()])?;
            }
            Err(Failure::Choice(error.to_string()))
        }
        Err(error) if args.json => json(out, &learnt, Some(device), None, vec![error.to_string()]),
        Err(error) => Ok(writeln!(out, "\nNot written: {error}.")?),
    }
}

fn recorded(path: &Path) -> Result<(Session, Vec<RecordedDevice>), Failure> {
    let mut bytes = Vec::new();
    let result = if path == Path::new("-") {
        io::stdin().lock().read_to_end(&mut bytes)
    } else {
        std::fs::File::open(path).and_then(|mut file| file.read_to_end(&mut bytes))
    };
    result.map_err(|source| Failure::File { path: path.to_owned(), source })?;
    let text = String::from_utf8_lossy(&bytes);
    let recording =
        Recording::parse(&text).map_err(|source| Failure::Recording { path: path.to_owned(), source })?;
    Ok((Session::from_recording(&recording, &text), recording.devices))
}

fn update(
    args: &LearnArgs,
    learnt: &Learnt,
    device: &RecordedDevice,
    path: &Path,
    old: Option<&str>,
) -> Result<Update, RigFileError> {
    let Some(wheel) = &learnt.wheel else {
        return Err(RigFileError::TurnAgain { why: "there is none".to_owned() });
    };
    let usb = UsbId { vendor: device.vendor, product: device.product };
    rig_file::update(&path.display().to_string(), old, usb, wheel, args.wheel.as_deref())
}

/// Shows what would change, and changes it if the user says so.
fn offer(
    args: &LearnArgs,
    path: &Path,
    old: Option<&str>,
    update: &Update,
    answers: Option<&Answers>,
    out: &mut impl Write,
) -> Result<(), Failure> {
    writeln!(out)?;
    for kept in &update.kept {
        writeln!(out, "{kept}")?;
    }
    if old == Some(update.text.as_str()) {
        return Ok(writeln!(out, "{} says all this already.", path.display())?);
    }
    let what = if update.new { "add" } else { "change" };
    writeln!(out, "In {} this would {what} wheel {}:", path.display(), update.wheel)?;
    for line in changed(old.unwrap_or_default(), &update.text) {
        writeln!(out, "  {line}")?;
    }
    if !args.yes && !asked(answers, out)? {
        return Ok(writeln!(out, "Not written. With --yes it is.")?);
    }
    let backup = write(path, old, update)?;
    writeln!(out, "Written.")?;
    if let Some(backup) = backup {
        writeln!(out, "The old file is {}.", backup.display())?;
    }
    Ok(())
}

/// The lines that the new text has and the old one has not, and the other way round: `+` and `-` in front.
fn changed(old: &str, new: &str) -> Vec<String> {
    let mut old: Vec<&str> = old.lines().collect();
    let mut lines = Vec::new();
    for line in new.lines() {
        match old.iter().position(|other| *other == line) {
            // What stands before it in the old text is gone.
            Some(place) => lines.extend(old.drain(..=place).take(place).map(|gone| format!("- {gone}"))),
            None => lines.push(format!("+ {line}")),
        }
    }
    lines.extend(old.into_iter().map(|gone| format!("- {gone}")));
    lines
}

/// Asks at a terminal; a script that did not say --yes means no.
fn asked(answers: Option<&Answers>, out: &mut impl Write) -> Result<bool, Failure> {
    if !io::stdin().is_terminal() {
        return Ok(false);
    }
    write!(out, "Write it? [y/N] ")?;
    out.flush()?;
    let line = match answers {
        Some(answers) => answers.line().unwrap_or_default(),
        None => io::stdin().lines().next().transpose()?.unwrap_or_default(),
    };
    Ok(matches!(line.trim(), "y" | "Y" | "yes"))
}

/// Writes the file beside its place and moves it there, so that it is always whole. Returns where the old one went.
fn write(path: &Path, old: Option<&str>, update: &Update) -> Result<Option<PathBuf>, Failure> {
    let failed = |path: &Path| {
        let path = path.to_owned();
        move |source| Failure::File { path, source }
    };
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(failed(folder))?;
    }
    let mut backup = None;
    if let Some(old) = old {
        let copies = (1..=99).map(|n| path.with_extension(format!("toml.old{n}")));
        let Some(free) = copies.into_iter().find(|copy| !copy.exists()) else {
            return Err(Failure::Choice(format!("there are 99 old copies of {} already", path.display())));
        };
        std::fs::write(&free, old).map_err(failed(&free))?;
        backup = Some(free);
    }
    let beside = path.with_extension("toml.new");
    std::fs::write(&beside, &update.text).map_err(failed(&beside))?;
    std::fs::rename(&beside, path).map_err(failed(path))?;
    Ok(backup)
}

fn json(
    out: &mut impl Write,
    learnt: &Learnt,
    device: Option<&RecordedDevice>,
    written: Option<&Path>,
    kept: Vec<String>,
) -> Result<(), Failure> {
    let board = device.map(show::BoardJson::new);
    let written = written.map(|path| path.display().to_string());
    json_line(out, &show::LearntJson { board, learnt, written, kept })
}

#[cfg(test)]
mod tests;
