//! `tallywheel-testkit`: writes recordings of simulated benches.

use clap::{Parser, Subcommand};
use std::path::PathBuf;
use std::process::ExitCode;
use tallywheel_testkit::{demo, faults, lesson};

/// A hand, an encoder and a board in virtual time.
#[derive(Debug, Parser)]
#[command(name = "tallywheel-testkit")]
struct Arguments {
    #[command(subcommand)]
    job: Job,
}

#[derive(Debug, Subcommand)]
enum Job {
    /// Write the demo's recording in the hid-recorder text format.
    Record {
        /// The file to write.
        file: PathBuf,
    },
    /// Inject faults one by one, turn a wheel cleanly for hours, and print what the reader makes of both.
    Faults {
        /// Hours of clean turning.
        #[arg(long, default_value_t = 1.0)]
        hours: f64,
        /// Runs of each fault.
        #[arg(long, default_value_t = 100)]
        seeds: u64,
        /// The first seed, of runs and of sessions.
        #[arg(long, default_value_t = 0)]
        from: u64,
        /// Also print each run that was not named correctly or not covered.
        #[arg(long)]
        explain: bool,
    },
    /// Write a recording of a wheel turned as `tallywheel learn` asks.
    Lesson {
        /// Which wheel.
        #[arg(value_parser = ["rudder", "elevator"])]
        wheel: String,
        /// The file to write.
        file: PathBuf,
    },
}

#[derive(Debug, thiserror::Error)]
enum JobError {
    #[error("{}: {source}", file.display())]
    Write { file: PathBuf, source: std::io::Error },
    #[error("cannot write the table: {0}")]
    Table(std::io::Error),
}

fn main() -> ExitCode {
    match run(&Arguments::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            #[expect(clippy::print_stderr, reason = "this is where a command says why it failed")]
            {
                eprintln!("tallywheel-testkit: {error}");
            }
            ExitCode::FAILURE
        }
    }
}

fn run(arguments: &Arguments) -> Result<(), JobError> {
    let written = |file: &PathBuf, text| {
        std::fs::write(file, text).map_err(|source| JobError::Write { file: file.clone(), source })
    };
    match &arguments.job {
        Job::Record { file } => written(file, demo::recording()),
        Job::Lesson { wheel, file } if wheel == "rudder" => written(file, lesson::rudder()),
        Job::Lesson { file, .. } => written(file, lesson::elevator()),
        Job::Faults { hours, seeds, from, explain } => faults::table::write(
            &mut std::io::stdout().lock(),
            *hours,
            *from..from.saturating_add(*seeds),
            *explain,
        )
        .map_err(JobError::Table),
    }
}
