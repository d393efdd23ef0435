//! The `tallywheel` program.

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    tallywheel::main(tallywheel::args::Cli::parse())
}
