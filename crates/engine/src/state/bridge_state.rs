//! What the main loop has made of the events, for those who ask: the losses; how boards and outputs stand is in the slots.

use super::status::{BoardState, BoardStatus, LossStatus, Losses, Trouble};
use crate::runtime_config::Names;
use crate::slots::{BoardChange, StateSlots};
use std::collections::VecDeque;
use std::sync::Arc;
use tallywheel_units::{BoardIndex, Loss, Timestamp, WheelIndex};
use tokio::sync::watch;

/// Losses that are kept to be looked at; a page of them.
const LOSSES_KEPT: usize = 100;

/// Tells those who look on that something changed. Any thread may have one.
#[derive(Debug, Default)]
pub struct Changes(watch::Sender<u64>);

impl Changes {
    /// Tells all that look on that something changed.
    pub fn changed(&self) {
        self.0.send_modify(|number| *number = number.wrapping_add(1));
    }

    /// A number that is another one after every change.
    #[must_use]
    pub fn changes(&self) -> watch::Receiver<u64> {
        self.0.subscribe()
    }
}

/// The state that the main loop owns.
#[derive(Debug)]
pub struct BridgeState {
    slots: Arc<StateSlots>,
    losses: VecDeque<(BoardIndex, WheelIndex, Loss)>,
    older: u64,
    changes: Arc<Changes>,
}

impl BridgeState {
    /// Without losses, and with boards and outputs as `slots` says at any time.
    #[must_use]
    pub fn new(slots: Arc<StateSlots>) -> Self {
        Self { slots, losses: VecDeque::new(), older: 0, changes: Arc::default() }
    }

    /// A loss was found.
    pub fn lost(&mut self, board: BoardIndex, wheel: WheelIndex, loss: Loss) {
        if self.losses.len() == LOSSES_KEPT {
            self.losses.pop_front();
            self.older = self.older.saturating_add(1);
        }
        self.losses.push_back((board, wheel, loss));
    }

    /// Events that were lost on the way may have been losses.
    pub const fn missed(&mut self, events: u64) {
        self.older = self.older.saturating_add(events);
    }

    /// What tells of changes.
    #[must_use]
    pub const fn changes(&self) -> &Arc<Changes> {
        &self.changes
    }

    /// How boards and outputs stand.
    #[must_use]
    pub fn slots(&self) -> &StateSlots {
        &self.slots
    }

    /// How the board with this index stands, which is called `name`; `None` is a board that has none yet.
    #[must_use]
    pub fn board(&self, board: Option<BoardIndex>, name: &str) -> BoardStatus {
        let mut status = BoardStatus {
            name: name.to_owned(),
            state: BoardState::Starting,
            path: None,
            device: None,
            reason: None,
            cure: None,
            twin: None,
            not_hidden: None,
        };
        let slot = board.map(|board| self.slots.board(board)).unwrap_or_default();
        match slot.hiding {
            Some(BoardChange::Hidden { twin }) => status.twin = Some(twin),
            Some(BoardChange::NotHidden { reason }) => status.not_hidden = Some(reason),
            _ => {}
        }
        match slot.reading {
            None | Some(BoardChange::Hidden { .. } | BoardChange::NotHidden { .. }) => {}
            Some(BoardChange::Reading { path, name }) => {
                status.state = BoardState::Reading;
                (status.path, status.device) = (Some(path), Some(name));
            }
            Some(change @ (BoardChange::Missing | BoardChange::Gone)) => {
                let gone = matches!(change, BoardChange::Gone);
                status.state = if gone { BoardState::Gone } else { BoardState::Missing };
                status.reason = Some(if gone { "it was unplugged" } else { "it is not plugged in" }.into());
                status.cure = Some(
                    "plug it in; if it is, compare usb, serial and path in rig.toml with `tallywheel boards`"
                        .into(),
                );
            }
            Some(BoardChange::Refused { reason, cure }) => {
                status.state = BoardState::Refused;
                (status.reason, status.cure) = (Some(reason), Some(cure));
            }
        }
        status
    }

