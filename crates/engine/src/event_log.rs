//! Turns events into log lines, each with board, wheel and reason, and keeps what is asked for later.

use crate::events::{BoardEvent, EventReceiver};
use crate::notifications::Notifications;
use crate::recorder::Recorder;
use crate::runtime_config::Names;
use crate::slots::{BoardChange, StateChange};
use crate::state::BridgeState;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;
use tallywheel_units::{BoardIndex, Counts, Loss, LossKind, Margin, Timestamp, WheelIndex};

/// The target of all lines about counts that may be missing.
pub const LOSS_TARGET: &str = "tallywheel::loss";

/// Between two lines about the same kind of loss on the same wheel at least this much time passes.
const LOSS_EVERY: Duration = Duration::from_secs(10);

/// What the log remembers of losses: one entry for each kind and wheel that had one.
#[derive(Debug, Default)]
pub struct LossLog {
    entries: BTreeMap<(WheelIndex, LossKind), LossEntry>,
}

/// Losses of one kind on one wheel.
#[derive(Debug, Clone, Copy)]
struct LossEntry {
    board: BoardIndex,
    written: Timestamp,
    held_back: u64,
    /// What those held back may have cost.
    held_bound: Margin,
    total: u64,
    bound: Margin,
}

/// A line to be written, with what was held back since the last one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeldBack {
    /// Losses since the last line, this one not among them.
    pub losses: u64,
    /// The sum of their bounds.
    pub bound: Margin,
}

impl LossLog {
    /// Takes a loss; says whether it is to be written. The first of its kind on a wheel is, then at most one
    /// in ten seconds; an unplugging always is.
    pub fn take(&mut self, board: BoardIndex, wheel: WheelIndex, loss: &Loss) -> Option<HeldBack> {
        let first = !self.entries.contains_key(&(wheel, loss.kind));
        let entry = self.entries.entry((wheel, loss.kind)).or_insert(LossEntry {
            board,
            written: loss.at,
            held_back: 0,
            held_bound: Margin::CERTAIN,
            total: 0,
            bound: Margin::CERTAIN,
        });
        entry.total = entry.total.saturating_add(1);
        entry.bound += loss.bound;
        // A cable comes off at a hand's pace, and each time matters by itself.
        let rare = loss.kind == LossKind::BoardGone;
        if !first && !rare && loss.at.since(entry.written) < LOSS_EVERY {
            entry.held_back = entry.held_back.saturating_add(1);
            entry.held_bound += loss.bound;
            return None;
        }
        entry.written = loss.at;
        let losses = std::mem::replace(&mut entry.held_back, 0);
        let bound = std::mem::replace(&mut entry.held_bound, Margin::CERTAIN);
        Some(HeldBack { losses, bound })
    }

    /// Writes how many losses of each kind each wheel had since the start, and how many had no line.
    pub fn summarise(&self, names: &Names) {
        for ((wheel, kind), entry) in &self.entries {
            tracing::debug!(
                target: LOSS_TARGET,
                board = names.board(entry.board),
                wheel = names.wheel(*wheel),
                reason = kind.name(),
                losses = entry.total,
                margin = %entry.bound,
                held_back = entry.held_back,
                "losses since the start"
            );
        }
    }
}

/// Everything that is written down: the log, and the recording of the last hour.
#[derive(Debug)]
pub struct EventLog {
    listener: EventReceiver,
    names: Names,
    losses: LossLog,
    recorder: Recorder,
    state: BridgeState,
    notifications: Notifications,
    busy: bool,
}

impl EventLog {
    /// Of the events that `listener` hears of things with these names.
    #[must_use]
    pub fn new(listener: EventReceiver, names: Names, recorder: Recorder) -> Self {
        let state = BridgeState::new(Arc::clone(listener.slots()));
        let (losses, notifications) = Default::default();
        Self { listener, names, losses, recorder, state, notifications, busy: false }
    }

