//! `tallywheel-testkit`: writes recordings of simulated benches.

use clap::{Parser, Subcommand};
use std::path::PathBuf;
use std::process::ExitCode;
use tallywheel_testkit::{demo, faults, grid, lesson};

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
        /// Only the conditions of pulse boards whose names hold this, and no fault.
        #[arg(long)]
        only: Option<String>,
    },
    /// Turn wheels faster than their boards report, over a grid of wheels, boards and hands, and print what the
    /// published table, a published library and the reader lose.
    Grid {
        /// Runs of each cell.
        #[arg(long, default_value_t = 20)]
        seeds: u64,
        /// The first seed.
        #[arg(long, default_value_t = 0)]
        from: u64,
        /// Seconds of turning in each run.
        #[arg(long, default_value_t = 8.0)]
        seconds: f64,
        /// Only the conditions whose names hold this, and not the grid.
        #[arg(long)]
        only: Option<String>,
        /// Do not tell the decoder the report interval.
        #[arg(long)]
        learn: bool,
        /// Threads to run on.
        #[arg(long, default_value_t = 2)]
        threads: usize,
        /// Also print each run that was wrong below a*T^2 = 1 or not covered.
        #[arg(long)]
        explain: bool,
        /// Also draw what was lost, as SVG, into this file.
        #[arg(long)]
        picture: Option<PathBuf>,
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
    #[error("cannot draw: {0}")]
    Draw(String),
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
        Job::Grid { seeds, from, seconds, only, learn, threads, explain, picture } => {
            let plan = grid::Plan {
                seeds: *from..from.saturating_add(*seeds),
                seconds: *seconds,
                interval_known: !learn,
                threads: *threads,
                explain: *explain,
            };
            let hosted = grid::HostedPlan {
                seeds: plan.seeds.clone(),
                seconds: *seconds,
                threads: *threads,
                explain: *explain,
            };
            let named = |condition: &grid::Condition| {
                only.as_ref().is_none_or(|only| condition.name().contains(only))
            };
            let conditions: Vec<_> = grid::Condition::ALL.into_iter().filter(named).collect();
            let out = &mut std::io::stdout().lock();
            if only.is_some() {
                let rows = grid::run_conditions(&conditions, &hosted);
                return grid::write_conditions(out, &rows).map_err(JobError::Table);
            }
            let sums = grid::run_all(&grid::Cell::all(), &plan);
            if let Some(file) = picture {
                written(file, grid::picture(&sums).map_err(JobError::Draw)?)?;
            }
            grid::write(out, &sums, &plan).map_err(JobError::Table)?;
            let rows = grid::run_conditions(&conditions, &hosted);
            grid::write_conditions(out, &rows).map_err(JobError::Table)
        }
        Job::Faults { hours, seeds, from, explain, only } => {
            let (out, seeds) = (&mut std::io::stdout().lock(), *from..from.saturating_add(*seeds));
            if let Some(only) = only {
                return faults::table::write_conditions(out, seeds, *explain, only)
                    .map(drop)
                    .map_err(JobError::Table);
            }
            faults::table::write(out, *hours, seeds, *explain).map_err(JobError::Table)
        }
    }
}
