//! What it all means, in two sentences.

use super::facts::ReportFacts;
use tallywheel_units::{Counts, LossKind, Margin};

/// The confidence in the tally.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Confidence {
    /// Nothing was recorded that could be judged.
    Nothing,
    /// Every count is accounted for.
    Certain,
    /// It may be off by a known number of counts.
    Doubtful,
    /// It may be off by any number of counts.
    Unknown,
}

/// The verdict.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReportVerdict {
    /// Whether the position can be trusted.
    pub confidence: Confidence,
    /// Whether to trust it, what was lost and by how much.
    pub finding: String,
    /// What to do first.
    pub advice: String,
}

/// Judges a recording.
#[must_use]
pub fn verdict(facts: &ReportFacts) -> ReportVerdict {
    let turned = facts.wheels.iter().fold(Counts::ZERO, |all, wheel| all + wheel.turned);
    let losses = facts.loss_number();
    if turned.is_zero() && losses == 0 && facts.gaps.is_empty() {
        return ReportVerdict {
            confidence: Confidence::Nothing,
            finding: "There is nothing to judge: no wheel moved in this recording.".to_owned(),
            advice: "Turn the wheels while their boards are recorded, then make the report again.".to_owned(),
        };
    }
    let doubts: Vec<_> = facts.trims.iter().filter(|trim| !trim.margin.is_certain()).collect();
    let unknown = doubts.iter().any(|trim| trim.margin.is_unknown());
    let confidence = match (doubts.is_empty(), unknown) {
        (true, _) => Confidence::Certain,
        (false, false) => Confidence::Doubtful,
        (false, true) => Confidence::Unknown,
    };
    let counts = plural(turned.get().unsigned_abs(), "count");
    let losses_said = plural(losses, "suspected loss");

    let finding = match confidence {
        Confidence::Certain if losses == 0 => {
            format!("The tally can be trusted: {counts} were read and nothing points to a loss.")
        }
        Confidence::Certain | Confidence::Nothing => {
            format!(
                "The tally can be trusted again: {} what {losses_said} in {counts} put in doubt.",
                if facts.losses.contains_key(&LossKind::OffAtIndex) {
                    "the index mark has put right or the stops have settled"
                } else {
                    "the stops have settled"
                }
            )
        }
        Confidence::Doubtful | Confidence::Unknown => {
            let lost = doubts.iter().filter(|trim| trim.margin.is_unknown()).map(|trim| trim.name.as_str());
            let lost = lost.collect::<Vec<_>>().join(" and ");
            let mut each: Vec<_> = doubts
                .iter()
                .filter(|trim| !trim.margin.is_unknown())
                .map(|trim| {
                    let (bound, degrees) = (bound(trim.margin), degrees(trim.margin, trim.count));
                    format!("{} may be off by {bound} ({degrees})", trim.name)
                })
                .collect();
            if !lost.is_empty() {
                each.insert(0, format!("{lost} may be off by any amount"));
            }
            let word = if unknown { "cannot be trusted" } else { "can be trusted within limits only" };
            let after = if losses > 0 { format!(" after {losses_said} in {counts}") } else { String::new() };
            format!("The tally {word}{after}: {}.", each.join(" and "))
        }
    };
    let advice = match worst(facts) {
        Some(kind) => format!("First {}; most likely {}.", kind.advice(), kind.cause()),
        None if !facts.gaps.is_empty() => {
            "Confidence the running program rather than this recording, which has gaps: see below.".to_owned()
        }
        None => "There is nothing to do.".to_owned(),
    };
    ReportVerdict { confidence, finding, advice }
}

/// The kind of loss that put the most counts in doubt; among equals the one that happened most often. What was put
/// right needs nothing done.
fn worst(facts: &ReportFacts) -> Option<LossKind> {
    let weight = |margin: Margin| margin.low().get().saturating_add(margin.high().get());
    let kinds = facts.losses.iter().filter(|(kind, _)| **kind != LossKind::OffAtIndex);
    kinds.max_by_key(|(_, sum)| (weight(sum.bound), sum.number)).map(|(kind, _)| *kind)
}

/// `1 count`, `2 counts`, `2 losses`.
#[must_use]
pub fn plural(number: u64, what: &str) -> String {
    let ending = match (number, what.ends_with('s')) {
        (1, _) => "",
        (_, true) => "es",
        (_, false) => "s",
    };
    format!("{} {what}{ending}", grouped(number))
}

/// With a narrow blank after every three digits from the right, from five digits on (ISO 80000-1, 7.3.1).
#[must_use]
pub fn grouped(number: u64) -> String {
    let digits = number.to_string();
    if digits.len() < 5 {
        return digits;
    }
    let from_right = (0..digits.len()).rev();
    let blank = |place| place > 0 && place % 3 == 0;
    digits
        .chars()
        .zip(from_right)
        .flat_map(|(d, place)| [Some(d), blank(place).then_some('\u{202f}')])
        .flatten()
        .collect()
}

/// A margin in counts, in words short enough for a table.
#[must_use]
pub fn bound(margin: Margin) -> String {
    if margin.is_unknown() {
        return "unknown".to_owned();
    }
    match (margin.low().get(), margin.high().get()) {
        (0, 0) => "0 counts".to_owned(),
        (low, high) if low == high => format!("\u{b1}{}", plural(low.unsigned_abs(), "count")),
        (low, high) => format!("\u{2212}{low} to +{}", plural(high.unsigned_abs(), "count")),
    }
}

/// The same in degrees of the wheel, `count` degrees each.
#[must_use]
pub fn degrees(margin: Margin, count: f64) -> String {
    if margin.is_unknown() {
        return "unknown".to_owned();
    }
    let reach = |counts: Counts| tallywheel_units::FixedCounts::from_counts(counts).to_f64() * count;
    match (margin.low(), margin.high()) {
        (low, high) if low == high => format!("\u{b1}{:.1}\u{b0}", reach(low)),
        (low, high) => format!("\u{2212}{:.1}\u{b0} to +{:.1}\u{b0}", reach(low), reach(high)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_well() {
        assert_eq!(plural(1, "count"), "1 count");
        assert_eq!(plural(0, "loss"), "0 losses");
        assert_eq!(plural(1_234_567, "count"), "1\u{202f}234\u{202f}567 counts");
        assert_eq!((grouped(9999), grouped(10_000)), ("9999".to_owned(), "10\u{202f}000".to_owned()));
    }

    #[test]
    fn margins_read_well() {
        let margin = |low, high| Margin::new(Counts::new(low), Counts::new(high));
        assert_eq!(bound(margin(2, 2)), "\u{b1}2 counts");
        assert_eq!(bound(margin(0, 1)), "\u{2212}0 to +1 count");
        assert_eq!(bound(Margin::UNKNOWN), "unknown");
        assert_eq!(degrees(margin(2, 2), 3.75), "\u{b1}7.5\u{b0}");
    }
}
