//! Runs under each [`Condition`], summed up.

use super::condition::{Condition, Setup};
use super::run::Reader;
use crate::{Chance, HostedBoard, Reporting};
use std::fmt;
use std::io::{self, Write};
use std::ops::Range;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;
use tallywheel_units::{ButtonNumber, Margin, Timestamp};

/// A wheel that has not moved for so many report intervals rests.
const REST: u32 = 16;

/// What came of one run.
#[derive(Debug, Clone, Copy)]
pub struct HostedOutcome {
    setup: Setup,
    seed: u64,
    truth: i64,
    ours: u64,
    table: u64,
    margin: Margin,
    outside: Option<Timestamp>,
    named: bool,
}

impl fmt::Display for HostedOutcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { setup, seed, truth, ours, table, margin, outside, .. } = self;
        let Setup { edges_per_turn, interval, hardest, .. } = setup;
        write!(
            f,
            "{edges_per_turn} edges, {:.0} ms, a*T^2 {hardest}, seed {seed}: truth {truth}, off by {ours} (table {table}), \
             margin {margin}",
            interval * 1000.0
        )?;
        outside.map_or(Ok(()), |at| write!(f, ", truth outside it from {at}"))
    }
}

/// The runs of one condition and one way of reporting.
#[derive(Debug, Clone, Default)]
pub struct HostedSum {
    /// All of them.
    pub runs: u64,
    /// Those that ended at another count than the truth.
    pub wrong: u64,
    /// Those whose truth was outside the margin at a rest or at the end.
    pub outside: u64,
    /// Those that ended with a margin of 0.
    pub certain: u64,
    /// Those of them that ended wrong.
    pub certain_and_wrong: u64,
    /// Those that ended further from the truth than the table does.
    pub worse_than_table: u64,
    /// Those up to a x T^2 = 0.2, and how many of them ended with a margin of 0.
    pub gentle: (u64, u64),
    /// Those in which missing reports were named.
    pub named: u64,
    /// The largest error.
    pub worst: u64,
    told: Vec<HostedOutcome>,
}

impl HostedSum {
    fn add(&mut self, run: HostedOutcome, explain: bool) {
        let certain = run.margin.is_certain();
        self.runs += 1;
        self.wrong += u64::from(run.ours > 0);
        self.outside += u64::from(run.outside.is_some());
        self.certain += u64::from(certain);
        self.certain_and_wrong += u64::from(certain && run.ours > 0);
        self.worse_than_table += u64::from(run.ours > run.table);
        self.named += u64::from(run.named);
        self.worst = self.worst.max(run.ours);
        if run.setup.hardest < 0.21 {
            self.gentle.0 += 1;
            self.gentle.1 += u64::from(certain);
        }
        if explain && (run.ours > 0 || run.outside.is_some()) {
            self.told.push(run);
        }
    }

    /// This one and another.
    #[must_use]
    pub fn with(mut self, other: &Self) -> Self {
        self.runs += other.runs;
        self.wrong += other.wrong;
        self.outside += other.outside;
        self.certain += other.certain;
        self.certain_and_wrong += other.certain_and_wrong;
        self.worse_than_table += other.worse_than_table;
        self.gentle = (self.gentle.0 + other.gentle.0, self.gentle.1 + other.gentle.1);
        self.named += other.named;
        self.worst = self.worst.max(other.worst);
        self.told.extend(other.told.iter().copied());
        self
    }

    fn json(&self) -> String {
        format!(
            "{{\"runs\":{},\"wrong\":{},\"outside\":{},\"certain\":{},\"certain_and_wrong\":{},\"worse_than_table\":{}}}",
            self.runs, self.wrong, self.outside, self.certain, self.certain_and_wrong, self.worse_than_table
        )
    }
}

fn run(setup: &Setup, condition: Condition, seed: u64, seconds: f64) -> Option<HostedOutcome> {
    let mut chance = Chance::new(seed);
    let wheel = setup.wheel(seconds, &mut chance);
    let lines = [ButtonNumber::new(1)?, ButtonNumber::new(2)?];
    let host = condition.host(setup, &wheel.motion, &mut chance);
    let interval = condition.rig().map(|times| Duration::from_secs_f64(setup.interval * times));
    let mut reader = Reader::new(setup.edges_per_turn, interval, lines)?;
    let board = HostedBoard::new(host, &wheel, lines, Chance::new(chance.seed()));
    let mut before: Option<i64> = None;
    let (mut start, mut table, mut outside) = (0, 0_i64, None);
    let (mut end, mut moved) = (Timestamp::START, Timestamp::START);
    for (report, truth) in board {
        reader.wait(report.at);
        if let Some(before) = before
            && report.at.since(moved) > Duration::from_secs_f64(setup.interval) * REST
            && !reader.covers(before - start)
        {
            outside = outside.or(Some(report.at));
        }
        reader.read(report);
        match before {
            None => start = truth,
            Some(was) => {
                table += match (truth - was).rem_euclid(4) {
                    1 => 1,
                    3 => -1,
                    _ => 0,
                }
            }
        }
        if before != Some(truth) {
            moved = report.at;
        }
        before = Some(truth);
        end = report.at;
    }
    // The board stays silent, or repeats itself; either way the wheel has come to rest.
    reader.wait(end.after(Duration::from_secs(10)));
    let truth = before.map_or(0, |truth| truth - start);
    if outside.is_none() && !reader.covers(truth) {
        outside = Some(end);
    }
    Some(HostedOutcome {
        setup: *setup,
        seed,
        truth,
        ours: truth.abs_diff(reader.counts.get()),
        table: truth.abs_diff(table),
        margin: reader.stated(),
        outside,
        named: reader.missing > 0,
    })
}