    /// Returns when events may be waiting. Nothing is lost where the caller gives up waiting.
    pub async fn wait(&self) {
        self.listener.wait().await;
    }

    /// Whether events are waiting.
    #[must_use]
    pub fn is_awake(&self) -> bool {
        self.listener.is_awake()
    }

    /// Whether the last [`Self::drain`] found events.
    #[must_use]
    pub const fn is_busy(&self) -> bool {
        self.busy
    }

    /// Writes the events that wait, and how many could not wait. Says whether the readers are to say again where the
    /// trims are ([`SharedState::tell_positions`](crate::shared::SharedState::tell_positions)).
    #[must_use]
    pub fn drain(&mut self) -> bool {
        let mut changed = false;
        self.busy = false;
        while let Some(event) = self.listener.try_next() {
            self.busy = true;
            self.recorder.take(&event);
            changed |= self.take(event);
        }
        // A full queue wakes without saying why.
        changed |= self.take_changes();
        self.recorder.flush();
        if changed {
            self.state.changes().changed();
        }
        let held_back = self.listener.take_held_back();
        if held_back > 0 {
            self.state.missed(held_back);
            tracing::warn!(
                events = held_back,
                "too much happened at once; these log lines are missing, no counts are"
            );
        }
        self.recorder.take_wish()
    }

    /// Says whether it changes what is shown.
    fn take(&mut self, event: BoardEvent) -> bool {
        let Self { names, losses, .. } = self;
        match event {
            BoardEvent::Counted { at, wheel, counts } => {
                tracing::trace!(at = %at, board = names.board_of(wheel), wheel = names.wheel(wheel), counts = counts.get(), "counted");
            }
            BoardEvent::Lost { board, wheel, loss } => {
                if let Some(held_back) = losses.take(board, wheel, &loss) {
                    lost(names.board(board), names.wheel(wheel), &loss, held_back);
                }
                self.state.lost(board, wheel, loss);
            }
            BoardEvent::StateChanged => return self.take_changes(),
            BoardEvent::Position { .. }
            | BoardEvent::Report { .. }
            | BoardEvent::Device { .. }
            | BoardEvent::Unplugged { .. } => return false,
        }
        true
    }

    fn take_changes(&mut self) -> bool {
        let changes = self.listener.take_changes();
        for change in &changes {
            write(change, &self.names);
            if let StateChange::Board { board, change, .. } = change {
                self.notifications.board(*board, change, self.names.board(*board));
            }
        }
        !changes.is_empty()
    }

    /// What is kept for those who ask.
    #[must_use]
    pub const fn state(&self) -> &BridgeState {
        &self.state
    }

    /// What things are called now.
    #[must_use]
    pub const fn names(&self) -> &Names {
        &self.names
    }

    /// What is to be told to the user.
    pub const fn notifications(&mut self) -> &mut Notifications {
        &mut self.notifications
    }

    /// Another aircraft is flown or the rig has changed, whose boards are `boards`; what happened before has been
    /// drained.
    pub fn rename(&mut self, names: Names, boards: &[BoardIndex]) {
        self.recorder.apply(names.clone(), boards);
        self.names = names;
    }

    /// Writes the last events and what all the losses come to.
    pub fn close(&mut self) {
        let _ = self.drain();
        self.losses.summarise(&self.names);
    }
}

