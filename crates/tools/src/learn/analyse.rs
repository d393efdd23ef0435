//! Works out a wheel's wiring from a session. No I/O.
//!
//! 1. Every two buttons of a board that changed are taken for a wheel, as pulses and as quadrature, and decoded
//!    turn by turn. A wheel goes one way in the first turn, the other way in the next, as far each time; nothing
//!    else does.
//! 2. The slow turns give the counts in a turn. An eye sets a wheel to its mark within [`EYE_DEGREES`], so a
//!    wheel with more counts than that can tell apart stays unsure, unless its clicks hold it.
//! 3. The brisk turns are held against the slow ones: what is missing was lost.

use super::learnt::{Inputs, Learnt, LearntWheel, LossSpeed, Value};
use super::pair::{self, Change, Kind, Pair, Segment, real};
use super::session::{MarkedBy, SLOW_TURNS, Session};
use super::timing;
use crate::plan::formulas;
use crate::plan::quantity::{PartOfCycle, StepsPerTurn};
use std::time::Duration;
use tallywheel_units::{ButtonNumber, Buttons};

/// How far a wheel may stand off its mark when an eye sets it, in degrees: a millimetre on a wheel of 11 cm
/// radius. Common practice, no source.
pub const EYE_DEGREES: f64 = 0.5;
/// Fewer counts in a turn are taken for something else than a wheel.
const LEAST_PER_TURN: i64 = 6;
/// More buttons than this that change are not wheels; the busiest are looked at.
const BUTTONS_MAX: usize = 16;
/// Turns that have to agree before anything is sure.
const TURNS_MIN: usize = 4;
/// Turns that must agree where nothing but their number speaks for the counts in a turn.
const TURNS_MANY: usize = 10;
/// A pause this long is the hand's, not the wheel's speed.
const REGRIP: Duration = Duration::from_millis(150);

/// The samples of one board: its buttons at rest, their changes, and the buttons that changed with how often.
struct BoardSamples {
    rest: Buttons,
    changes: Vec<Change>,
    buttons: Vec<(ButtonNumber, usize)>,
}

/// Works out the wiring, counts and limits of the wheel that was turned in the session.
#[must_use]
pub fn learn(session: &Session) -> Learnt {
    let segments = pair::segments(session);
    let turns = segments.iter().filter(|segment| matches!(segment, Segment::Turn(_))).count();
    let mut notes = Vec::new();
    if turns < 2 {
        let had = if session.marked_by == MarkedBy::Hand { "marks" } else { "pauses of two seconds" };
        notes.push(format!("The session has no two turns: it needs {had} before, between and after them."));
        return Learnt { wheel: None, notes };
    }
    let devices = session.samples.iter().map(|report| report.device).max().map_or(0, |last| last + 1);
    let boards: Vec<BoardSamples> = (0..devices).map(|device| board_samples(session, device)).collect();
    let pairs: Vec<Pair> =
        boards.iter().enumerate().flat_map(|(device, board)| pairs(board, device, &segments)).collect();
    let mut wheels: Vec<&Pair> = pairs.iter().filter(|pair| is_wheel(pair, &segments)).collect();
    wheels.sort_by(|one, other| other.purity(&segments).total_cmp(&one.purity(&segments)));
    let Some(best) = wheels.first().copied() else {
        notes.extend(why_none(&boards, &pairs, &segments));
        return Learnt { wheel: None, notes };
    };
    let twin = wheels.iter().find(|pair| disjoint(pair, best));
    let wheel = boards.get(best.device).map(|board| {
        let mut wheel = describe(session, board, best, &segments);
        if let Some(twin) = twin {
            let why = "a second wheel turned along with it";
            for value in [&mut wheel.inputs.sure, &mut wheel.counts_per_turn.sure] {
                *value = false;
            }
            wheel.inputs.why = why.to_owned();
            wheel.counts_per_turn.why = why.to_owned();
            notes.push(format!(
                "Two wheels turned together: {} and {}. Turn only the one that is meant.",
                named(best),
                named(twin)
            ));
        }
        wheel
    });
    if twin.is_none() {
        notes.extend(others(&boards, &pairs, best, &segments));
    }
    if session.marked_by == MarkedBy::Pauses {
        notes.push("The recording has no marks; its pauses were taken for them.".to_owned());
    }
    Learnt { wheel, notes }
}

