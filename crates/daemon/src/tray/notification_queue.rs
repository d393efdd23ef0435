//! A queue of notifications, for a desktop that shows one at a time and lets a new one replace the one that is read.

use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};
use tallywheel_engine::notifications::Message;
use tokio::sync::Notify;

/// The most messages in the queue.
pub const WAITING_MAX: usize = 16;

/// The messages that wait to be shown, in the order in which they came.
#[derive(Debug, Default)]
pub struct NotificationQueue {
    waiting: Mutex<VecDeque<Message>>,
    more: Notify,
}

impl NotificationQueue {
    /// Queues a message, in place of one on the same subject that still waits. Does not wait.
    ///
    /// # Errors
    /// The message, where [`WAITING_MAX`] others wait already.
    pub fn push(&self, message: Message) -> Result<(), Message> {
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        waiting.retain(|other| other.subject != message.subject);
        if waiting.len() >= WAITING_MAX {
            return Err(message);
        }
        waiting.push_back(message);
        drop(waiting);
        self.more.notify_one();
        Ok(())
    }

    /// Takes the first message, as soon as there is one. Nothing is lost where the caller gives up waiting.
    pub async fn next(&self) -> Message {
        loop {
            let first = self.waiting.lock().unwrap_or_else(PoisonError::into_inner).pop_front();
            if let Some(message) = first {
                return message;
            }
            self.more.notified().await;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tallywheel_engine::notifications::Subject;
    use tallywheel_units::BoardIndex;

    fn message(board: u8, title: &str) -> Message {
        let subject = Subject::Board(BoardIndex::new(board));
        Message { subject, title: title.to_owned(), body: String::new(), bad: true }
    }

    #[tokio::test]
    async fn in_turn_and_the_newest_of_each_subject() {
        let queue = NotificationQueue::default();
        for (board, title) in [(0, "lost"), (1, "lost"), (0, "back")] {
            queue.push(message(board, title)).unwrap();
        }
        assert_eq!(queue.next().await, message(1, "lost"));
        assert_eq!(queue.next().await, message(0, "back"));
        // One that comes while somebody waits is handed over.
        let (next, ()) = tokio::join!(queue.next(), async { queue.push(message(2, "lost")).unwrap() });
        assert_eq!(next, message(2, "lost"));
    }

    #[tokio::test]
    async fn what_does_not_fit_comes_back() {
        let queue = NotificationQueue::default();
        let boards: Vec<_> = (0..).take(WAITING_MAX + 1).collect();
        let (last, fitting) = boards.split_last().unwrap();
        for board in fitting {
            queue.push(message(*board, "lost")).unwrap();
        }
        assert_eq!(queue.push(message(*last, "lost")), Err(message(*last, "lost")));
        queue.push(message(0, "back")).expect("it takes another's place");
        assert_eq!(queue.next().await, message(1, "lost"));
        queue.push(message(*last, "lost")).expect("one went");
    }
}
