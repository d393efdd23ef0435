//! Two buttons taken for a wheel, turn by turn. No I/O.

use super::session::{ButtonSample, Session, SessionMarkKind};
use tallywheel_units::{ButtonNumber, Buttons, Timestamp};

/// The ways in which two buttons can be a wheel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// One pulse per count and direction.
    Pulses,
    /// Lines A and B.
    Quadrature,
}

/// A change of one board's buttons.
#[derive(Debug, Clone, Copy)]
pub(super) struct Change {
    pub(super) at: Timestamp,
    pub(super) was: Buttons,
    pub(super) is: Buttons,
    /// The segment of the session that it falls into; none before the first mark.
    pub(super) segment: Option<usize>,
}

/// What lies between two marks: a turn or a click.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Segment {
    /// One turn; even numbers are forward.
    Turn(usize),
    Click,
    /// After the last mark, or a turn after a click.
    Nothing,
}

/// Returns the segments of a session, one for each mark: the part that follows it.
pub(super) fn segments(session: &Session) -> Vec<Segment> {
    let mut turn = 0;
    let next = session.marks.iter().skip(1).map(|mark| Some(mark.kind)).chain(std::iter::once(None));
    session
        .marks
        .iter()
        .zip(next)
        .map(|(mark, next)| match (mark.kind, next) {
            (SessionMarkKind::Turn, Some(SessionMarkKind::Turn)) => {
                turn += 1;
                Segment::Turn(turn - 1)
            }
            (_, Some(SessionMarkKind::Click)) => Segment::Click,
            _ => Segment::Nothing,
        })
        .collect()
}

/// Returns every change of a board's buttons.
pub(super) fn changes(session: &Session, device: usize) -> Vec<Change> {
    let mut changes = Vec::new();
    let (mut was, mut segment) = (None, None);
    let mut marks = session.marks.iter().enumerate().peekable();
    for (place, ButtonSample { device: from, at, buttons }) in session.samples.iter().copied().enumerate() {
        while let Some((number, _)) = marks.next_if(|(_, mark)| mark.after <= place) {
            segment = Some(number);
        }
        if from != device {
            continue;
        }
        if let Some(was) = was.replace(buttons)
            && was != buttons
        {
            changes.push(Change { at, was, is: buttons, segment });
        }
    }
    changes
}

/// Buttons pressed at more than half of the marks: those that are pressed at rest.
pub(super) fn pressed_at_rest(session: &Session, device: usize) -> Buttons {
    let own: Vec<_> =
        session.samples.iter().enumerate().filter(|(_, report)| report.device == device).collect();
    let at_marks: Vec<Buttons> = session
        .marks
        .iter()
        .filter_map(|mark| {
            let before = own.partition_point(|(place, _)| *place < mark.after);
            // Before the first report the first report says where the buttons stood.
            own.get(before.saturating_sub(1)).map(|(_, report)| report.buttons)
        })
        .collect();
    (1..=ButtonNumber::LAST.get()).filter_map(ButtonNumber::new).fold(Buttons::NONE, |rest, button| {
        let pressed = at_marks.iter().filter(|buttons| buttons.pressed(button)).count();
        rest.with(button, pressed * 2 > at_marks.len())
    })
}

/// A step that a pair made.
#[derive(Debug, Clone, Copy)]
pub(super) struct Step {
    pub(super) at: Timestamp,
    pub(super) segment: usize,
    /// +1 or -1.
    pub(super) by: i64,
}

/// Two buttons decoded as one kind of wheel.
#[derive(Debug, Clone)]
pub(super) struct Pair {
    pub(super) kind: Kind,
    pub(super) device: usize,
    /// A and B, or forward and backward, so that the first turn is forward.
    pub(super) buttons: [ButtonNumber; 2],
    pub(super) steps: Vec<Step>,
    /// When both lines changed at once (quadrature).
    pub(super) jumps: Vec<(Timestamp, usize)>,
    /// Whether pulses of one turn came after its mark.
    pub(super) late: bool,
    /// Per segment, signed.
    pub(super) net: Vec<i64>,
}

