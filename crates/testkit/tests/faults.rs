//! A slice of the `faults` command, small enough for every run of the tests. The release figures are those
//! of the command itself.

#![allow(clippy::unwrap_used, clippy::panic, missing_docs, reason = "a test stops at the first surprise")]

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
    assert!(last.ends_with(r#""false_alarms_per_100h":0.00}"#), "{last}");
    assert!(Fault::ALL.iter().all(|fault| text.contains(fault.text().0)));
}
