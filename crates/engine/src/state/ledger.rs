//! What the notes said, kept for those who ask: how each board stands, the last losses, what ails the outputs.

use super::status::{BoardState, BoardStatus, LossStatus, Losses, Trouble};
use crate::clock::Clock;
use crate::events::{BoardChange, BoardEvent};
use crate::runtime_config::Names;
use std::collections::{BTreeMap, VecDeque};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tallywheel_units::{BoardIndex, Loss, Timestamp, WheelIndex};
use tokio::sync::watch;

/// Losses that are kept to be looked at; a page of them.
pub const LOSSES_KEPT: usize = 100;
/// Outputs whose last trouble is remembered; no aircraft file has so many.
const TROUBLES_KEPT: usize = 64;

/// The ledger.
#[derive(Debug)]
pub struct Ledger {
    clock: Clock,
    pages: Mutex<Pages>,
    changes: watch::Sender<u64>,
}

#[derive(Debug, Default)]
struct Pages {
    boards: BTreeMap<usize, BoardChange>,
    hiding: BTreeMap<usize, BoardChange>,
    losses: VecDeque<(BoardIndex, WheelIndex, Loss)>,
    older: u64,
    troubles: BTreeMap<String, (Timestamp, String)>,
}

impl Ledger {
    /// An empty one that goes by `clock`.
    #[must_use]
    pub fn new(clock: Clock) -> Self {
        Self { clock, pages: Mutex::default(), changes: watch::Sender::new(0) }
    }

    /// Takes what a note says, and tells whether it changes what is shown.
    pub fn note(&self, note: &BoardEvent) -> bool {
        let mut pages = self.pages();
        match note {
            // Whether its wheels are hidden goes with how it is read, and ends with that.
            BoardEvent::Board {
                board,
                change: change @ (BoardChange::Hidden { .. } | BoardChange::NotHidden { .. }),
            } => {
                pages.hiding.insert(board.get(), change.clone());
            }
            BoardEvent::Board { board, change } => {
                pages.hiding.remove(&board.get());
                pages.boards.insert(board.get(), change.clone());
            }
            BoardEvent::Lost { board, wheel, loss } => {
                if pages.losses.len() == LOSSES_KEPT {
                    pages.losses.pop_front();
                    pages.older = pages.older.saturating_add(1);
                }
                pages.losses.push_back((*board, *wheel, *loss));
            }
            BoardEvent::Output { output, change, bad: true }
                if pages.troubles.len() < TROUBLES_KEPT || pages.troubles.contains_key(output) =>
            {
                pages.troubles.insert(output.clone(), (self.clock.now(), change.clone()));
            }
            BoardEvent::Report { .. } | BoardEvent::Device { .. } | BoardEvent::Unplugged { .. } => {
                return false;
            }
            _ => {}
        }
        true
    }

    /// EventSender that were lost on the way may have been losses.
    pub fn missed(&self, notes: u64) {
        let mut pages = self.pages();
        pages.older = pages.older.saturating_add(notes);
    }

    /// Tells all that look on that something changed.
    pub fn changed(&self) {
        self.changes.send_modify(|number| *number = number.wrapping_add(1));
    }

    /// Rises with every change.
    #[must_use]
    pub fn changes(&self) -> watch::Receiver<u64> {
        self.changes.subscribe()
    }

    /// How the board at this place stands, which is called `name`.
    #[must_use]
    pub fn board(&self, place: BoardIndex, name: &str) -> BoardStatus {
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
        let pages = self.pages();
        match pages.hiding.get(&place.get()) {
            Some(BoardChange::Hidden { twin }) => status.twin = Some(twin.clone()),
            Some(BoardChange::NotHidden { reason }) => status.not_hidden = Some(reason.clone()),
            _ => {}
        }
        match pages.boards.get(&place.get()) {
            None | Some(BoardChange::Hidden { .. } | BoardChange::NotHidden { .. }) => {}
            Some(BoardChange::Reading { path, name }) => {
                status.state = BoardState::Reading;
                (status.path, status.device) = (Some(path.clone()), Some(name.clone()));
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
                (status.reason, status.cure) = (Some(reason.clone()), Some(cure.clone()));
            }
        }
        status
    }

    /// The last losses, the newest last.
    #[must_use]
    pub fn losses(&self, names: &Names) -> Losses {
        let (now, pages) = (self.clock.now(), self.pages());
        let losses = pages.losses.iter().map(|(board, wheel, loss)| {
            let ago = now.since(loss.at).as_secs_f64();
            LossStatus::new(names.board(*board), names.wheel(*wheel), loss, ago)
        });
        Losses { losses: losses.collect(), older: pages.older }
    }

