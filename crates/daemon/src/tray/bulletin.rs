//! What the desktop is told in words: a board that was lost or came back, a file that is wrong. Single losses are
//! not news; the icon's mark is enough. No I/O and no clock.

use std::collections::BTreeMap;
use std::time::Duration;
use tallywheel_engine::notifications::{Message, Subject};
use tallywheel_units::Timestamp;

/// Between two messages on one subject at least this much time passes; what happens in between is told as it
/// stands then, if it is still news.
pub const MESSAGE_EVERY: Duration = Duration::from_secs(10);

/// The most subjects that are remembered.
const SUBJECTS_MAX: usize = 256;

/// Remembers what was told.
#[derive(Debug, Default)]
pub struct Bulletin(BTreeMap<Subject, Thread>);

#[derive(Debug, Default)]
struct Thread {
    told: Option<(Timestamp, Message)>,
    news: Option<Message>,
}

impl Bulletin {
    /// Something is wrong, or right again. That all is well is news only after something was wrong.
    pub fn take(&mut self, message: Message) {
        if self.0.len() >= SUBJECTS_MAX && !self.0.contains_key(&message.subject) {
            self.0.retain(|_, thread| thread.news.is_some());
        }
        let thread = self.0.entry(message.subject.clone()).or_default();
        let told_bad = thread.told.as_ref().is_some_and(|(_, told)| told.bad);
        let told_same = thread.told.as_ref().is_some_and(|(_, told)| *told == message);
        // What a user asked for is answered each time.
        let answer = message.subject == Subject::Wish;
        let news = answer || if message.bad { !told_same } else { told_bad };
        thread.news = news.then_some(message);
    }

    /// The next message to be told now.
    pub fn due(&mut self, now: Timestamp) -> Option<Message> {
        let thread = self.0.values_mut().find(|thread| thread.due_at().is_some_and(|at| at <= now))?;
        let message = thread.news.take()?;
        thread.told = Some((now, message.clone()));
        Some(message)
    }

    /// When [`Self::due`] has something; `None` while nothing waits.
    #[must_use]
    pub fn deadline(&self) -> Option<Timestamp> {
        self.0.values().filter_map(Thread::due_at).min()
    }
}

impl Thread {
    fn due_at(&self) -> Option<Timestamp> {
        let news = self.news.as_ref()?;
        match &self.told {
            Some((at, _)) if news.subject != Subject::Wish => Some(at.after(MESSAGE_EVERY)),
            _ => Some(Timestamp::START),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tallywheel_units::BoardIndex;

    fn message(subject: Subject, title: &str, bad: bool) -> Message {
        Message { subject, title: title.to_owned(), body: String::new(), bad }
    }

    /// Plays changes at their seconds, and tells what is told at which second.
    fn told(changes: &[(u64, &str, bool)]) -> Vec<(u64, String)> {
        let mut bulletin = Bulletin::default();
        let mut told = Vec::new();
        for second in 0..60 {
            for (_, title, bad) in changes.iter().filter(|(at, ..)| *at == second) {
                bulletin.take(message(Subject::Board(BoardIndex::new(0)), title, *bad));
            }
            let now = Timestamp::from_micros(second * 1_000_000);
            assert_eq!(bulletin.deadline().is_some_and(|at| at <= now), {
                let due = bulletin.due(now);
                told.extend(due.iter().map(|message| (second, message.title.clone())));
                due.is_some()
            });
        }
        assert_eq!(bulletin.deadline(), None);
        told
    }

    fn check(changes: &[(u64, &str, bool)], expected: &[(u64, &str)]) {
        let expected: Vec<_> = expected.iter().map(|(at, title)| (*at, (*title).to_owned())).collect();
        assert_eq!(told(changes), expected, "{changes:?}");
    }

    /// Every order of lost and back in which something else is told.
    #[test]
    fn what_is_told_of_a_board() {
        check(&[(1, "back", false)], &[]);
        check(&[(1, "lost", true)], &[(1, "lost")]);
        check(&[(1, "lost", true), (20, "back", false)], &[(1, "lost"), (20, "back")]);
        check(&[(1, "lost", true), (3, "back", false)], &[(1, "lost"), (11, "back")]);
        check(&[(1, "lost", true), (3, "back", false), (4, "lost", true)], &[(1, "lost")]);
        check(
            &[(1, "lost", true), (3, "back", false), (12, "lost", true), (13, "back", false)],
            &[(1, "lost"), (11, "back")],
        );
        check(&[(1, "lost", true), (1, "back", false)], &[]);
        check(&[(1, "line 3", true), (30, "line 3", true)], &[(1, "line 3")]);
        check(&[(1, "line 3", true), (2, "line 5", true)], &[(1, "line 3"), (11, "line 5")]);
    }

    #[test]
    fn a_loose_plug_is_told_at_most_once_in_ten_seconds() {
        let changes: Vec<_> =
            (0..40).map(|n| (n, if n % 2 == 0 { "lost" } else { "back" }, n % 2 == 0)).collect();
        let told = told(&changes);
        assert!(!told.is_empty() && told.windows(2).all(|two| two[1].0 - two[0].0 >= 10), "{told:?}");
    }

    #[test]
    fn subjects_do_not_hold_each_other_back_and_answers_are_not_held_back() {
        let mut bulletin = Bulletin::default();
        let boards = [0, 1].map(|n| Subject::Board(BoardIndex::new(n)));
        let subjects = [boards[0].clone(), boards[1].clone(), Subject::File("rig".to_owned())];
        for subject in subjects.clone() {
            bulletin.take(message(subject, "bad", true));
        }
        let now = Timestamp::from_micros(7);
        let told: Vec<_> = std::iter::from_fn(|| bulletin.due(now)).map(|message| message.subject).collect();
        assert_eq!(told, subjects);
        for _ in 0..2 {
            bulletin.take(message(Subject::Wish, "no such place", true));
            assert!(bulletin.due(now).is_some());
        }
    }
}
