//! `tallywheel doctor`: looks at everything that a user could have wrong, and says the cure.
//!
//! [`gather`](mod@gather) finds facts and judges nothing; [`judge`](mod@judge) does no I/O. To add a check, add
//! what it needs to [`facts`], find it, judge it, and try each fault in `judge_tests.rs`.

pub mod facts;
pub mod gather;
pub mod judge;
pub mod rules;

use crate::args::DoctorArgs;
use gather::Roots;
use judge::{Finding, FindingLevel};
use std::io::Write;
use tallywheel_engine::failure::Failure;

/// Looks at everything and says so on `out`; `ask` finds out how the running daemon stands.
///
/// # Errors
/// Where something is wrong, after all has been said.
pub fn doctor(args: &DoctorArgs, ask: gather::Ask<'_>, out: &mut impl Write) -> Result<(), Failure> {
    let places = gather::places(args.folder.config.clone(), args.log_dir.clone())?;
    let findings = judge::judge(&gather::gather(&places, &Roots::default(), ask));
    if args.json {
        serde_json::to_writer(&mut *out, &findings).map_err(std::io::Error::from)?;
        writeln!(out)?;
    } else {
        out.write_all(text(&findings).as_bytes())?;
    }
    match findings.iter().filter(|finding| finding.verdict == FindingLevel::Wrong).count() {
        0 => Ok(()),
        1 => Err(Failure::Choice("1 thing is wrong".to_owned())),
        n => Err(Failure::Choice(format!("{n} things are wrong"))),
    }
}

/// One line for each finding, and its cure in the next.
fn text(findings: &[Finding]) -> String {
    let mut text = String::new();
    for Finding { check, subject, verdict, what, cure } in findings {
        let verdict = match verdict {
            FindingLevel::Good => "good",
            FindingLevel::Hint => "hint",
            FindingLevel::Wrong => "WRONG",
        };
        let what = what.replace('\n', "\n                   ");
        text += &format!("{verdict:<6} {check:<10}  {subject}: {what}\n");
        if let Some(cure) = cure {
            text += &format!("                   cure: {cure}\n");
        }
    }
    if findings.iter().all(|finding| finding.verdict == FindingLevel::Good) {
        text += "All is as it should be.\n";
    }
    text
}