fn board_samples(session: &Session, device: usize) -> BoardSamples {
    let changes = pair::changes(session, device);
    let mut buttons: Vec<_> = (1..=ButtonNumber::LAST.get())
        .filter_map(ButtonNumber::new)
        .map(|button| {
            let changed = |c: &&Change| c.was.pressed(button) != c.is.pressed(button) && c.segment.is_some();
            (button, changes.iter().filter(changed).count())
        })
        .filter(|(_, changed)| *changed >= 3)
        .collect();
    buttons.sort_by_key(|(_, changed)| std::cmp::Reverse(*changed));
    buttons.truncate(BUTTONS_MAX);
    BoardSamples { rest: pair::pressed_at_rest(session, device), changes, buttons }
}

/// Every two buttons as either kind, forward first.
fn pairs(board: &BoardSamples, device: usize, segments: &[Segment]) -> Vec<Pair> {
    let mut pairs = Vec::new();
    for (place, (first, _)) in board.buttons.iter().enumerate() {
        for (second, _) in board.buttons.iter().skip(place + 1) {
            for kind in [Kind::Quadrature, Kind::Pulses] {
                let pair =
                    Pair::decode(kind, device, [*first, *second], board.rest, &board.changes, segments);
                pairs.push(pair.oriented(segments));
            }
        }
    }
    pairs
}

/// The slow turns of a session; all of one that has no more.
fn slow(turns: &[i64]) -> &[i64] {
    turns.get(..SLOW_TURNS).unwrap_or(turns)
}

fn is_wheel(pair: &Pair, segments: &[Segment]) -> bool {
    let turns = pair.turns(segments);
    let slow = slow(&turns);
    let middle = median(slow);
    let near = |turn: &&i64| (**turn - middle).abs() * 5 <= middle.max(10);
    // A wheel may have lost counts in a turn or two; it still is the wheel.
    middle >= LEAST_PER_TURN
        && slow.iter().filter(near).count() * 3 >= slow.len() * 2
        && pair.purity(segments) >= 0.5
        && slow.iter().all(|turn| *turn > 0)
}

fn median(values: &[i64]) -> i64 {
    let mut sorted = values.to_vec();
    sorted.sort_unstable();
    sorted.get(sorted.len() / 2).copied().unwrap_or(0)
}

fn disjoint(one: &Pair, other: &Pair) -> bool {
    one.device != other.device || !one.buttons.iter().any(|button| other.buttons.contains(button))
}

fn named(pair: &Pair) -> String {
    let [first, second] = pair.buttons;
    format!("buttons {} and {}", first.min(second), first.max(second))
}

/// Two buttons that moved like a wheel in single turns, though not in all.
fn moved_somewhere(pair: &Pair, segments: &[Segment]) -> bool {
    let both = pair.kind == Kind::Quadrature
        || (pair.steps.iter().any(|step| step.by > 0) && pair.steps.iter().any(|step| step.by < 0));
    both && pair.purity(segments) >= 0.8
        && pair.turns(segments).iter().any(|turn| turn.abs() >= LEAST_PER_TURN)
}

/// What else moved while the wheel was turned.
fn others(boards: &[BoardSamples], pairs: &[Pair], best: &Pair, segments: &[Segment]) -> Vec<String> {
    let mut notes = Vec::new();
    let second = pairs.iter().find(|pair| disjoint(pair, best) && moved_somewhere(pair, segments));
    if let Some(second) = second {
        notes.push(format!(
            "A second wheel moved now and then: {}. Turn only the one that is meant.",
            named(second)
        ));
    }
    for (device, board) in boards.iter().enumerate() {
        for (button, changed) in &board.buttons {
            let ours = |pair: &Pair| pair.device == device && pair.buttons.contains(button);
            if !ours(best) && !second.is_some_and(ours) {
                notes.push(format!(
                    "Button {button} changed {changed} times too; it is not part of the wheel."
                ));
            }
        }
    }
    notes
}

