//! A slice of the `faults` command, small enough for every run of the tests. The release figures are those
//! of the command itself.

#![allow(clippy::unwrap_used, clippy::panic, missing_docs, reason = "a test stops at the first surprise")]

use tallywheel_testkit::faults::conditions::{Condition, JUDGED_FROM, Sum};
use tallywheel_testkit::faults::table::{self, Row};
use tallywheel_testkit::faults::{Fault, clean};

const SEEDS: u64 = 24;

#[test]
fn each_fault_alone_is_named() {
    for fault in Fault::ALL {
        let mut failed = Vec::new();
        let row = Row::of(fault, 0..SEEDS, |seed, kinds| failed.push((seed, *kinds)));
        assert_eq!(row.runs, SEEDS, "{fault:?}");
        assert_eq!(row.runs, row.named + row.otherwise + row.silent, "{fault:?}");
        assert!(row.share() >= 0.95, "{fault:?}: {row:?}, {failed:?}");
    }
}

/// True counts = decoded + lost within the bounds stated.
#[test]
fn counts_are_conserved() {
    for fault in Fault::ALL {
        for seed in 0..SEEDS {
            let (outcome, truth) = fault.run(seed).unwrap();
            assert!(outcome.covers(truth), "{fault:?}, seed {seed}: truth {truth}, {outcome:?}");
        }
    }
}

#[test]
fn clean_turning_raises_no_alarm() {
    let clean = clean::run(3.0, 0);
    assert_eq!((clean.alarms, clean.wrong), (vec![], vec![]));
    assert!(clean.hours >= 3.0 && clean.reports > 500_000, "{} reports", clean.reports);
}

#[test]
fn one_seed_one_outcome() {
    for fault in Fault::ALL {
        assert_eq!(fault.run(5), fault.run(5), "{fault:?}");
    }
}

#[test]
fn the_table_ends_with_its_figures() {
    let mut text = Vec::new();
    table::write(&mut text, 0.1, 0..2, true).unwrap();
    let text = String::from_utf8(text).unwrap();
    let last = text.lines().last().unwrap();
    assert!(last.starts_with(r#"{"worst_named":"#), "{last}");
    assert!(last.contains(r#""false_alarms_per_100h":0.00,"runs":18,"#), "{last}");
    assert!(last.contains(r#""certain_and_wrong":"#), "{last}");
    assert!(Condition::ALL.iter().all(|condition| text.contains(condition.name())));
    assert!(Fault::ALL.iter().all(|fault| text.contains(fault.text().0)));
}

/// A margin of pulses is worth what it says, on seeds that nothing was fitted on.
#[test]
fn pulse_boards_are_certain_only_where_they_are_right() {
    let of = |condition| {
        let mut failed = Vec::new();
        let sum = Sum::of(condition, JUDGED_FROM..JUDGED_FROM + 40, |seed, _| failed.push(seed));
        assert_eq!(sum.runs, 40, "{condition:?}");
        (sum, failed)
    };
    for condition in [Condition::GivenFree, Condition::GivenFreeLate] {
        let (sum, failed) = of(condition);
        assert_eq!((sum.certain, sum.named, sum.wrong), (40, 0, 0), "{condition:?}: {failed:?}");
    }
    for condition in [Condition::GivenFast, Condition::UnknownFast, Condition::UnknownLongPause] {
        let (sum, failed) = of(condition);
        assert_eq!((sum.outside, sum.certain_and_wrong), (0, 0), "{condition:?}: {failed:?}");
        assert!(sum.wrong >= 8, "{condition:?} tests nothing: {sum:?}");
    }
    let (sum, failed) = of(Condition::UnknownSlow);
    assert!(sum.certain >= 32 && sum.wrong == 0, "{sum:?}: {failed:?}");
}
