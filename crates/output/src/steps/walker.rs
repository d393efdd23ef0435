//! Walks one trim of the simulator to where the wheel has it, press by press.
//!
//! It keeps the step on which it believes the simulator to be (the *belief*) and the step nearest to the
//! position (the *goal*); what is owed is always the difference, so a press can be neither lost nor doubled,
//! and what is owed in a direction that is not wanted any more is gone by itself.
//!
//! | phase | what happens | what comes of it |
//! |---|---|---|
//! | Resting, nothing owed | the position moves within its step | nothing |
//! | Resting, nothing owed | the goal moves | the press is due as soon as the pause is over |
//! | Resting, something owed | the pause is over | press; the belief moves by one |
//! | Resting, something owed | the goal moves to the other side of the belief | the next press goes the other way |
//! | Resting, something owed | the goal comes back to the belief | nothing is owed |
//! | Pressing | its time is over | release; a pause begins |
//! | Pressing | the goal moves anywhere | the press is finished all the same |
//! | Pressing | the time is over long ago | release now; nothing is made up for by haste |
//! | any | the position arrives at a stop | extra presses towards it follow when nothing is owed |
//! | Resting or Pressing, extra presses left | the goal leaves the stop's step | they are dropped; the belief stays |
//! | any, extra presses left | the position leaves the stop and comes back | the full number again, no more |
//! | Pressing, or something left to press | a report | nothing: it tells of a time that is over |
//! | Resting, nothing left, before the settling is over | a report | nothing, for the same reason |
//! | Resting, nothing left, settled | a report of the belief | corrections are well and forgotten |
//! | Resting, nothing left, settled | a report of another step | the belief is that step, so the difference is owed |
//! | the same after such a correction | a report of the step where it began | the simulator has an end there: the goal is kept inside it |
//! | any, with such an end | the wheel moves on towards it | the end is forgotten: it is tried once more |
//! | any, with such an end | the wheel comes back to inside it | it is followed from that end on, at once |
//! | any, with such an end | a report from beyond it | the end is forgotten |
//! | settled, the eighth correction for one goal is spent | a report of another step | nothing more is pressed until the goal moves |
//! | any | the device is made anew | nothing is held; the interrupted press counts as made |
//! | any | a time before the one given last | the one given last counts |

use super::nearest;
use tallywheel_profile::Pace;
use tallywheel_units::{AxisValue, Normalized, Timestamp};

/// Corrections that one goal is worth: enough for a simulator that misses every second press, and an end to
/// all quarrels with one whose steps are of another size.
const MOST_CORRECTIONS: u8 = 8;

/// Towards which stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    Low,
    High,
}

/// What is to be done with a button.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Act {
    Press(Side),
    Release(Side),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Resting { ready: Timestamp },
    Pressing { side: Side, until: Timestamp },
}

/// One trim of the simulator.
#[derive(Debug)]
pub(super) struct Walker {
    pace: Pace,
    phase: Phase,
    /// The time given last.
    now: Timestamp,
    /// The step nearest to the position.
    wanted: i32,
    /// The step on which the simulator is believed to be.
    belief: i32,
    /// The stop at which the position is.
    stop: Option<Side>,
    /// Extra presses left for the arrival at [`Self::stop`].
    extra: u8,
    feedback: Feedback,
}

/// What the simulator's reports have taught.
#[derive(Debug)]
struct Feedback {
    /// When a report tells of the last press.
    settled: Timestamp,
    /// The simulator's own ends as far as they lie within ours.
    ends: (i32, i32),
    /// Where the correction under way began, and its direction.
    from: Option<(i32, Side)>,
    corrections_left: u8,
    given_up: bool,
}

impl Walker {
    /// At rest where `axis` is, where the simulator is believed to be too. The first press may not come before
    /// `ready`.
    pub(super) fn new(pace: Pace, axis: AxisValue, ready: Timestamp) -> Self {
        let step = nearest::of_axis(axis, pace.presses);
        Self {
            pace,
            phase: Phase::Resting { ready },
            now: Timestamp::START,
            wanted: step,
            belief: step,
            stop: stop_at(axis),
            extra: 0,
            feedback: Feedback {
                settled: Timestamp::START,
                ends: (0, i32::from(pace.presses)),
                from: None,
                corrections_left: MOST_CORRECTIONS,
                given_up: false,
            },
        }
    }

    /// The wheel has the trim at `axis` now.
    pub(super) fn aim(&mut self, axis: AxisValue) {
        let wanted = nearest::of_axis(axis, self.pace.presses);
        let before = std::mem::replace(&mut self.wanted, wanted);
        if wanted != before {
            self.feedback.moved(before, wanted, self.last());
        }
        let stop = stop_at(axis);
        if stop.is_some() && stop != self.stop {
            self.extra = self.pace.extra;
        }
        self.stop = stop;
        if wanted != 0 && wanted != self.last() {
            self.extra = 0;
        }
    }

