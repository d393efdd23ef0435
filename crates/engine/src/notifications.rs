//! What the user is to be told by the tray: boards that come and go, and files that are taken up.

use crate::config_files::{ConfigFile, FileChange};
use crate::slots::BoardChange;
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

/// What is to be told to the user, until somebody takes it.
#[derive(Debug, Default)]
pub struct Notifications {
    news: Vec<Message>,
}

impl Notifications {
    /// A board, which is called `name`, stands so now.
    pub fn board(&mut self, board: BoardIndex, change: &BoardChange, name: &str) {
        let (title, body, bad) = match change {
            BoardChange::Gone => {
                ("was unplugged", "Tallywheel waits for it. Align the trims when it is back.", true)
            }
            BoardChange::Reading { .. } => ("is back", "Align the trims if the wheels were turned.", false),
            // Missing or refused is no news: either it never was there, or its loss was told already.
            _ => return,
        };
        let title = format!("The board {name} {title}");
        self.tell(Message { subject: Subject::Board(board), title, body: body.to_owned(), bad });
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

    fn tell(&mut self, message: Message) {
        if self.news.len() < NEWS_MAX {
            self.news.push(message);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_change_of_a_board() {
        let board = BoardIndex::new(1);
        let reading =
            BoardChange::Reading { path: "/dev/hidraw0".to_owned(), name: "Bench board".to_owned() };
        let refused = BoardChange::Refused { reason: "no".to_owned(), cure: "yes".to_owned() };
        for (change, news) in [
            (reading, Some(("The board main is back", false))),
            (BoardChange::Gone, Some(("The board main was unplugged", true))),
            (BoardChange::Missing, None),
            (refused, None),
            (BoardChange::Hidden { twin: String::new() }, None),
        ] {
            let mut notifications = Notifications::default();
            notifications.board(board, &change, "main");
            let heard = notifications.take_news();
            let heard = heard.first().map(|message| (message.title.as_str(), message.bad));
            assert_eq!(heard, news, "{change:?}");
            assert!(notifications.take_news().is_empty());
        }
    }

    #[test]
    fn a_file_with_many_mistakes_fits_a_message() {
        let mut notifications = Notifications::default();
        let wrong: Vec<_> =
            (1..=5).map(|line| format!("rig.toml:{line}:1: wheel: expected x, found y")).collect();
        notifications.file(&ConfigFile::Rig, &FileChange::Wrong(wrong.join("\n")));
        let news = notifications.take_news();
        assert_eq!(news[0].title, "The rig file is not valid");
        assert_eq!(news[0].body.lines().count(), MISTAKES_MAX + 2, "{}", news[0].body);
        for _ in 0..100 {
            notifications.file(&ConfigFile::Aircraft("kettrin".to_owned()), &FileChange::Good);
        }
        assert_eq!(notifications.take_news().len(), NEWS_MAX);
    }
}