fn write(change: &StateChange, names: &Names) {
    match change {
        StateChange::Board { board, change, left_out } => {
            let board = names.board(*board);
            if *left_out > 0 {
                tracing::warn!(
                    board,
                    changes = left_out,
                    "the board came and went too often to say each time"
                );
            }
            match change {
                BoardChange::Reading { path, name } => {
                    tracing::info!(board, path, device = name, "reading the board");
                }
                BoardChange::Missing => tracing::warn!(board, "the board is not plugged in; waiting for it"),
                BoardChange::Gone => tracing::warn!(board, "the board is gone; waiting for it to come back"),
                BoardChange::Refused { reason, cure } => {
                    tracing::error!(board, reason, cure, "the board is there but cannot be read");
                }
                BoardChange::Hidden { twin } => {
                    tracing::info!(
                        board,
                        device = twin,
                        "the wheels are hidden; use this device for all else"
                    );
                }
                BoardChange::NotHidden { reason } => {
                    tracing::error!(board, reason, "the wheels are not hidden");
                }
            }
        }
        StateChange::Output { output, change, bad, left_out } => {
            if *left_out > 0 {
                tracing::warn!(output, changes = left_out, "the output changed too often to say each time");
            }
            if *bad {
                tracing::error!(output, "{change}");
            } else {
                tracing::info!(output, "{change}");
            }
        }
    }
}

fn lost(board: &str, wheel: &str, loss: &Loss, held_back: HeldBack) {
    tracing::warn!(
        target: LOSS_TARGET,
        board,
        wheel,
        reason = loss.kind.name(),
        certainty = loss.certainty.name(),
        fault = loss.kind.fault().name(),
        at = %loss.at,
        lasted_ms = loss.lasted.as_secs_f64() * 1e3,
        reports = loss.reports,
        margin = %loss.bound,
        put_right = loss.measured().map(Counts::get),
        held_back = held_back.losses,
        held_back_margin = %held_back.bound,
        "{}; {}",
        loss.kind.cause(),
        loss.kind.advice(),
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use tallywheel_units::Certainty;

    fn loss(kind: LossKind, at: u64) -> Loss {
        Loss {
            kind,
            certainty: Certainty::Inferred,
            at: Timestamp::from_micros(at * 1_000_000),
            lasted: Duration::ZERO,
            reports: 2,
            bound: Margin::both(Counts::ONE),
        }
    }

    #[test]
    fn one_line_at_once_then_one_in_ten_seconds_with_what_was_held_back() {
        let mut log = LossLog::default();
        let (board, wheel) = (BoardIndex::new(0), WheelIndex::new(0));
        let mut take = |at| log.take(board, wheel, &loss(LossKind::TopRate, at)).map(|held| held.losses);
        let lines: Vec<_> = (100..=131).filter_map(|at| take(at).map(|held| (at, held))).collect();
        assert_eq!(lines, [(100, 0), (110, 9), (120, 9), (130, 9)]);
        let entry = log.entries[&(wheel, LossKind::TopRate)];
        assert_eq!((entry.total, entry.held_back), (32, 1));
        assert_eq!(
            (entry.bound, entry.held_bound),
            (Margin::both(Counts::new(32)), Margin::both(Counts::ONE))
        );
    }

    #[test]
    fn kinds_and_wheels_do_not_hold_each_other_back() {
        let mut log = LossLog::default();
        let board = BoardIndex::new(0);
        let none = Some(HeldBack { losses: 0, bound: Margin::CERTAIN });
        for wheel in [0, 1].map(WheelIndex::new) {
            for kind in LossKind::ALL {
                assert_eq!(log.take(board, wheel, &loss(kind, 5)), none);
                let always = (kind == LossKind::BoardGone).then_some(none).flatten();
                assert_eq!(log.take(board, wheel, &loss(kind, 6)), always);
            }
        }
    }

    /// A clock that seems to run backwards, as after a board was plugged in again, holds back and no more.
    #[test]
    fn time_that_runs_backwards_writes_nothing_twice() {
        let mut log = LossLog::default();
        let (board, wheel) = (BoardIndex::new(0), WheelIndex::new(0));
        assert!(log.take(board, wheel, &loss(LossKind::TopRate, 50)).is_some());
        assert!(log.take(board, wheel, &loss(LossKind::TopRate, 20)).is_none());
        assert!(log.take(board, wheel, &loss(LossKind::TopRate, 60)).is_some());
    }
}