    /// The simulator says that its trim is at `value`.
    pub(super) fn told(&mut self, at: Timestamp, value: Normalized) {
        let still = matches!(self.phase, Phase::Resting { .. }) && self.next().is_none();
        if !still || at < self.feedback.settled {
            return;
        }
        let step = nearest::of_report(value, self.pace.presses);
        self.feedback.widen(step, self.last());
        if step == self.belief {
            self.feedback.from = None;
            if step == self.goal() {
                self.feedback.corrections_left = MOST_CORRECTIONS;
                self.feedback.given_up = false;
            }
            return;
        }
        self.belief = step;
        match self.feedback.from.take() {
            Some((from, Side::Low)) if from == step => self.feedback.ends.0 = step,
            Some((from, Side::High)) if from == step => self.feedback.ends.1 = step,
            _ => self.correct(),
        }
    }

    fn correct(&mut self) {
        let Some(side) = side_of(self.goal() - self.belief) else { return };
        match self.feedback.corrections_left.checked_sub(1) {
            Some(left) => {
                self.feedback.corrections_left = left;
                self.feedback.from = Some((self.belief, side));
            }
            None => self.feedback.given_up = true,
        }
    }

    /// What is to be done at `now`, if anything. It counts once [`Self::done`] has been told.
    pub(super) fn due(&mut self, now: Timestamp) -> Option<Act> {
        self.now = self.now.max(now);
        match self.phase {
            Phase::Pressing { side, until } => (self.now >= until).then_some(Act::Release(side)),
            Phase::Resting { ready } if self.now >= ready => self.next().map(Act::Press),
            Phase::Resting { .. } => None,
        }
    }

    /// `act`, which [`Self::due`] has asked for, was done.
    pub(super) fn done(&mut self, act: Act) {
        match act {
            Act::Press(side) => {
                match (self.owed(), side) {
                    (0, _) => self.extra = self.extra.saturating_sub(1),
                    (_, Side::Low) => self.belief -= 1,
                    (_, Side::High) => self.belief += 1,
                }
                self.phase = Phase::Pressing { side, until: self.now.after(self.pace.press) };
            }
            Act::Release(_) => self.rest(self.now.after(self.pace.pause)),
        }
    }

    /// The device was made anew, nothing is held any more, and nobody may look at it before `ready`.
    pub(super) fn renewed(&mut self, ready: Timestamp) {
        self.rest(ready);
    }

    fn rest(&mut self, ready: Timestamp) {
        self.phase = Phase::Resting { ready };
        self.feedback.settled = self.now.after(self.pace.settle);
    }

    /// When [`Self::due`] has something to say although nobody moves the wheel.
    pub(super) fn deadline(&self) -> Option<Timestamp> {
        match self.phase {
            Phase::Pressing { until, .. } => Some(until),
            Phase::Resting { ready } => self.next().map(|_| ready),
        }
    }

    /// The button that is held.
    pub(super) const fn held(&self) -> Option<Side> {
        match self.phase {
            Phase::Pressing { side, .. } => Some(side),
            Phase::Resting { .. } => None,
        }
    }

    fn last(&self) -> i32 {
        i32::from(self.pace.presses)
    }

    /// The step to go to: the nearest that the simulator can reach.
    fn goal(&self) -> i32 {
        let (low, high) = self.feedback.ends;
        self.wanted.max(low).min(high)
    }

    fn owed(&self) -> i32 {
        if self.feedback.given_up { 0 } else { self.goal() - self.belief }
    }

    /// The side of the next press, if one is left to make.
    fn next(&self) -> Option<Side> {
        match side_of(self.owed()) {
            None if self.extra > 0 => Some(if self.wanted == 0 { Side::Low } else { Side::High }),
            side => side,
        }
    }
}

impl Feedback {
    /// The wheel has moved from one step to another.
    fn moved(&mut self, before: i32, wanted: i32, last: i32) {
        self.corrections_left = MOST_CORRECTIONS;
        self.given_up = false;
        self.from = None;
        if wanted > before {
            self.ends.1 = last;
        } else {
            self.ends.0 = 0;
        }
    }

    /// The simulator is at `step`, so its ends are not before it.
    fn widen(&mut self, step: i32, last: i32) {
        if step < self.ends.0 {
            self.ends.0 = 0;
        }
        if step > self.ends.1 {
            self.ends.1 = last;
        }
    }
}

fn stop_at(axis: AxisValue) -> Option<Side> {
    match axis {
        AxisValue::MIN => Some(Side::Low),
        AxisValue::MAX => Some(Side::High),
        _ => None,
    }
}

const fn side_of(owed: i32) -> Option<Side> {
    match owed {
        0 => None,
        ..0 => Some(Side::Low),
        1.. => Some(Side::High),
    }
}
