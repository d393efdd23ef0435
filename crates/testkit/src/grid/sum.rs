use super::{Cell, Outcome, Plan, run};
use crate::Reporting;
use std::fmt;

/// Up to here nothing may be lost, in edges.
const LIMIT: f64 = 1.0;

/// The runs of one cell, summed up.
#[derive(Debug, Clone)]
pub struct CellSum {
    cell: Cell,
    hardest: f64,
    runs: u64,
    edges: u64,
    table: u64,
    oracle: u64,
    ours: u64,
    below: u64,
    wrong_below: u64,
    certain_below: u64,
    worst_below: u64,
    wrong: u64,
    covered: u64,
    turning: u64,
    certain: u64,
    /// For the picture, and to be told.
    outcomes: Vec<Outcome>,
    explain: bool,
}

impl CellSum {
    /// Runs all seeds of a cell.
    #[must_use]
    pub fn of(cell: Cell, plan: &Plan) -> Self {
        let mut sum = Self {
            cell,
            hardest: 0.0,
            runs: 0,
            edges: 0,
            table: 0,
            oracle: 0,
            ours: 0,
            below: 0,
            wrong_below: 0,
            certain_below: 0,
            worst_below: 0,
            wrong: 0,
            covered: 0,
            turning: 0,
            certain: 0,
            outcomes: Vec::new(),
            explain: plan.explain,
        };
        for seed in plan.seeds.clone() {
            if let Some(outcome) = run(&cell, seed, plan.seconds, plan.interval_known) {
                sum.add(outcome);
            }
        }
        sum
    }

    fn add(&mut self, outcome: Outcome) {
        self.hardest = self.hardest.max(outcome.hardest);
        self.runs += 1;
        self.edges += outcome.edges;
        self.table += outcome.table;
        self.oracle += outcome.oracle;
        self.ours += outcome.ours;
        self.wrong += u64::from(outcome.ours > 0);
        self.covered += u64::from(outcome.outside.is_none());
        self.turning += u64::from(outcome.outside.is_none() && !outcome.turning_outside);
        self.certain += u64::from(outcome.margin.is_certain());
        if outcome.hardest <= LIMIT {
            self.below += 1;
            self.wrong_below += u64::from(outcome.ours > 0);
            self.certain_below += u64::from(outcome.margin.is_certain());
            self.worst_below = self.worst_below.max(outcome.ours);
        }
        self.outcomes.push(outcome);
    }

    /// The cell.
    #[must_use]
    pub const fn cell(&self) -> &Cell {
        &self.cell
    }

    /// The hardest a x T^2 of its runs.
    #[must_use]
    pub const fn hardest(&self) -> f64 {
        self.hardest
    }

    /// Its runs, one by one.
    #[must_use]
    pub fn outcomes(&self) -> &[Outcome] {
        &self.outcomes
    }

    /// The runs to be told of: wrong below the limit, or not covered.
    pub(super) fn told(&self) -> impl Iterator<Item = &Outcome> {
        let told =
            |outcome: &&Outcome| outcome.outside.is_some() || outcome.ours > 0 && outcome.hardest <= LIMIT;
        self.outcomes.iter().filter(|_| self.explain).filter(told)
    }
}

impl fmt::Display for CellSum {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Cell { edges_per_turn, interval, peak, reporting } = self.cell;
        let reporting = match reporting {
            Reporting::Fixed => "fixed",
            Reporting::OnChange => "on change",
        };
        let millis = format!("{:.0} ms", interval * 1000.0);
        write!(
            f,
            "{:>7.2} {edges_per_turn:>6} {millis:>6} {peak:>7} {reporting:>9} {:>10} {:>9} {:>9} {:>7} {:>8} {:>8} {:>8}",
            self.hardest,
            self.edges,
            self.table,
            self.oracle,
            self.ours,
            if self.below > 0 { self.worst_below.to_string() } else { "-".to_owned() },
            format!("{}/{}", self.covered, self.runs),
            format!("{}/{}", self.certain, self.runs),
        )
    }
}

/// All cells, summed up.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Total {
    /// All runs.
    pub runs: u64,
    /// Those whose truth was within the margin at every rest and at the end.
    pub covered: u64,
    /// Those whose truth was within the margin after every report, in the middle of a stroke too.
    pub turning: u64,
    /// Runs whose a x T^2 is 1 at most.
    pub below: u64,
    /// Those of them that ended wrong.
    pub wrong_below: u64,
    /// Those of them that ended with a margin of 0.
    pub certain_below: u64,
    /// The largest error of these.
    pub worst_below: u64,
    /// Runs beyond that ended wrong.
    pub wrong_beyond: u64,
    /// Cells in which the reader's errors sum up to more than the table's.
    pub worse_than_table: u64,
}

impl Total {
    /// Of these cells.
    #[must_use]
    pub fn of(sums: &[CellSum]) -> Self {
        sums.iter().fold(Self::default(), |total, sum| Self {
            runs: total.runs + sum.runs,
            covered: total.covered + sum.covered,
            turning: total.turning + sum.turning,
            below: total.below + sum.below,
            wrong_below: total.wrong_below + sum.wrong_below,
            certain_below: total.certain_below + sum.certain_below,
            worst_below: total.worst_below.max(sum.worst_below),
            wrong_beyond: total.wrong_beyond + sum.wrong - sum.wrong_below,
            worse_than_table: total.worse_than_table + u64::from(sum.ours > sum.table),
        })
    }

    /// Cells of `sums`, of those up to this a x T^2, in which the reader's errors sum up to more than the table's.
    #[must_use]
    pub fn worse_than_table_below(sums: &[CellSum], hardest: f64) -> usize {
        sums.iter().filter(|sum| sum.hardest <= hardest && sum.ours > sum.table).count()
    }

    /// The share of runs whose truth stayed within the margin.
    #[must_use]
    pub fn coverage(&self) -> f64 {
        let real = |n: u64| crate::whole::real(i64::try_from(n).unwrap_or(i64::MAX));
        if self.runs == 0 { 1.0 } else { real(self.covered) / real(self.runs) }
    }
}
