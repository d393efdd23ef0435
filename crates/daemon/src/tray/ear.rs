//! What the tray hears of the notes that go through the journal.

use super::bulletin::{Message, Subject};
use crate::note::{BoardChange, Note};
use std::cell::RefCell;
use std::collections::BTreeSet;
use tallywheel_units::BoardIndex;
use tokio::sync::Notify;

/// Messages that wait to be taken; a tray takes them at once.
const NEWS_MAX: usize = 64;

/// Listens on the thread that writes the journal; the tray is tended on the same one.
#[derive(Debug, Default)]
pub struct Ear {
    reading: RefCell<BTreeSet<BoardIndex>>,
    news: RefCell<Vec<Message>>,
    stir: Notify,
}

impl Ear {
    /// Hears of a note. `name` is what its board is called.
    pub fn hear(&self, note: &Note, name: impl FnOnce(BoardIndex) -> String) {
        self.stir();
        let Note::Board { board, change } = note else { return };
        let read = matches!(change, BoardChange::Reading { .. });
        if read {
            self.reading.borrow_mut().insert(*board);
        } else {
            self.reading.borrow_mut().remove(board);
        }
        let (title, body, bad) = match change {
            BoardChange::Gone => {
                ("was unplugged", "Tallywheel waits for it. Align the trims when it is back.", true)
            }
            BoardChange::Reading { .. } => ("is back", "Align the trims if the wheels were turned.", false),
            // That is no news: either it never was there, or its loss was told already.
            BoardChange::Missing | BoardChange::Refused { .. } => return,
        };
        let title = format!("The board {} {title}", name(*board));
        self.tell(Message { subject: Subject::Board(*board), title, body: body.to_owned(), bad });
    }

    /// Something else that the user should be told.
    pub fn tell(&self, message: Message) {
        let mut news = self.news.borrow_mut();
        if news.len() < NEWS_MAX {
            news.push(message);
        }
        self.stir();
    }

    /// Something may look different now.
    pub fn stir(&self) {
        self.stir.notify_one();
    }

    /// Returns when something may look different.
    pub async fn stirred(&self) {
        self.stir.notified().await;
    }

    /// What is to be told since the last call.
    #[must_use]
    pub fn take_news(&self) -> Vec<Message> {
        self.news.take()
    }

    /// Whether a board is being read.
    #[must_use]
    pub fn reads(&self, board: BoardIndex) -> bool {
        self.reading.borrow().contains(&board)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tallywheel_units::Timestamp;

    #[test]
    fn every_change_of_a_board() {
        let board = BoardIndex::new(1);
        let reading =
            BoardChange::Reading { path: "/dev/hidraw0".to_owned(), name: "Bench board".to_owned() };
        let refused = BoardChange::Refused { reason: "no".to_owned(), cure: "yes".to_owned() };
        for (change, reads, news) in [
            (reading, true, Some(("The board main is back", false))),
            (BoardChange::Gone, false, Some(("The board main was unplugged", true))),
            (BoardChange::Missing, false, None),
            (refused, false, None),
        ] {
            for before in [false, true] {
                let ear = Ear::default();
                if before {
                    ear.reading.borrow_mut().insert(board);
                }
                ear.hear(&Note::Board { board, change: change.clone() }, |_| "main".to_owned());
                assert_eq!(ear.reads(board), reads, "{change:?}");
                let heard = ear.take_news();
                let heard = heard.first().map(|message| (message.title.as_str(), message.bad));
                assert_eq!(heard, news, "{change:?}");
                assert!(ear.take_news().is_empty());
            }
        }
        let ear = Ear::default();
        ear.hear(&Note::Unplugged { board, at: Timestamp::START }, |_| String::new());
        assert!(ear.take_news().is_empty() && !ear.reads(board));
    }
}