    /// The last losses as seen at `now`, the newest last.
    #[must_use]
    pub fn losses(&self, now: Timestamp, names: &Names) -> Losses {
        let losses = self.losses.iter().map(|(board, wheel, loss)| {
            let ago = now.since(loss.at).as_secs_f64();
            LossStatus::new(names.board(*board), names.wheel(*wheel), loss, ago)
        });
        Losses { losses: losses.collect(), older: self.older }
    }

    /// What went wrong last with an output, as seen at `now`.
    #[must_use]
    pub fn trouble(&self, now: Timestamp, output: &str) -> Option<Trouble> {
        let (at, what) = self.slots.trouble(output)?;
        Some(Trouble { what, seconds_ago: now.since(at).as_secs_f64() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;
    use tallywheel_units::{Certainty, Counts, LossKind, Margin};

    fn names() -> Names {
        let rig = tallywheel_profile::rig("rig.toml", include_str!("../../../../config/rig.toml")).unwrap();
        let text = include_str!("../../../../config/aircraft/kettrin-2-floatplane.toml");
        let aircraft = tallywheel_profile::aircraft("kettrin.toml", text).unwrap();
        crate::runtime_config::build(&rig, &aircraft).unwrap().names
    }

    fn loss() -> Loss {
        Loss {
            kind: LossKind::TopRate,
            certainty: Certainty::Inferred,
            at: Timestamp::START,
            lasted: Duration::from_millis(20),
            reports: 3,
            bound: Margin::new(Counts::ZERO, Counts::new(2)),
        }
    }

    #[test]
    fn the_last_hundred_losses_stay_and_the_others_are_counted() {
        let mut state = BridgeState::new(Arc::default());
        for _ in 0..250 {
            state.lost(BoardIndex::new(0), WheelIndex::new(1), loss());
        }
        state.missed(7);
        let losses = state.losses(Timestamp::from_micros(3_000_000), &names());
        assert_eq!((losses.losses.len(), losses.older), (LOSSES_KEPT, 157));
        let newest = losses.losses.last().unwrap();
        assert_eq!((newest.margin, newest.lasted_ms, newest.seconds_ago), (Some([0, 2]), 20.0, 3.0));
        assert_eq!((newest.board.as_str(), newest.wheel.as_str()), ("main", "elevator"));
    }

    #[test]
    fn every_state_of_a_board_has_its_status() {
        let slots = Arc::<StateSlots>::default();
        let (state, place) = (BridgeState::new(Arc::clone(&slots)), BoardIndex::new(3));
        assert_eq!(state.board(Some(place), "main").state, BoardState::Starting);
        let said = |change| {
            slots.set_board(place, change);
            let board = state.board(Some(place), "main");
            (board.state, board.cure.is_some(), board.path, board.twin)
        };
        let path = || Some("/dev/hidraw3".to_owned());
        assert_eq!(said(BoardChange::Missing), (BoardState::Missing, true, None, None));
        let reading = BoardChange::Reading { path: "/dev/hidraw3".into(), name: "Bench board".into() };
        assert_eq!(said(reading), (BoardState::Reading, false, path(), None));
        let twin = "Bench twin".to_owned();
        let hidden = BoardChange::Hidden { twin: twin.clone() };
        assert_eq!(said(hidden), (BoardState::Reading, false, path(), Some(twin)));
        assert_eq!(said(BoardChange::Gone), (BoardState::Gone, true, None, None));
        let refused = BoardChange::Refused { reason: "permission denied".into(), cure: "a rule".into() };
        assert_eq!(said(refused), (BoardState::Refused, true, None, None));
        assert_eq!(state.board(None, "other").state, BoardState::Starting);
    }

    #[test]
    fn those_who_look_on_are_told_once_for_several_changes() {
        let changes = Changes::default();
        let mut looking = changes.changes();
        changes.changed();
        changes.changed();
        assert!(looking.has_changed().unwrap());
        looking.mark_unchanged();
        assert!(!looking.has_changed().unwrap());
    }
}
