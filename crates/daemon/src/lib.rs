//! The `tallywheel` program as a library, so that tests and benchmarks can take it apart. Not a stable
//! interface: what is stable are the commands, the files and the lines of JSON.
//!
//! The running bridge is `tallywheel_engine`, the commands beside it are `tallywheel_tools`. Here are the main loop
//! ([`run`]), the command line, the control API, the tray and the log.

pub mod api;
pub mod args;
#[cfg(windows)]
mod background;
pub mod failure;
pub mod logging;
pub mod run;
pub mod tray;

use args::{Cli, CliCommand};
use clap::CommandFactory;
use failure::CommandFailure;
use std::io::{self, Write};
use std::process::ExitCode;
use tallywheel_tools::{boards, capture, check, demo, doctor, learn, plan, replay, report};

/// Does what the command line asks; the code is 0 if it was done, else [`CommandFailure::code`].
#[must_use]
pub fn main(cli: Cli) -> ExitCode {
    let mut out = io::stdout().lock();
    // An older console shows escape sequences as they are unless it is told; where that fails nothing is lost.
    #[cfg(windows)]
    let _ = anstyle_query::windows::enable_ansi_colors();
    let done = match cli.command {
        #[cfg(windows)]
        CliCommand::Run(args) if args.background => background::start().map_err(CommandFailure::from),
        #[cfg(windows)]
        CliCommand::Run(args) => background::run(&args),
        #[cfg(not(windows))]
        CliCommand::Run(args) => run::run(&args),
        CliCommand::Demo(args) => demo::demo(&args, &mut out).map_err(CommandFailure::from),
        CliCommand::Status(args) => api::client_commands::status(&args, &mut out),
        CliCommand::Align(args) => api::client_commands::align(&args, &mut out),
        CliCommand::Fly(args) => api::client_commands::fly(&args, &mut out),
        CliCommand::Hold(args) => api::client_commands::hold(&args, &mut out),
        CliCommand::Reload(args) => api::client_commands::reload(&args, &mut out),
        CliCommand::Doctor(args) => {
            doctor::doctor(&args, &api::client_commands::daemon, &mut out).map_err(CommandFailure::from)
        }
        CliCommand::Boards(args) => boards::boards(&args, &mut out).map_err(CommandFailure::from),
        CliCommand::Check(args) => check::check(&args, &mut out).map_err(CommandFailure::from),
        CliCommand::Capture(args) => capture::capture(&args).map_err(CommandFailure::from),
        CliCommand::Replay(args) => replay::replay(&args, &mut out).map_err(CommandFailure::from),
        CliCommand::Report(args) => report::report(&args, &mut out).map_err(CommandFailure::from),
        CliCommand::Learn(args) => learn::learn(&args, &mut out).map_err(CommandFailure::from),
        CliCommand::Plan(args) => plan::plan(&args, &mut out).map_err(CommandFailure::from),
        CliCommand::Completions { shell } => completions(shell, &mut out),
        CliCommand::Man => man(&mut out),
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

fn completions(shell: clap_complete::Shell, out: &mut impl Write) -> Result<(), CommandFailure> {
    clap_complete::generate(shell, &mut Cli::command(), "tallywheel", out);
    Ok(())
}

/// One page for all commands, so that `man tallywheel` says everything.
fn man(out: &mut impl Write) -> Result<(), CommandFailure> {
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