/// Why no wheel was found, and what to do.
fn why_none(boards: &[BoardSamples], pairs: &[Pair], segments: &[Segment]) -> Vec<String> {
    let active: Vec<_> = boards.iter().flat_map(|board| &board.buttons).collect();
    let mut movers: Vec<&Pair> = Vec::new();
    let mut sorted: Vec<&Pair> = pairs.iter().filter(|pair| moved_somewhere(pair, segments)).collect();
    sorted.sort_by(|one, other| other.purity(segments).total_cmp(&one.purity(segments)));
    for pair in sorted {
        if movers.iter().all(|mover| disjoint(mover, pair)) {
            movers.push(pair);
        }
    }
    let note = match (active.as_slice(), movers.as_slice()) {
        ([], _) => "No button changed between the marks. Is the wheel on a board that can be opened? \
                    `tallywheel boards --watch` shows what arrives."
            .to_owned(),
        ([(button, changed)], _) => format!(
            "Only button {button} changed, {changed} times. A wheel needs two: the other line may be off, or \
             the board pulses one direction only. Look at its wires."
        ),
        (_, [_, _, ..]) => format!(
            "Two wheels moved, one after the other: {}. Turn one wheel at a time, and learn it alone.",
            movers.iter().map(|pair| named(pair)).collect::<Vec<_>>().join("; ")
        ),
        (_, [one]) => format!(
            "{} moved like a wheel, but not as far in each turn, or not forward and back in turn: {:?} counts. \
             Begin again, one whole turn each way between the marks, slowly.",
            capital(&named(one)),
            one.turns(segments)
        ),
        _ => {
            "Buttons changed, but no two of them like a wheel: one that is turned forward and back, slowly, \
              counts as far each time. If it is a fine encoder on a slow board, turn much more slowly."
                .to_owned()
        }
    };
    vec![note]
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// Counts in a turn and how sure they are; also whether the wheel's clicks hold it at its mark.
struct PerTurn {
    value: Value<u32>,
    held: bool,
}

fn describe(session: &Session, board: &BoardSamples, pair: &Pair, segments: &[Segment]) -> LearntWheel {
    let turns = pair.turns(segments);
    let agree = slow(&turns).len() >= TURNS_MIN;
    let purity = pair.purity(segments);
    let [first, second] = pair.buttons;
    let inputs = Inputs { kind: pair.kind, buttons: pair.buttons };
    let inputs = if agree {
        let way = match pair.kind {
            Kind::Pulses => format!("{first} pulsed in forward turns and {second} in the others"),
            Kind::Quadrature => format!("{first} and {second} changed in turns, {first} first when forward"),
        };
        Value::sure(inputs, format!("{way}, {:.0} % of the steps", purity * 100.0))
    } else {
        Value::unsure(inputs, format!("only {} turns; it takes {TURNS_MIN} to be sure", turns.len()))
    };
    let mut per_click = per_click(pair, segments);
    // A board that drops counts when they come fast drops them in a click first of all.
    if let Some(click) = &mut per_click
        && pair.kind == Kind::Pulses
        && (turns.iter().any(|turn| turns.first() != Some(turn)) || at_top_rate(pair, segments))
        && click.sure
    {
        *click = Value::unsure(click.value, "the board dropped counts when they came fast, maybe here too");
    }
    let interval = timing::report_interval(session, pair.device, pair.kind == Kind::Pulses);
    let interval_ms = interval.as_ref().filter(|interval| interval.sure).map(|interval| interval.value);
    let on = match pair.kind {
        Kind::Pulses => timing::pulse_on(pair, board.rest, &board.changes, interval_ms),
        Kind::Quadrature => None,
    };
    let mut per_turn = per_turn(pair, segments, &turns, per_click.as_ref(), session.marked_by);
    if on.as_ref().is_some_and(|on| !on.sure) && !per_turn.value.sure {
        // Nobody knows how many pulses no report told of.
        per_turn.value.plus_minus = None;
    }
    let turn_segments: Vec<usize> = segments
        .iter()
        .enumerate()
        .filter(|(_, segment)| matches!(segment, Segment::Turn(_)))
        .map(|(segment, _)| segment)
        .collect();
    let count = i64::from(per_turn.value.value);
    let tolerance = if per_turn.held { 0.0 } else { 1.0 + eye(count) };
    let busy: Vec<usize> = turn_segments
        .iter()
        .zip(&turns)
        .filter(|(_, turn)| real((count - **turn).max(0).unsigned_abs()) > tolerance + 1.0)
        .map(|(segment, _)| *segment)
        .collect();
    let off = on.as_ref().and_then(|on| timing::pulse_off(pair, on, &busy, per_turn.value.value));
    let limit = by_the_figures(pair.kind, count, interval.as_ref(), on.as_ref(), off.as_ref());
    LearntWheel {
        device: pair.device,
        inputs,
        pressed_at_rest: pressed_at_rest(board, pair, per_click.as_ref()),
        losses: losses(pair, &turn_segments, &turns, &per_turn, tolerance, limit),
        counts_per_turn: per_turn.value,
        counts_per_click: per_click,
        pulse_on_ms: on,
        pulse_off_ms: off,
        report_interval_ms: interval,
    }
}

/// How many counts two marks set by eye may be off together.
fn eye(per_turn: i64) -> f64 {
    2.0 * EYE_DEGREES / 360.0 * real(per_turn.unsigned_abs())
}

fn pressed_at_rest(board: &BoardSamples, pair: &Pair, per_click: Option<&Value<f64>>) -> Value<bool> {
    let rest = pair.buttons.map(|button| board.rest.pressed(button));
    match (pair.kind, rest) {
        (Kind::Pulses, [first, second]) if first == second => {
            let how = if first { "pressed" } else { "released" };
            Value::sure(first, format!("both buttons are {how} between the pulses"))
        }
        (Kind::Pulses, _) => Value::unsure(false, "one button rests pressed and the other released"),
        // Edges are the same either way round; a wheel that rests once a cycle rests with its lines idle.
        (Kind::Quadrature, [true, true])
            if per_click.is_some_and(|click| click.sure && click.value >= 4.0) =>
        {
            Value::sure(true, "both lines are pressed where the wheel rests in its clicks")
        }
        (Kind::Quadrature, _) => {
            Value::sure(false, "the lines are released at rest, or it makes no difference")
        }
    }
}

fn per_click(pair: &Pair, segments: &[Segment]) -> Option<Value<f64>> {
    let clicks = pair.clicks(segments);
    let first = *clicks.first()?;
    let sum = clicks.iter().sum::<i64>().unsigned_abs();
    let mean = real(sum) / real(u64::try_from(clicks.len()).unwrap_or(1));
    Some(if clicks.len() >= 5 && first != 0 && clicks.iter().all(|click| *click == first) {
        Value::sure(real(first.unsigned_abs()), format!("{} clicks gave as many each", clicks.len()))
    } else if sum == 0 {
        Value::unsure(0.0, "the clicks gave no count at all")
    } else {
        Value::unsure((mean * 100.0).round() / 100.0, format!("the clicks gave {clicks:?}"))
    })
}

fn per_turn(
    pair: &Pair,
    segments: &[Segment],
    turns: &[i64],
    per_click: Option<&Value<f64>>,
    marked_by: MarkedBy,
) -> PerTurn {
    let slow = slow(turns);
    let count = mode(slow);
    let off_by = slow.iter().map(|turn| (turn - count).unsigned_abs()).max().unwrap_or(0);
    let agreeing = slow.iter().filter(|turn| **turn == count).count();
    let all_agreeing = turns.iter().filter(|turn| **turn == count).count();
    let value = u32::try_from(count).unwrap_or(0);
    let eye = eye(count);
    let whole_cycles = pair.kind == Kind::Pulses || count % 4 == 0;
    // The wheel rests in its clicks, so if the eye can tell them apart each turn is a whole number of them.
    let clicks = per_click.filter(|click| click.sure).map(|click| click.value);
    let held = clicks.is_some_and(|click| {
        let in_a_turn = real(count.unsigned_abs()) / click;
        (in_a_turn - in_a_turn.round()).abs() < 1e-9 && click > 2.0 * eye
    });
    let jumped = pair.jumps.iter().any(
        |(_, segment)| matches!(segments.get(*segment), Some(Segment::Turn(turn)) if *turn < SLOW_TURNS),
    );
    let within = |value: Value<u32>| {
        let most = if held { real(off_by) } else { eye.max(real(off_by)) };
        value.within((most * 100.0).ceil() / 100.0)
    };
    let told = format!("the slow turns counted {slow:?}");
    let unsure = |why: String| within(Value::unsure(value, why));
    let value = if slow.len() < TURNS_MIN {
        unsure(format!("only {} turns; it takes {TURNS_MIN} to be sure", slow.len()))
    } else if marked_by == MarkedBy::Pauses
        && !(turns.len() == SLOW_TURNS || turns.len() == SLOW_TURNS + super::session::BRISK_TURNS)
    {
        unsure(format!("{} turns were asked for, the pauses make {}", 2 * SLOW_TURNS, turns.len()))
    } else if jumped {
        unsure(format!("the wheel turned faster than the board reports even in slow turns; {told}"))
    } else if pair.kind == Kind::Pulses && at_top_rate(pair, segments) {
        unsure(format!(
            "the board pulsed as fast as it can even in slow turns, so counts may be missing; {told}"
        ))
    } else if held && off_by == 0 {
        Value::sure(value, format!("all {} slow turns agree, and the wheel rests in its clicks", slow.len()))
    } else if eye >= 0.5 {
        let cycles = (real(count.unsigned_abs()) / 4.0).round();
        let hint = match pair.kind {
            Kind::Quadrature => format!("; {cycles:.0} whole cycles would be {:.0}", cycles * 4.0),
            Kind::Pulses => String::new(),
        };
        unsure(format!("an eye sets the mark within {eye:.1} counts{hint}; {told}"))
    } else if off_by > 1 || agreeing * 3 < slow.len() * 2 {
        unsure(format!("the turns do not agree; {told}"))
    } else if !whole_cycles {
        unsure(format!("it is no whole number of cycles; {told}"))
    } else if pair.kind == Kind::Pulses && all_agreeing < TURNS_MANY {
        unsure(format!("the mark may lie where a count begins, and only {all_agreeing} turns agree; {told}"))
    } else {
        let whole = if pair.kind == Kind::Quadrature { ", and it is a whole number of cycles" } else { "" };
        Value::sure(value, format!("{agreeing} of {} slow turns agree{whole}", slow.len()))
    };
    PerTurn { value, held }
}

/// The commonest value; the smaller of two that are as common.
fn mode(values: &[i64]) -> i64 {
    let often = |value: i64| values.iter().filter(|other| **other == value).count();
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by_key(|value| (std::cmp::Reverse(often(*value)), *value));
    sorted.first().copied().unwrap_or(0)
}

/// Whether the slow turns hold a run of pulses as close together as the closest of the whole session: then the
/// board, not the hand, set their pace.
fn at_top_rate(pair: &Pair, segments: &[Segment]) -> bool {
    let steps = || pair.steps.iter().zip(pair.steps.iter().skip(1));
    let mut periods: Vec<f64> = steps().map(|(one, next)| next.at.since(one.at).as_secs_f64()).collect();
    periods.sort_by(f64::total_cmp);
    let least = timing::percentile(&periods, 2);
    let mut run = 0_u32;
    steps().any(|(one, next)| {
        let slow = matches!(segments.get(next.segment), Some(Segment::Turn(turn)) if *turn < SLOW_TURNS);
        let close = next.at.since(one.at).as_secs_f64() <= 1.2 * least;
        run = if slow && close && one.segment == next.segment { run + 1 } else { 0 };
        run >= 4
    })
}

/// Whether pulses went on over a mark at the board's own pace: it has a queue and was not empty yet.
fn late(pair: &Pair) -> bool {
    let steps = || pair.steps.iter().zip(pair.steps.iter().skip(1));
    let mut periods: Vec<f64> = steps().map(|(one, next)| next.at.since(one.at).as_secs_f64()).collect();
    periods.sort_by(f64::total_cmp);
    let least = timing::percentile(&periods, 2);
    let over_a_mark = |one: &pair::Step, next: &pair::Step| {
        next.segment != one.segment && next.at.since(one.at).as_secs_f64() <= 3.0 * least
    };
    pair.late || steps().any(|(one, next)| over_a_mark(one, next))
}

/// The board's own limit, from what is sure of it.
fn by_the_figures(
    kind: Kind,
    per_turn: i64,
    interval: Option<&Value<f64>>,
    on: Option<&Value<f64>>,
    off: Option<&Value<f64>>,
) -> Option<f64> {
    let duration = |value: Option<&Value<f64>>| {
        let ms = value.filter(|value| value.sure)?.value;
        Duration::try_from_secs_f64(ms / 1000.0).ok()
    };
    let steps = StepsPerTurn::new(real(per_turn.unsigned_abs()))?;
    let rate = match kind {
        Kind::Quadrature => {
            formulas::fastest_seen(duration(interval)?, PartOfCycle::IDEAL, PartOfCycle::UNEVEN)?
        }
        Kind::Pulses => formulas::fastest_pulses(duration(on)?, duration(off)?)?,
    };
    Some(places(formulas::turning(rate, steps)?.get()))
}

fn losses(
    pair: &Pair,
    segments: &[usize],
    turns: &[i64],
    per_turn: &PerTurn,
    tolerance: f64,
    by_the_figures: Option<f64>,
) -> Value<LossSpeed> {
    let count = i64::from(per_turn.value.value);
    let (mut good, mut bad): (Vec<f64>, Vec<f64>) = (Vec::new(), Vec::new());
    for (segment, turn) in segments.iter().zip(turns) {
        let Some(speed) = mean_speed(pair, *segment).map(places) else { continue };
        let jumped = pair.jumps.iter().any(|(_, jump)| jump == segment);
        let missing = real((count - *turn).unsigned_abs()) > tolerance;
        if jumped || missing { bad.push(speed) } else { good.push(speed) }
    }
    let from = bad.iter().copied().reduce(f64::min);
    let below = |speed: &&f64| from.is_none_or(|from| **speed < from);
    let none_up_to = good.iter().filter(below).copied().reduce(f64::max);
    let value = LossSpeed { none_up_to, from, by_the_figures };
    if pair.kind == Kind::Pulses && late(pair) {
        Value::unsure(value, "pulses still came when a mark was set: counts were late and may not be lost")
    } else if per_turn.value.sure {
        let why = if from.is_some() { "turns that counted less or jumped" } else { "no turn counted less" };
        Value::sure(value, why)
    } else {
        Value::unsure(value, "the counts in a turn are not sure")
    }
}

/// A turn's speed in turns/s, the hand's pauses left out.
fn mean_speed(pair: &Pair, segment: usize) -> Option<f64> {
    let own: Vec<_> = pair.steps.iter().filter(|step| step.segment == segment).collect();
    let moving: Duration = own
        .iter()
        .zip(own.iter().skip(1))
        .map(|(one, next)| next.at.since(one.at))
        .filter(|gap| *gap < REGRIP || own.len() < 24)
        .sum();
    (!moving.is_zero()).then(|| 1.0 / moving.as_secs_f64())
}

/// To a thousandth.
fn places(number: f64) -> f64 {
    (number * 1000.0).round() / 1000.0
}
