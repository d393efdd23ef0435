//! What the tray hears of: notes that go through the event_log, and files that are taken up.

use crate::config_files::{ConfigFile, FileChange};
use crate::events::{BoardChange, BoardEvent};
use std::collections::BTreeSet;
use tallywheel_units::BoardIndex;

/// Messages that wait to be taken; a tray takes them at once, and without one they are not wanted.
const NEWS_MAX: usize = 64;
/// Of a file's mistakes a message has room for these.
const MISTAKES_MAX: usize = 3;

/// What a message is about. A newer message replaces the older one on the same subject.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Subject {
    /// A board of the rig.
    Board(BoardIndex),
    /// One of the user's files, by its name.
    File(String),
    /// Something that the menu was asked for.
    Wish,
}

/// One message to the user.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// What it is about.
    pub subject: Subject,
    /// One line.
    pub title: String,
    /// More of it, perhaps several lines; plain text.
    pub body: String,
    /// Whether something has to be done.
    pub bad: bool,
}

/// Remembers which boards are read, and what is to be told.
#[derive(Debug, Default)]
pub struct Notifications {
    reading: BTreeSet<BoardIndex>,
    news: Vec<Message>,
}

impl Notifications {
    /// Hears of a note. `name` is what its board is called.
    pub fn hear(&mut self, note: &BoardEvent, name: impl FnOnce(BoardIndex) -> String) {
        let BoardEvent::Board { board, change } = note else { return };
        match change {
            BoardChange::Reading { .. } => self.reading.insert(*board),
            BoardChange::Gone | BoardChange::Missing | BoardChange::Refused { .. } => {
                self.reading.remove(board)
            }
            // Whether its wheels are hidden or not, it is read.
            BoardChange::Hidden { .. } | BoardChange::NotHidden { .. } => return,
        };
        let (title, body, bad) = match change {
            BoardChange::Gone => {
                ("was unplugged", "Tallywheel waits for it. Align the trims when it is back.", true)
            }
            BoardChange::Reading { .. } => ("is back", "Align the trims if the wheels were turned.", false),
            // That is no news: either it never was there, or its loss was told already.
            _ => return,
        };
        let title = format!("The board {} {title}", name(*board));
        self.tell(Message { subject: Subject::Board(*board), title, body: body.to_owned(), bad });
    }

    /// Hears of a file that changed.
    pub fn file(&mut self, which: &ConfigFile, news: &FileChange) {
        let (title, body, bad) = match news {
            FileChange::Good => (format!("The {which} file is valid again"), String::new(), false),
            FileChange::Gone => (format!("The {which} file is gone"), String::new(), false),
            FileChange::Wrong(reason) => {
                let mut lines: Vec<_> = reason.lines().take(MISTAKES_MAX).collect();
                if reason.lines().count() > MISTAKES_MAX {
                    lines.push("and more: see `tallywheel check`");
                }
                lines.push("What it said before stays in use.");
                (format!("The {which} file is not valid"), lines.join("\n"), true)
            }
        };
        self.tell(Message { subject: Subject::File(which.to_string()), title, body, bad });
    }

    /// What is to be told since the last call.
    #[must_use]
    pub fn take_news(&mut self) -> Vec<Message> {
        std::mem::take(&mut self.news)
    }

    /// Whether a board is being read.
    #[must_use]
    pub fn reads(&self, board: BoardIndex) -> bool {
        self.reading.contains(&board)
    }

    fn tell(&mut self, message: Message) {
        if self.news.len() < NEWS_MAX {
            self.news.push(message);
        }
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
            (reading.clone(), true, Some(("The board main is back", false))),
            (BoardChange::Gone, false, Some(("The board main was unplugged", true))),
            (BoardChange::Missing, false, None),
            (refused, false, None),
        ] {
            for before in [false, true] {
                let mut ear = Notifications::default();
                if before {
                    ear.hear(&BoardEvent::Board { board, change: reading.clone() }, |_| "main".to_owned());
                    assert_eq!(ear.take_news().len(), 1);
                }
                ear.hear(&BoardEvent::Board { board, change: change.clone() }, |_| "main".to_owned());
                assert_eq!(ear.reads(board), reads, "{change:?}");
                let heard = ear.take_news();
                let heard = heard.first().map(|message| (message.title.as_str(), message.bad));
                assert_eq!(heard, news, "{change:?}");
                assert!(ear.take_news().is_empty());
            }
        }
        let mut ear = Notifications::default();
        ear.hear(&BoardEvent::Unplugged { board, at: Timestamp::START }, |_| String::new());
        assert!(ear.take_news().is_empty() && !ear.reads(board));
    }

    #[test]
    fn a_file_with_many_mistakes_fits_a_message() {
        let mut ear = Notifications::default();
        let wrong: Vec<_> =
            (1..=5).map(|line| format!("rig.toml:{line}:1: wheel: expected x, found y")).collect();
        ear.file(&ConfigFile::Rig, &FileChange::Wrong(wrong.join("\n")));
        let news = ear.take_news();
        assert_eq!(news[0].title, "The rig file is not valid");
        assert_eq!(news[0].body.lines().count(), MISTAKES_MAX + 2, "{}", news[0].body);
        for _ in 0..100 {
            ear.file(&ConfigFile::Aircraft("kettrin".to_owned()), &FileChange::Good);
        }
        assert_eq!(ear.take_news().len(), NEWS_MAX);
    }
}
