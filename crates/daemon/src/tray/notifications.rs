//! Decides which notifications the desktop shows: of a board that was lost or came back, of a file that is not valid.
//! A single loss makes none; the icon's mark is enough. No I/O and no clock.

use std::collections::BTreeMap;
use std::time::Duration;
use tallywheel_engine::notifications::{Message, Subject};
use tallywheel_units::Timestamp;

/// The least time between two notifications on one subject; of what happens in between, the last is shown then, if it
/// is still new.
pub const NOTIFICATION_INTERVAL: Duration = Duration::from_secs(10);

/// The most subjects that are kept.
const SUBJECTS_MAX: usize = 256;

/// The notifications of each subject: the last one shown and the one that waits.
#[derive(Debug, Default)]
pub struct NotificationSchedule(BTreeMap<Subject, SubjectState>);

#[derive(Debug, Default)]
struct SubjectState {
    shown: Option<(Timestamp, Message)>,
    waiting: Option<Message>,
}

impl NotificationSchedule {
    /// Adds a message. One that says that all is well is shown only after one that said that something was wrong.
    pub fn add(&mut self, message: Message) {
        if self.0.len() >= SUBJECTS_MAX && !self.0.contains_key(&message.subject) {
            self.0.retain(|_, state| state.waiting.is_some());
        }
        let state = self.0.entry(message.subject.clone()).or_default();
        let shown_bad = state.shown.as_ref().is_some_and(|(_, shown)| shown.bad);
        let shown_same = state.shown.as_ref().is_some_and(|(_, shown)| *shown == message);
        // What a user asked for is answered every time.
        let answer = message.subject == Subject::Wish;
        let is_new = answer || if message.bad { !shown_same } else { shown_bad };
        state.waiting = is_new.then_some(message);
    }

    /// Returns the next message that is to be shown at `now`.
    pub fn due(&mut self, now: Timestamp) -> Option<Message> {
        let state = self.0.values_mut().find(|state| state.due_at().is_some_and(|at| at <= now))?;
        let message = state.waiting.take()?;
        state.shown = Some((now, message.clone()));
        Some(message)
    }

    /// When [`Self::due`] returns a message; `None` while none waits.
    #[must_use]
    pub fn deadline(&self) -> Option<Timestamp> {
        self.0.values().filter_map(SubjectState::due_at).min()
    }
}

impl SubjectState {
    fn due_at(&self) -> Option<Timestamp> {
        let waiting = self.waiting.as_ref()?;
        match &self.shown {
            Some((at, _)) if waiting.subject != Subject::Wish => Some(at.after(NOTIFICATION_INTERVAL)),
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

    /// Plays changes at their seconds and returns what is shown at which second.
    fn told(changes: &[(u64, &str, bool)]) -> Vec<(u64, String)> {
        let mut notifications = NotificationSchedule::default();
        let mut told = Vec::new();
        for second in 0..60 {
            for (_, title, bad) in changes.iter().filter(|(at, ..)| *at == second) {
                notifications.add(message(Subject::Board(BoardIndex::new(0)), title, *bad));
            }
            let now = Timestamp::from_micros(second * 1_000_000);
            assert_eq!(notifications.deadline().is_some_and(|at| at <= now), {
                let due = notifications.due(now);
                told.extend(due.iter().map(|message| (second, message.title.clone())));
                due.is_some()
            });
        }
        assert_eq!(notifications.deadline(), None);
        told
    }

    fn check(changes: &[(u64, &str, bool)], expected: &[(u64, &str)]) {
        let expected: Vec<_> = expected.iter().map(|(at, title)| (*at, (*title).to_owned())).collect();
        assert_eq!(told(changes), expected, "{changes:?}");
    }

    /// Every order of lost and back in which something else is shown.
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
        let mut notifications = NotificationSchedule::default();
        let boards = [0, 1].map(|n| Subject::Board(BoardIndex::new(n)));
        let subjects = [boards[0].clone(), boards[1].clone(), Subject::File("rig".to_owned())];
        for subject in subjects.clone() {
            notifications.add(message(subject, "bad", true));
        }
        let now = Timestamp::from_micros(7);
        let told: Vec<_> =
            std::iter::from_fn(|| notifications.due(now)).map(|message| message.subject).collect();
        assert_eq!(told, subjects);
        for _ in 0..2 {
            notifications.add(message(Subject::Wish, "no such place", true));
            assert!(notifications.due(now).is_some());
        }
    }
}