    /// What went wrong last with an output.
    #[must_use]
    pub fn trouble(&self, output: &str) -> Option<Trouble> {
        let (now, pages) = (self.clock.now(), self.pages());
        let (at, what) = pages.troubles.get(output)?;
        Some(Trouble { what: what.clone(), seconds_ago: now.since(*at).as_secs_f64() })
    }

    fn pages(&self) -> MutexGuard<'_, Pages> {
        self.pages.lock().unwrap_or_else(PoisonError::into_inner)
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

    fn lost() -> BoardEvent {
        BoardEvent::Lost {
            board: BoardIndex::new(0),
            wheel: WheelIndex::new(1),
            loss: Loss {
                kind: LossKind::TopRate,
                certainty: Certainty::Inferred,
                at: Timestamp::START,
                lasted: Duration::from_millis(20),
                reports: 3,
                bound: Margin::new(Counts::ZERO, Counts::new(2)),
            },
        }
    }

    #[test]
    fn the_last_hundred_losses_stay_and_the_others_are_counted() {
        let (ledger, names) = (Ledger::new(Clock::start()), names());
        for _ in 0..250 {
            assert!(ledger.note(&lost()));
        }
        ledger.missed(7);
        let losses = ledger.losses(&names);
        assert_eq!((losses.losses.len(), losses.older), (LOSSES_KEPT, 157));
        let newest = losses.losses.last().unwrap();
        assert_eq!((newest.margin, newest.lasted_ms), (Some([0, 2]), 20.0));
        assert_eq!((newest.board.as_str(), newest.wheel.as_str()), ("main", "elevator"));
        assert!(newest.seconds_ago >= 0.0);
    }

    #[test]
    fn a_board_is_as_it_was_last_said_to_be() {
        let (ledger, place) = (Ledger::new(Clock::start()), BoardIndex::new(3));
        assert_eq!(ledger.board(place, "main").state, BoardState::Starting);
        let said = |change| {
            ledger.note(&BoardEvent::Board { board: place, change });
            let board = ledger.board(place, "main");
            (board.state, board.cure.is_some(), board.path)
        };
        assert_eq!(said(BoardChange::Missing), (BoardState::Missing, true, None));
        let reading = BoardChange::Reading { path: "/dev/hidraw3".into(), name: "Bench board".into() };
        assert_eq!(said(reading), (BoardState::Reading, false, Some("/dev/hidraw3".into())));
        let hidden = BoardChange::Hidden { twin: "Bench twin".into() };
        assert_eq!(said(hidden), (BoardState::Reading, false, Some("/dev/hidraw3".into())));
        assert_eq!(ledger.board(place, "main").twin.as_deref(), Some("Bench twin"));
        assert_eq!(said(BoardChange::Gone), (BoardState::Gone, true, None));
        assert_eq!(ledger.board(place, "main").twin, None);
        let refused = BoardChange::Refused { reason: "permission denied".into(), cure: "a rule".into() };
        assert_eq!(said(refused), (BoardState::Refused, true, None));
        assert_eq!(ledger.board(BoardIndex::new(0), "other").state, BoardState::Starting);
    }

    #[test]
    fn an_output_keeps_its_last_trouble_and_good_news_is_none() {
        let ledger = Ledger::new(Clock::start());
        let note =
            |change: &str, bad| BoardEvent::Output { output: "axis".into(), change: change.into(), bad };
        ledger.note(&note("open", false));
        assert_eq!(ledger.trouble("axis"), None);
        ledger.note(&note("no module: load it", true));
        assert_eq!(ledger.trouble("axis").unwrap().what, "no module: load it");
        ledger.note(&note("open again", false));
        assert!(ledger.trouble("axis").is_some() && ledger.trouble("other").is_none());
    }

    #[test]
    fn those_who_look_on_are_told_once_for_several_changes() {
        let ledger = Ledger::new(Clock::start());
        let mut changes = ledger.changes();
        ledger.changed();
        ledger.changed();
        assert!(changes.has_changed().unwrap());
        changes.mark_unchanged();
        assert!(!changes.has_changed().unwrap());
        // What belongs to the recording of the last hour is nothing to show.
        let unplugged = BoardEvent::Unplugged { board: BoardIndex::new(0), at: Timestamp::START };
        assert!(!ledger.note(&unplugged));
    }
}
