//! The commands that talk to a running daemon: `tallywheel status`, `align`, `fly`, `hold` and `reload`.

use super::client::{Client, ClientError};
use super::text;
use crate::args::{AlignArgs, FlyArgs, Hold, HoldArgs, ReloadArgs, StatusArgs};
use crate::failure::CommandFailure;
use hyper::Method;
use serde_json::{Value, json};
use std::io::{self, Write};
use tallywheel_engine::failure::Failure;
use tallywheel_engine::folders;
use tallywheel_engine::state::status::{Hangar, Losses, Status};
use tallywheel_tools::args::FolderArgs;
use tallywheel_tools::doctor::facts::Daemon;
use tallywheel_tools::doctor::gather::DoctorFolders;

fn client(args: &FolderArgs) -> Result<Client, CommandFailure> {
    let config = args.config.clone().map_or_else(folders::config, Ok)?;
    Ok(Client::find(&folders::runtime()?, &config)?)
}

/// Prints the status, once or with every change.
///
/// # Errors
/// [`ClientError`]; also when the daemon ends while it is followed.
pub fn status(args: &StatusArgs, out: &mut impl Write) -> Result<(), CommandFailure> {
    let client = client(&args.folder)?;
    if args.losses {
        let losses: Losses = client.get("/v1/losses")?;
        return Ok(if args.json {
            line(&losses, out)
        } else {
            out.write_all(text::losses(&losses).as_bytes())
        }?);
    }
    let mut first = true;
    let mut one = |status: &Status, out: &mut dyn Write| {
        if args.json {
            return line(status, out);
        }
        if !first {
            writeln!(out)?;
        }
        first = false;
        out.write_all(text::status(status).as_bytes())
    };
    if !args.follow {
        return Ok(one(&client.get("/v1/status")?, out)?);
    }
    let followed = client.follow(|status| {
        one(&status, out)?;
        out.flush()
    });
    followed.map_err(|error| match error {
        // A pipe that was closed is no failure of the daemon's.
        ClientError::System(error) => Failure::System(error).into(),
        error => error.into(),
    })
}

/// Sets the position of a trim.
///
/// # Errors
/// [`ClientError`]
pub fn align(args: &AlignArgs, out: &mut impl Write) -> Result<(), CommandFailure> {
    let to = match args.to.trim_end_matches('\u{b0}').parse::<f64>() {
        Ok(degrees) => json!(degrees),
        Err(_) => json!(args.to),
    };
    let client = client(&args.folder)?;
    let status: Status = client.send(Method::POST, "/v1/align", &json!({ "trim": args.trim, "to": to }))?;
    let trim = status.trims.iter().find(|trim| trim.name == args.trim || trim.wheel == args.trim);
    if let Some(trim) = trim {
        writeln!(out, "{}", text::position(trim))?;
    }
    Ok(())
}

/// Changes to another aircraft, or prints the list of aircraft.
///
/// # Errors
/// [`ClientError`]
pub fn fly(args: &FlyArgs, out: &mut impl Write) -> Result<(), CommandFailure> {
    let client = client(&args.folder)?;
    let Some(aircraft) = &args.aircraft else {
        let list: Hangar = client.get("/v1/aircraft")?;
        return Ok(out.write_all(text::aircraft_list(&list).as_bytes())?);
    };
    let status: Status = client.send(Method::PUT, "/v1/aircraft", &json!({ "aircraft": aircraft }))?;
    writeln!(out, "flying {}", status.aircraft.name)?;
    for trim in &status.trims {
        writeln!(out, "{}", text::position(trim))?;
    }
    Ok(())
}

/// Holds the outputs, or lets them follow the trims.
///
/// # Errors
/// [`ClientError`]
pub fn hold(args: &HoldArgs, out: &mut impl Write) -> Result<(), CommandFailure> {
    let held = args.hold == Hold::On;
    let status: Status = client(&args.folder)?.send(Method::PUT, "/v1/hold", &json!({ "held": held }))?;
    writeln!(out, "{}", if status.held { "the outputs are held" } else { "the outputs follow the wheels" })?;
    Ok(())
}

/// Has the daemon read all files again.
///
/// # Errors
/// [`ClientError`]; also where a file is wrong, with its mistakes.
pub fn reload(args: &ReloadArgs, out: &mut impl Write) -> Result<(), CommandFailure> {
    let status: Status = client(&args.folder)?.send(Method::POST, "/v1/reload", &Value::Null)?;
    if status.wrong_files.is_empty() {
        writeln!(out, "all files were read; flying {}", status.aircraft.name)?;
        return Ok(());
    }
    let mistakes: Vec<_> =
        status.wrong_files.iter().flat_map(|file| &file.mistakes).map(String::as_str).collect();
    Err(Failure::Choice(format!("the daemon goes on with what it had before:\n{}", mistakes.join("\n")))
        .into())
}

fn line(value: &impl serde::Serialize, out: &mut (impl Write + ?Sized)) -> io::Result<()> {
    serde_json::to_writer(&mut *out, value).map_err(io::Error::from)?;
    writeln!(out)
}

/// Asks the daemon of these folders for its status, for the doctor.
#[must_use]
pub fn daemon(places: &DoctorFolders) -> Daemon {
    let status = Client::find(&places.runtime, &places.config).and_then(|client| client.get("/v1/status"));
    match status {
        Ok(status) => Daemon::Runs(Box::new(status)),
        Err(ClientError::NotRunning { .. } | ClientError::Gone { .. }) => Daemon::None,
        Err(error) => Daemon::Mute(error.to_string()),
    }
}
