//! Quadrature past the sampling limit, over a grid of wheels, boards and hands: what the published table
//! loses, what the crate `rotary-encoder-embedded` (MIT, decoding by the same table) loses, what the reader's
//! decoder loses, and whether the truth lies within the margin that it states.
//!
//! A cell is a wheel on a board turned by a hand ([`Cell`]); a run is one hand's turning from one seed through
//! all three decoders. The reader is the whole [`BoardDecoder`](tallywheel_hid_reader::BoardDecoder) as the
//! product uses it, fed with reports as bytes, their times, and the passing of its deadlines.
//!
//! | what | how it is measured |
//! |---|---|
//! | a x T^2 | the hardest acceleration of the run's motion, times the square of the report interval |
//! | error | counts at the end of the run against what the lines truly showed; of a cell the sum over its runs |
//! | worst below 1 | the largest error of any run, in any cell, whose own a x T^2 is 1 at most |
//! | coverage | the share of runs in which the truth was within the stated margin at every rest (16 intervals) and at the end |
//! | in mid-stroke | the same after every report; a stroke's first reports look alike however hard it is |
//! | certain | the share of runs that ended with a margin of 0 |

mod cell;
mod condition;
mod hosted;
mod picture;
mod run;
mod sum;

pub use cell::Cell;
pub use condition::{Condition, Setup};
pub use hosted::{HostedOutcome, HostedPlan, HostedSum, Row, run_conditions, write_conditions};
pub use picture::picture;
pub use run::{Outcome, run};
pub use sum::{CellSum, Total};

use std::io::{self, Write};
use std::ops::Range;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// What is to be run.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The seeds of each cell's runs.
    pub seeds: Range<u64>,
    /// Seconds of turning in each run.
    pub seconds: f64,
    /// The decoder is told the report interval, as from a rig file.
    pub interval_known: bool,
    /// Threads to run on.
    pub threads: usize,
    /// Also tell of each run that was wrong below a x T^2 = 1 or not covered.
    pub explain: bool,
}

/// Runs all cells.
#[must_use]
pub fn run_all(cells: &[Cell], plan: &Plan) -> Vec<CellSum> {
    let next = AtomicUsize::new(0);
    let done = Mutex::new(Vec::with_capacity(cells.len()));
    std::thread::scope(|scope| {
        for _ in 0..plan.threads.max(1) {
            scope.spawn(|| {
                while let Some(cell) = cells.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let sum = CellSum::of(*cell, plan);
                    done.lock().unwrap_or_else(std::sync::PoisonError::into_inner).push(sum);
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    done.sort_by(|one, other| one.hardest().total_cmp(&other.hardest()));
    done
}

/// Writes the grid as a table, the cells by rising a x T^2. The last line is
/// `{"cells":..,"seeds":..,"worst_error_below_1":..,"cells_worse_than_table":..,"coverage":..}`.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write(out: &mut impl Write, sums: &[CellSum], plan: &Plan) -> io::Result<()> {
    writeln!(
        out,
        "{:>7} {:>6} {:>6} {:>7} {:>9} {:>10} {:>9} {:>9} {:>7} {:>8} {:>8} {:>8}",
        "a*T^2",
        "edges",
        "T",
        "turns/s",
        "reports",
        "counts",
        "table",
        "oracle",
        "ours",
        "worst<1",
        "covered",
        "certain"
    )?;
    for sum in sums {
        writeln!(out, "{sum}")?;
        for outcome in sum.told() {
            writeln!(out, "    {outcome}")?;
        }
    }
    let total = Total::of(sums);
    writeln!(
        out,
        "{} runs, {} of them with a*T^2 up to 1: {} wrong, {} certain; {} beyond: {} wrong; \
         truth within the margin in mid-stroke too: {}",
        total.runs,
        total.below,
        total.wrong_below,
        total.certain_below,
        total.runs - total.below,
        total.wrong_beyond,
        total.turning,
    )?;
    writeln!(
        out,
        "{{\"cells\":{},\"seeds\":{},\"worst_error_below_1\":{},\"cells_worse_than_table\":{},\"coverage\":{}}}",
        sums.len(),
        plan.seeds.end.saturating_sub(plan.seeds.start),
        total.worst_below,
        total.worse_than_table,
        total.coverage(),
    )
}
