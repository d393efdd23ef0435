//! The `tallywheel` program as a library, so that tests and benchmarks can take it apart. Not a stable
//! interface: what is stable are the commands, the files and the lines of JSON.
//!
//! Reports go from a board's reader thread through decoder, tally and outputs ([`plan`], [`tally`],
//! [`station`]); everything else hangs off notes ([`note`], [`journal`]). [`dock`] keeps the boards open.

#![allow(missing_docs, reason = "fields whose variant's or type's own text says all stay without one here")]

pub mod api;
pub mod args;
#[cfg(windows)]
mod background;
pub mod boards;
pub mod capture;
pub mod check;
pub mod clock;
pub mod commands;
pub mod config;
pub mod control;
pub mod demo;
#[cfg(target_os = "linux")]
pub mod devwatch;
#[cfg(not(target_os = "linux"))]
#[path = "devwatch_none.rs"]
pub mod devwatch;
pub mod dock;
pub mod doctor;
pub mod failure;
pub mod files;
pub mod fold;
pub mod folders;
pub mod headroom;
pub mod inbound;
pub mod journal;
pub mod learn;
pub mod logging;
pub mod note;
pub mod orders;
pub mod plan;
pub mod playing;
pub mod presses;
pub mod replay;
pub mod report;
pub mod run;
pub mod saved;
pub mod station;
pub mod tally;
pub mod tray;

use args::{Cli, Command};
use clap::CommandFactory;
use failure::Failure;
use std::io::{self, Write};
use std::process::ExitCode;

/// Does what the command line asks; the code is 0 if it was done, else [`Failure::code`].
#[must_use]
pub fn main(cli: Cli) -> ExitCode {
    let mut out = io::stdout().lock();
    // An older console shows escape sequences as they are unless it is told; where that fails nothing is lost.
    #[cfg(windows)]
    let _ = anstyle_query::windows::enable_ansi_colors();
    let done = match cli.command {
        #[cfg(windows)]
        Command::Run(args) if args.background => background::start().map_err(Failure::from),
        #[cfg(windows)]
        Command::Run(args) => background::run(&args),
        #[cfg(not(windows))]
        Command::Run(args) => run::run(&args),
        Command::Demo(args) => demo::demo(&args, &mut out),
        Command::Status(args) => api::ask::status(&args, &mut out),
        Command::Align(args) => api::ask::align(&args, &mut out),
        Command::Fly(args) => api::ask::fly(&args, &mut out),
        Command::Hold(args) => api::ask::hold(&args, &mut out),
        Command::Reload(args) => api::ask::reload(&args, &mut out),
        Command::Doctor(args) => doctor::doctor(&args, &mut out),
        Command::Boards(args) => boards::boards(&args, &mut out),
        Command::Check(args) => check::check(&args, &mut out),
        Command::Capture(args) => capture::capture(&args),
        Command::Replay(args) => replay::replay(&args, &mut out),
        Command::Report(args) => report::report(&args, &mut out),
        Command::Learn(args) => learn::learn(&args, &mut out),
        Command::Plan(args) => headroom::plan(&args, &mut out),
        Command::Completions { shell } => completions(shell, &mut out),
        Command::Man => man(&mut out),
    };
    match done.and_then(|()| Ok(out.flush()?)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            if !failure.is_closed_pipe() {
                let _ = writeln!(io::stderr(), "tallywheel: {failure}");
            }
            ExitCode::from(failure.code())
        }
    }
}

fn completions(shell: clap_complete::Shell, out: &mut impl Write) -> Result<(), Failure> {
    clap_complete::generate(shell, &mut Cli::command(), "tallywheel", out);
    Ok(())
}

/// One page for all commands, so that `man tallywheel` says everything.
fn man(out: &mut impl Write) -> Result<(), Failure> {
    let mut cli = Cli::command();
    cli.build();
    let page = clap_mangen::Man::new(cli.clone());
    page.render_title(out)?;
    page.render_name_section(out)?;
    page.render_synopsis_section(out)?;
    page.render_description_section(out)?;
    page.render_options_section(out)?;
    for command in cli.get_subcommands() {
        let name = format!("tallywheel {}", command.get_name());
        let page = clap_mangen::Man::new(command.clone());
        writeln!(out, ".SH \"{}\"", name.to_uppercase())?;
        writeln!(out, "{}", command.get_about().map(ToString::to_string).unwrap_or_default())?;
        page.render_synopsis_section(out)?;
        page.render_options_section(out)?;
    }
    Ok(())
}
