//! What the lines of a wheel did around a loss.

use super::facts::{LocatedLoss, ReportFacts};
use std::collections::BTreeSet;
use std::time::Duration;
use tallywheel_engine::runtime_config::BoardConfig;
use tallywheel_hid_reader::{Layout, Recording};
use tallywheel_units::{Buttons, Timestamp};

/// The most traces on a page.
pub const TRACES_MAX: usize = 12;
/// How much is shown before and after a loss: as long as it takes to see some edges, within these limits.
const SHORTEST: Duration = Duration::from_millis(30);
const LONGEST: Duration = Duration::from_millis(400);
/// How many changes of the wheel's lines on each side are enough.
const CHANGES: usize = 6;
/// The most reports that are drawn on one side.
const REPORTS_MAX: usize = 150;
/// Reports before the first one shown that tell how the lines stood, for boards with several kinds of report.
const RUN_UP: usize = 64;

/// One report as a trace shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sample {
    /// When the report was read.
    pub at: Timestamp,
    /// Both lines, pressed or not; as the board reports them.
    pub lines: [bool; 2],
    /// Whether a report came just then; without one the lines are as the report before left them.
    pub report: bool,
}

/// The lines around one loss.
#[derive(Debug, Clone)]
pub struct Trace {
    /// The loss's place in [`ReportFacts::lost`].
    pub place: usize,
    /// The loss that the trace surrounds.
    pub lost: LocatedLoss,
    /// The reports around the loss, in the order of time.
    pub samples: Vec<Sample>,
}

/// The losses worth a trace: the first of each kind on each wheel, then as they come.
#[must_use]
pub fn choose(lost: &[LocatedLoss]) -> Vec<usize> {
    let mut seen = BTreeSet::new();
    let first = |(_, lost): &(usize, &LocatedLoss)| seen.insert((lost.loss.kind, lost.wheel));
    let mut chosen: Vec<_> = lost.iter().enumerate().filter(first).map(|(place, _)| place).collect();
    let more: Vec<_> = (0..lost.len()).filter(|place| !chosen.contains(place)).take(TRACES_MAX).collect();
    chosen.extend(more);
    chosen.truncate(TRACES_MAX);
    chosen.sort_unstable();
    chosen
}

/// Reads the lines around the chosen losses from the recording. `devices` says for each recorded device
/// which board of `plans` it is.
#[must_use]
pub fn traces(
    facts: &ReportFacts,
    recording: &Recording,
    plans: &[BoardConfig],
    devices: &[Option<usize>],
) -> Vec<Trace> {
    let chosen = choose(&facts.lost).into_iter();
    chosen
        .filter_map(|place| {
            let lost = *facts.lost.get(place)?;
            let board = lost.board.get();
            let device = devices.iter().position(|found| *found == Some(board))?;
            let layout = plans.get(board)?.layout(&recording.devices.get(device)?.descriptor).ok()?;
            let samples = samples(recording, device, &layout, facts, &lost);
            Some(Trace { place, lost, samples })
        })
        .collect()
}

fn samples(
    recording: &Recording,
    device: usize,
    layout: &Layout,
    facts: &ReportFacts,
    lost: &LocatedLoss,
) -> Vec<Sample> {
    let Some(wheel) = facts.wheels.get(lost.wheel.get()) else { return Vec::new() };
    let (reports, at) = (&recording.reports, lost.loss.at);
    let middle = reports.partition_point(|report| report.at <= at);
    let own = |report: &&tallywheel_hid_reader::RecordedReport| report.device == device;
    let early = before(before(at, LONGEST), lost.loss.lasted.min(LONGEST));

    let earlier = reports.get(..middle).unwrap_or_default().iter().rev().filter(own);
    let mut earlier: Vec<_> = earlier.take(REPORTS_MAX + RUN_UP).collect();
    earlier.reverse();
    let after = reports.get(middle..).unwrap_or_default().iter().filter(own);
    let late = at.after(LONGEST);
    let after = after.take(REPORTS_MAX).take_while(|report| report.at <= late);
    let run_up = earlier.len().saturating_sub(REPORTS_MAX);
    let mut buttons = Buttons::NONE;
    let all: Vec<_> = earlier
        .into_iter()
        .chain(after)
        .map(|report| {
            // A report that cannot be read leaves the lines as they are, here as in the decoder.
            let _ = layout.apply(&report.bytes, &mut buttons);
            let lines = wheel.inputs.buttons().map(|button| buttons.pressed(button));
            Sample { at: report.at, lines, report: true }
        })
        .skip(run_up)
        .collect();
    trim(held(all, early), at, lost.loss.lasted.min(LONGEST))
}