/// What is to be run: how many runs of each condition, from which seeds.
#[derive(Debug, Clone)]
pub struct HostedPlan {
    /// Seeds: one run of each setup and condition for each.
    pub seeds: Range<u64>,
    /// Seconds of turning in each run.
    pub seconds: f64,
    /// Threads to run on.
    pub threads: usize,
    /// Also tell of each run that was wrong or outside its margin.
    pub explain: bool,
}

/// A condition, of fine encoders or usual ones, of a board that reports so, and what came of it.
pub type Row = (bool, Condition, Reporting, HostedSum);

/// Runs every setup under every condition.
#[must_use]
pub fn run_conditions(conditions: &[Condition], plan: &HostedPlan) -> Vec<Row> {
    let mut rows = Vec::new();
    for fine in [false, true] {
        for condition in conditions {
            for reporting in [Reporting::Fixed, Reporting::OnChange] {
                rows.push((fine, *condition, reporting));
            }
        }
    }
    let next = AtomicUsize::new(0);
    let done = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..plan.threads.max(1) {
            scope.spawn(|| {
                loop {
                    let place = next.fetch_add(1, Ordering::Relaxed);
                    let Some((fine, condition, reporting)) = rows.get(place).copied() else { break };
                    let mut sum = HostedSum::default();
                    let setups = Setup::all(fine);
                    let setups = setups.iter().filter(|setup| setup.reporting == reporting);
                    for (number, setup) in (0_u64..).zip(setups) {
                        for seed in plan.seeds.clone() {
                            let seed = seed.wrapping_mul(7919).wrapping_add(number);
                            if let Some(outcome) = run(setup, condition, seed, plan.seconds) {
                                sum.add(outcome, plan.explain);
                            }
                        }
                    }
                    let row = (fine, condition, reporting, sum);
                    done.lock().unwrap_or_else(std::sync::PoisonError::into_inner).push((place, row));
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    done.sort_by_key(|(place, _)| *place);
    done.into_iter().map(|(_, row)| row).collect()
}

/// Writes the table of conditions. Its last line is one JSON object with the sums of usual and of fine encoders, of all
/// conditions but those in which reports are missing.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write_conditions(out: &mut impl Write, rows: &[Row]) -> io::Result<()> {
    writeln!(
        out,
        "{:>6} {:>20} {:>9} {:>6} {:>6} {:>7} {:>7} {:>8} {:>6} {:>6} {:>7} {:>6}",
        "",
        "condition",
        "reports",
        "runs",
        "wrong",
        "outside",
        "certain",
        "gentle",
        "c&w",
        ">table",
        "named",
        "worst"
    )?;
    let mut sums = [HostedSum::default(), HostedSum::default()];
    for (fine, condition, reporting, sum) in rows {
        let reports = if *reporting == Reporting::Fixed { "every" } else { "on change" };
        writeln!(
            out,
            "{:>6} {:>20} {reports:>9} {:>6} {:>6} {:>7} {:>7} {:>8} {:>6} {:>6} {:>7} {:>6}",
            if *fine { "fine" } else { "usual" },
            condition.name(),
            sum.runs,
            sum.wrong,
            sum.outside,
            sum.certain,
            format!("{}/{}", sum.gentle.1, sum.gentle.0),
            sum.certain_and_wrong,
            sum.worse_than_table,
            sum.named,
            sum.worst,
        )?;
        for run in &sum.told {
            writeln!(out, "    {run}")?;
        }
        if !condition.loses_reports() {
            let [usual, fine_sum] = &mut sums;
            let total = if *fine { fine_sum } else { usual };
            *total = std::mem::take(total).with(sum);
        }
    }
    let [usual, fine] = &sums;
    writeln!(out, "{{\"usual\":{},\"fine\":{}}}", usual.json(), fine.json())
}
