//! The detection table.

use super::clean::{self, Clean};
use super::conditions::{Condition, Sum};
use super::{Fault, Kinds, Outcome};
use std::io::{self, Write};
use std::ops::Range;

/// What many runs of one fault came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Row {
    /// Runs made.
    pub runs: u64,
    /// Named what it is, or held in the margin where that says as much, and nothing else but what comes with it.
    pub named: u64,
    /// Something else was named, whether or not the right name was among it.
    pub otherwise: u64,
    /// Nothing was named.
    pub silent: u64,
    /// Runs whose true counts lie within the margin.
    pub covered: u64,
}

impl Row {
    /// Runs `fault` from each of `seeds`; `failed` gets those that were not named correctly or not covered.
    #[must_use]
    pub fn of(fault: Fault, seeds: Range<u64>, mut failed: impl FnMut(u64, &Kinds)) -> Self {
        let mut row = Self::default();
        for seed in seeds {
            let Some((outcome, truth)) = fault.run(seed) else { continue };
            row.runs += 1;
            let expected = |kind| kind == fault.kind() || fault.companions().contains(&kind);
            let covered = outcome.covers(truth);
            row.covered += u64::from(covered);
            let held = fault.may_stay_in_doubt() && !outcome.doubt.is_certain();
            let right = (outcome.kinds.has(fault.kind()) || held)
                && outcome.kinds.iter().all(|(kind, _)| expected(kind));
            if right {
                row.named += 1;
            } else if outcome.kinds == Kinds::default() {
                row.silent += 1;
            } else {
                row.otherwise += 1;
            }
            if !right || !covered {
                failed(seed, &outcome.kinds);
            }
        }
        row
    }

    /// The share that was named correctly, 0 to 1.
    #[must_use]
    pub fn share(&self) -> f64 {
        ratio(self.named, self.runs)
    }
}

fn ratio(part: u64, of: u64) -> f64 {
    let real = |n: u64| crate::whole::real(i64::try_from(n).unwrap_or(i64::MAX));
    if of == 0 { 0.0 } else { real(part) / real(of) }
}

/// Runs every fault from each of `seeds`, and `hours` of clean turning from the first of them on, and writes the table to `out`; the last
/// line is `{"worst_named":..,"false_alarms_per_100h":..,"runs":..,"wrong":..,"outside":..,"certain":..,"certain_and_wrong":..}`, the last
/// five of all conditions of pulse boards. With `explain`, also each run that failed.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write(out: &mut impl Write, hours: f64, seeds: Range<u64>, explain: bool) -> io::Result<()> {
    writeln!(
        out,
        "{:<24} {:<42} {:>5} {:>6} {:>9} {:>6} {:>7}",
        "fault", "severity", "runs", "named", "otherwise", "silent", "covered"
    )?;
    let mut worst = 1.0_f64;
    let (mut runs, mut covered) = (0, 0);
    for fault in Fault::ALL {
        let mut failures = Vec::new();
        let row = Row::of(fault, seeds.clone(), |seed, kinds| failures.push((seed, *kinds)));
        worst = worst.min(row.share());
        (runs, covered) = (runs + row.runs, covered + row.covered);
        let (name, severity) = fault.text();
        let Row { runs, named, otherwise, silent, covered } = row;
        writeln!(
            out,
            "{name:<24} {severity:<42} {runs:>5} {named:>6} {otherwise:>9} {silent:>6} {covered:>7}"
        )?;
        for (seed, kinds) in failures.iter().filter(|_| explain) {
            writeln!(out, "    seed {seed}: {}", names(kinds))?;
        }
    }
    let Clean { hours, counts, reports, alarms, wrong } = clean::run(hours, seeds.start);
    writeln!(out, "conservation: truth within the margin in {covered} of {runs} runs")?;
    writeln!(
        out,
        "clean turning: {hours:.1} h, {reports} reports, {counts} counts net, {} false alarms, {} sessions counted wrong",
        alarms.len(),
        wrong.len()
    )?;
    for (seed, kinds) in &alarms {
        writeln!(out, "    session {seed}: {}", names(kinds))?;
    }
    let per_100_hours = ratio(u64::try_from(alarms.len()).unwrap_or(u64::MAX), 1) * 100.0 / hours;
    let boards = write_conditions(out, seeds, explain, "")?;
    let Sum { runs, wrong, outside, certain, certain_and_wrong, .. } = boards;
    writeln!(
        out,
        "{{\"worst_named\":{worst:.3},\"false_alarms_per_100h\":{per_100_hours:.2},\"runs\":{runs},\
         \"wrong\":{wrong},\"outside\":{outside},\"certain\":{certain},\
         \"certain_and_wrong\":{certain_and_wrong}}}"
    )
}

/// Runs the conditions whose names hold `only` from each of `seeds`, and writes a line for each.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write_conditions(
    out: &mut impl Write,
    seeds: Range<u64>,
    explain: bool,
    only: &str,
) -> io::Result<Sum> {
    writeln!(
        out,
        "{:<30} {:>6} {:>6} {:>7} {:>7} {:>17} {:>6}",
        "pulse boards", "runs", "wrong", "outside", "certain", "certain and wrong", "named"
    )?;
    let mut all = Sum::default();
    for condition in Condition::ALL.into_iter().filter(|condition| condition.name().contains(only)) {
        let mut failures = Vec::new();
        let sum = Sum::of(condition, seeds.clone(), |seed, run| failures.push((seed, *run)));
        let Sum { runs, wrong, outside, certain, certain_and_wrong, named } = sum;
        let name = condition.name();
        writeln!(
            out,
            "{name:<30} {runs:>6} {wrong:>6} {outside:>7} {certain:>7} {certain_and_wrong:>17} {named:>6}"
        )?;
        for (seed, run) in failures.iter().filter(|_| explain) {
            let Outcome { counts, margin, doubt, kinds, .. } = run.outcome;
            writeln!(
                out,
                "    seed {seed}: {counts} of {}, margin {margin}, pending {doubt}, {}, {:?}",
                run.truth,
                names(&kinds),
                run.draw
            )?;
        }
        all = all.and(sum);
    }
    Ok(all)
}

fn names(kinds: &Kinds) -> String {
    let all: Vec<_> = kinds.iter().map(|(kind, number)| format!("{} x {number}", kind.name())).collect();
    if all.is_empty() { "nothing named".to_owned() } else { all.join(", ") }
}
