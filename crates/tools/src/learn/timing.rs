//! How long a board's reports and pulses take. No I/O.

use super::learnt::Value;
use super::pair::{Change, Pair, real};
use super::session::Session;
use std::time::Duration;
use tallywheel_units::{Buttons, Timestamp};

/// Returns the value of `sorted` at `percent` (0 to 100) of its length, the lower one between two; 0 for an empty list.
pub(super) fn percentile(sorted: &[f64], percent: usize) -> f64 {
    let place = (sorted.len().saturating_sub(1)) * percent / 100;
    sorted.get(place).copied().unwrap_or(0.0)
}

fn mean(values: &[f64]) -> f64 {
    let number = real(u64::try_from(values.len()).unwrap_or(u64::MAX));
    if values.is_empty() { 0.0 } else { values.iter().sum::<f64>() / number }
}

fn milliseconds(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

/// The share of `values` that `fits`.
fn share(values: &[f64], fits: impl Fn(f64) -> bool) -> f64 {
    let good = values.iter().filter(|value| fits(**value)).count();
    if values.is_empty() {
        0.0
    } else {
        real(u64::try_from(good).unwrap_or(0)) / real(u64::try_from(values.len()).unwrap_or(u64::MAX))
    }
}

/// The time between two reports of a board, in ms. On a board that pulses, changes do not show it.
pub(super) fn report_interval(session: &Session, device: usize, pulses: bool) -> Option<Value<f64>> {
    let own: Vec<_> = session.samples.iter().filter(|report| report.device == device).collect();
    let pairs = || own.iter().zip(own.iter().skip(1));
    let mut gaps: Vec<f64> = pairs().map(|(one, next)| milliseconds(next.at.since(one.at))).collect();
    let repeats = pairs().filter(|(one, next)| one.buttons == next.buttons).count();
    gaps.retain(|gap| *gap > 0.0 && *gap < 1000.0);
    gaps.sort_by(f64::total_cmp);
    if gaps.len() < 20 {
        return None;
    }
    if repeats * 10 > gaps.len() * 3 {
        let middle = percentile(&gaps, 50);
        let steady = share(&gaps, |gap| (gap - middle).abs() <= 0.25 * middle);
        let why = format!("it reports all the time, {:.0} % within a quarter of this", steady * 100.0);
        let value = round(middle);
        return Some(if steady >= 0.8 && gaps.len() >= 50 {
            Value::sure(value, why).within(round(0.05 * middle))
        } else {
            Value::unsure(value, why)
        });
    }
    // On change only: the shortest gaps are one interval, if changes ever come as fast as that, and then all
    // others are multiples of it.
    let least = percentile(&gaps, 2);
    let cluster: Vec<f64> =
        gaps.iter().copied().filter(|gap| *gap >= 0.8 * least && *gap <= 1.3 * least).collect();
    let interval = mean(&cluster);
    let few: Vec<f64> =
        gaps.iter().copied().filter(|gap| *gap > 1.5 * interval && *gap < 5.5 * interval).collect();
    let multiples = share(&few, |gap| ((gap / interval).round() * interval - gap).abs() <= 0.25 * interval);
    let odd = few.iter().filter(|gap| (*gap / interval - 3.0).abs() < 0.3).count();
    Some(if cluster.len() >= 20 && few.len() >= 30 && odd >= 5 && multiples >= 0.85 && !pulses {
        Value::sure(round(interval), "the times between changes are multiples of it")
            .within(round(0.08 * interval))
    } else {
        Value::unsure(
            round(interval),
            "it reports changes only, and they do not show its interval: at most this",
        )
    })
}

/// How long each pulse lasted, in ms, sorted.
fn pulse_lengths(pair: &Pair, rest: Buttons, changes: &[Change]) -> Vec<f64> {
    let mut lengths = Vec::new();
    for button in pair.buttons {
        let active = |buttons: Buttons| buttons.pressed(button) != rest.pressed(button);
        let mut begun: Option<Timestamp> = None;
        for change in changes {
            match (active(change.was), active(change.is)) {
                (false, true) => begun = Some(change.at),
                (true, false) => {
                    lengths.extend(begun.take().map(|begun| milliseconds(change.at.since(begun))));
                }
                _ => {}
            }
        }
    }
    lengths.sort_by(f64::total_cmp);
    lengths
}

/// How long the board presses for a count. `interval_ms` is the time between two reports where that is sure.
pub(super) fn pulse_on(
    pair: &Pair,
    rest: Buttons,
    changes: &[Change],
    interval_ms: Option<f64>,
) -> Option<Value<f64>> {
    let lengths = pulse_lengths(pair, rest, changes);
    let (low, high) = (percentile(&lengths, 5), percentile(&lengths, 95));
    let most: Vec<f64> = lengths.iter().copied().filter(|length| (low..=high).contains(length)).collect();
    let (on, spread) = (mean(&most), high - low);
    if lengths.is_empty() {
        return None;
    }
    let within = round(spread.max(0.1 * on).max(0.5));
    // Sampled, a pulse is up to one interval shorter or longer than it is; longer spreads are something else.
    Some(if lengths.len() < 20 || spread > 0.7 * on {
        Value::unsure(round(on), format!("{} pulses, no two alike", lengths.len())).within(within)
    } else if !longer_than_a_report(changes, on, interval_ms) {
        Value::unsure(round(on), "each may be as short as one report: some may have been missed")
    } else {
        let why = format!("{} pulses, nine in ten of them within {spread:.1} ms", lengths.len());
        Value::sure(round(on), why).within(within)
    })
}

/// Whether a pulse of `on` ms lasts several reports. A pulse of which one report tells looks as long as the time
/// between two, however short it is. Where only changes are reported, the other times between changes show it:
/// if they are all multiples of the pulse, then the pulse is what the board can tell at least.
fn longer_than_a_report(changes: &[Change], on: f64, interval_ms: Option<f64>) -> bool {
    if let Some(interval) = interval_ms {
        return on >= 1.8 * interval;
    }
    let gaps = changes.iter().zip(changes.iter().skip(1));
    let gaps: Vec<f64> = gaps
        .map(|(one, next)| milliseconds(next.at.since(one.at)))
        .filter(|gap| *gap > 1.5 * on && *gap < 8.5 * on)
        .collect();
    let multiples = share(&gaps, |gap| ((gap / on).round() * on - gap).abs() <= 0.25 * on);
    gaps.len() >= 30 && multiples <= 0.7
}

/// How long the board releases between two pulses when it pulses as fast as it can: known only where counts
/// were missing, as only then it was as fast as it can. `busy` are the segments of which counts were missing, and
/// `per_turn` the counts that each should have had.
///
/// A board without a queue waits for the next count once it may pulse again, at most as long as from one count to
/// the next. A turn of N counts that gave d pulses of a period P has its counts P d / N apart, so that is how far
/// the pause may seem too long.
pub(super) fn pulse_off(pair: &Pair, on: &Value<f64>, busy: &[usize], per_turn: u32) -> Option<Value<f64>> {
    let period = |segments: Option<&[usize]>| {
        let steps = pair.steps.iter().zip(pair.steps.iter().skip(1));
        let mut periods: Vec<f64> = steps
            .filter(|(one, next)| {
                one.segment == next.segment && segments.is_none_or(|segments| segments.contains(&one.segment))
            })
            .map(|(one, next)| milliseconds(next.at.since(one.at)))
            .collect();
        periods.sort_by(f64::total_cmp);
        periods
    };
    let fast = period(Some(busy));
    let (low, middle) = (percentile(&fast, 10), percentile(&fast, 50));
    let given = pair.steps.iter().filter(|step| busy.contains(&step.segment)).count();
    let asked = f64::from(per_turn) * real(u64::try_from(busy.len()).unwrap_or(u64::MAX));
    let given = if asked > 0.0 { real(u64::try_from(given).unwrap_or(u64::MAX)) / asked } else { 1.0 };
    // Where the board was the limit, most periods are alike, and counts were waiting for it.
    if on.sure && given <= 0.4 && fast.len() >= 8 && middle - low <= 0.2 * low {
        let alike: Vec<f64> =
            fast.iter().copied().filter(|period| (period - middle).abs() <= 0.25 * middle).collect();
        let spread = percentile(&fast, 50) - percentile(&fast, 0);
        let why = format!("{} pulses came at the board's own pace while counts were missing", alike.len());
        return Some(
            Value::sure(round((mean(&alike) - on.value).max(0.0)), why)
                .within(round(spread.max(given * middle).max(0.2 * middle))),
        );
    }
    let all = period(None);
    let least = percentile(&all, 2);
    (!all.is_empty()).then(|| {
        Value::unsure(
            round((least - on.value).max(0.0)),
            "the board was never seen at its fastest: at most this",
        )
    })
}

/// To a hundredth of a millisecond.
pub(super) fn round(ms: f64) -> f64 {
    (ms * 100.0).round() / 100.0
}