/// Without the samples before `begin`, but for how the last of them left the lines.
fn held(samples: Vec<Sample>, begin: Timestamp) -> Vec<Sample> {
    let early = samples.iter().rev().find(|sample| sample.at < begin);
    let early = early.map(|sample| Sample { at: begin, report: false, ..*sample });
    early.into_iter().chain(samples.iter().copied().filter(|sample| sample.at >= begin)).collect()
}

/// Cuts off what is more than [`CHANGES`] changes away, but no nearer than [`SHORTEST`].
fn trim(samples: Vec<Sample>, at: Timestamp, lasted: Duration) -> Vec<Sample> {
    let from = before(at, lasted);
    let changes = |pair: &[Sample]| matches!(pair, [one, two] if one.lines != two.lines);
    let changed: Vec<_> =
        samples.windows(2).filter(|pair| changes(pair)).filter_map(|pair| Some(pair.last()?.at)).collect();
    let near = before(from, SHORTEST);
    let first = changed.iter().rev().filter(|change| **change < from).nth(CHANGES - 1).copied();
    let first = first.map(|first| before(first, SHORTEST / 30));
    let last = changed.iter().filter(|change| **change > at).nth(CHANGES - 1).copied();
    let last = last.map(|last| last.max(at.after(SHORTEST)));
    let begin = first.or_else(|| changed.first().map(|change| before(*change, SHORTEST / 6)));
    let samples = held(samples, begin.map_or(near, |begin| begin.min(near)));
    samples.into_iter().filter(|sample| last.is_none_or(|last| sample.at <= last)).collect()
}

fn before(at: Timestamp, earlier: Duration) -> Timestamp {
    Timestamp::from_nanos(at.nanos().saturating_sub(u64::try_from(earlier.as_nanos()).unwrap_or(u64::MAX)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use tallywheel_units::{BoardIndex, Certainty, Loss, LossKind, Margin, WheelIndex};

    fn lost(kind: LossKind, wheel: u8) -> LocatedLoss {
        let at = Timestamp::START;
        let (certainty, lasted, bound) = (Certainty::Observed, Duration::ZERO, Margin::CERTAIN);
        let loss = Loss { kind, certainty, at, lasted, reports: 1, bound };
        LocatedLoss { board: BoardIndex::new(0), wheel: WheelIndex::new(wheel), loss }
    }

    #[test]
    fn a_rare_kind_has_a_trace_among_many_of_another() {
        let mut many = vec![lost(LossKind::BothLinesChanged, 0); 100];
        many.push(lost(LossKind::BadReport, 0));
        many.push(lost(LossKind::BothLinesChanged, 1));
        let chosen = choose(&many);
        assert_eq!(chosen, [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 100, 101]);
        assert_eq!(choose(&many[..3]), [0, 1, 2]);
        assert!(choose(&[]).is_empty());
    }

    #[test]
    fn a_trace_keeps_six_changes_on_each_side() {
        let sample = |n: u64| Sample {
            at: Timestamp::from_micros(n * 10_000),
            lines: [n.is_multiple_of(2), false],
            report: true,
        };
        let kept = trim((0..80).map(sample).collect(), Timestamp::from_micros(400_000), Duration::ZERO);
        let times: Vec<_> =
            kept.iter().filter(|sample| sample.report).map(|sample| sample.at.micros() / 10_000).collect();
        assert_eq!(times, (34..=46).collect::<Vec<_>>());
        // How the lines stood before the first report shown is known from the one before it.
        assert_eq!((kept[0].report, kept[0].lines), (false, [false, false]));
    }
}