impl Pair {
    pub(super) fn decode(
        kind: Kind,
        device: usize,
        [first, second]: [ButtonNumber; 2],
        rest: Buttons,
        changes: &[Change],
        segments: &[Segment],
    ) -> Self {
        let (mut steps, mut jumps) = (Vec::new(), Vec::new());
        for change in changes {
            let Some(segment) = change.segment else { continue };
            let lines = |buttons: Buttons| (buttons.pressed(first), buttons.pressed(second));
            let (was, is) = (lines(change.was), lines(change.is));
            if was == is {
                continue;
            }
            match kind {
                Kind::Quadrature => match (phase(is) - phase(was)) & 3 {
                    1 => steps.push(Step { at: change.at, segment, by: 1 }),
                    3 => steps.push(Step { at: change.at, segment, by: -1 }),
                    _ => jumps.push((change.at, segment)),
                },
                Kind::Pulses => {
                    let active = |lines: (bool, bool)| {
                        (lines.0 != rest.pressed(first), lines.1 != rest.pressed(second))
                    };
                    let (was, is) = (active(was), active(is));
                    if is.0 && !was.0 {
                        steps.push(Step { at: change.at, segment, by: 1 });
                    }
                    if is.1 && !was.1 {
                        steps.push(Step { at: change.at, segment, by: -1 });
                    }
                }
            }
        }
        let mut pair =
            Self { kind, device, buttons: [first, second], steps, jumps, late: false, net: Vec::new() };
        pair.count(segments);
        pair
    }

    fn count(&mut self, segments: &[Segment]) {
        self.net = vec![0; segments.len()];
        for step in &self.steps {
            if let Some(net) = self.net.get_mut(step.segment) {
                *net += step.by;
            }
        }
    }

    /// The buttons in such an order that the first turn is forward, and every pulse with its turn.
    pub(super) fn oriented(mut self, segments: &[Segment]) -> Self {
        if self.turns(segments).iter().sum::<i64>() < 0 {
            // Both tables are the same with the lines exchanged and the sign turned round.
            self.buttons.reverse();
            for step in &mut self.steps {
                step.by = -step.by;
            }
        }
        if self.kind == Kind::Pulses {
            self.credit_late_pulses(segments);
        }
        self.count(segments);
        self
    }

    /// A board with a queue may still be pulsing when the next turn, the other way, has begun: pulses that go on
    /// as before the mark belong to the turn before it.
    fn credit_late_pulses(&mut self, segments: &[Segment]) {
        let mut late = None;
        let mut before = 0;
        for step in &mut self.steps {
            let turn = |segment: usize| match segments.get(segment) {
                Some(Segment::Turn(turn)) => Some(*turn),
                _ => None,
            };
            if step.segment != before {
                // Only from one turn to the very next.
                let follows = turn(before).zip(turn(step.segment)).is_some_and(|(one, next)| one + 1 == next);
                late = follows.then_some((before, step.segment));
                before = step.segment;
            }
            if let Some((from, to)) = late {
                if step.segment == to && turn(from).is_some_and(|turn| (step.by > 0) == (turn % 2 == 0)) {
                    step.segment = from;
                    self.late = true;
                } else {
                    late = None;
                }
            }
        }
    }

    /// The steps of each turn, positive where it went as asked (forward, back, forward ...).
    pub(super) fn turns(&self, segments: &[Segment]) -> Vec<i64> {
        let turns = segments.iter().zip(&self.net).filter_map(|(segment, net)| match segment {
            Segment::Turn(turn) => Some(if turn % 2 == 0 { *net } else { -*net }),
            _ => None,
        });
        turns.collect()
    }

    /// The steps of each click, signed.
    pub(super) fn clicks(&self, segments: &[Segment]) -> Vec<i64> {
        segments
            .iter()
            .zip(&self.net)
            .filter(|(segment, _)| **segment == Segment::Click)
            .map(|(_, net)| *net)
            .collect()
    }

    /// Net steps per step in turns, 0..1: a wheel that is turned one way makes few steps the other way.
    pub(super) fn purity(&self, segments: &[Segment]) -> f64 {
        let in_turns = |segment: usize| matches!(segments.get(segment), Some(Segment::Turn(_)));
        let all = self.steps.iter().filter(|step| in_turns(step.segment)).count()
            + 2 * self.jumps.iter().filter(|(_, segment)| in_turns(*segment)).count();
        let net: u64 = self.turns(segments).iter().map(|net| net.unsigned_abs()).sum();
        if all == 0 { 0.0 } else { real(net) / real(u64::try_from(all).unwrap_or(u64::MAX)) }
    }
}

/// A leading B is forward: 00, 10, 11, 01 (hid-reader's table).
fn phase(lines: (bool, bool)) -> i64 {
    match lines {
        (false, false) => 0,
        (true, false) => 1,
        (true, true) => 2,
        (false, true) => 3,
    }
}

/// A number of steps for a ratio; exact up to 2^32, which is beyond any session.
pub(super) fn real(number: u64) -> f64 {
    f64::from(u32::try_from(number).unwrap_or(u32::MAX))
}
