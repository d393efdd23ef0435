//! Which datagrams are news. No I/O and no clock.
//!
//! A sender is known by the `session` that it says, or else by its address and port; either is another one when it
//! starts again, so its numbers may begin anew.
//!
//! | heard so far | the datagram is | verdict | then |
//! |---|---|---|---|
//! | nobody | anybody's | fresh, a new session | that one is heard |
//! | one | its own, the number higher than all before | fresh | |
//! | one | its own, the same number or a lower one | late | |
//! | one | of one that was heard before it | superseded | |
//! | one | of another | fresh, a new session | that one is heard, the other was before it |
//! | one, and nothing fresh of it for the time after which it is gone | | gone | nobody was ever heard |
//!
//! So a repeated, late or replayed datagram does nothing as long as the simulator reports, and whatever went wrong
//! with numbers is over after the time of silence.

use super::message::Message;
use std::collections::VecDeque;
use std::net::SocketAddr;
use std::time::Duration;
use tallywheel_units::Timestamp;

/// How many sessions before the one that is heard are remembered.
const SUPERSEDED: usize = 8;

/// Who sends.
#[derive(Debug, Clone, PartialEq, Eq)]
enum SenderId {
    Session(String),
    Address(SocketAddr),
}

/// The one sender that is heard.
#[derive(Debug)]
pub struct SimulatorSession {
    gone_after: Duration,
    current: Option<Current>,
    superseded: VecDeque<SenderId>,
}

#[derive(Debug)]
struct Current {
    who: SenderId,
    sequence: u64,
    heard: Timestamp,
}

/// What a datagram is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// FileChange; `new_session` if its sender was not heard just before.
    Fresh {
        /// It is the first one of a session.
        new_session: bool,
    },
    /// Older than what is known, or the same again.
    Late,
    /// From a sender that another one has taken the place of.
    Superseded,
}

impl SimulatorSession {
    /// That has heard nobody yet.
    #[must_use]
    pub const fn new(gone_after: Duration) -> Self {
        Self { gone_after, current: None, superseded: VecDeque::new() }
    }

    /// The simulator counts as gone after another time of silence from now on.
    pub const fn set_gone_after(&mut self, gone_after: Duration) {
        self.gone_after = gone_after;
    }

    /// Takes a datagram.
    pub fn take(&mut self, at: Timestamp, from: SocketAddr, message: &Message) -> Verdict {
        let who = message.session.clone().map_or(SenderId::Address(from), SenderId::Session);
        let sequence = message.sequence;
        if let Some(current) = &mut self.current
            && current.who == who
        {
            if sequence <= current.sequence {
                return Verdict::Late;
            }
            current.sequence = sequence;
            current.heard = at;
            return Verdict::Fresh { new_session: false };
        }
        if self.superseded.contains(&who) {
            return Verdict::Superseded;
        }
        if let Some(before) = self.current.replace(Current { who, sequence, heard: at }) {
            if self.superseded.len() == SUPERSEDED {
                self.superseded.pop_front();
            }
            self.superseded.push_back(before.who);
        }
        Verdict::Fresh { new_session: true }
    }

    /// Whether the simulator reports.
    #[must_use]
    pub const fn is_up(&self) -> bool {
        self.current.is_some()
    }

    /// When the simulator counts as gone if nothing comes; `None` while nobody is heard.
    #[must_use]
    pub fn deadline(&self) -> Option<Timestamp> {
        self.current.as_ref().map(|current| current.heard.after(self.gone_after))
    }

    /// Forgets everything if the simulator is gone by `at`; says whether it is.
    pub fn gone(&mut self, at: Timestamp) -> bool {
        let gone = self.deadline().is_some_and(|deadline| deadline <= at);
        if gone {
            self.current = None;
            self.superseded.clear();
        }
        gone
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Verdict::{Late, Superseded};

    const NEW: Verdict = Verdict::Fresh { new_session: true };
    const MORE: Verdict = Verdict::Fresh { new_session: false };

    fn check(sent: &[(u64, &str, u16, u64, Verdict)]) {
        let mut link = SimulatorSession::new(Duration::from_secs(5));
        for (place, (seconds, session, port, sequence, verdict)) in sent.iter().enumerate() {
            let at = Timestamp::from_micros(seconds * 1_000_000);
            link.gone(at);
            let session = (!session.is_empty()).then(|| (*session).to_owned());
            let message = Message { sequence: *sequence, session, title: None, trims: vec![], paused: None };
            let from = SocketAddr::from(([127, 0, 0, 1], *port));
            assert_eq!(link.take(at, from, &message), *verdict, "datagram {place}");
        }
    }

    #[test]
    fn late_and_repeated_ones_are_no_news() {
        check(&[
            (0, "", 1, 7, NEW),
            (0, "", 1, 8, MORE),
            (0, "", 1, 8, Late),
            (0, "", 1, 7, Late),
            (0, "", 1, 20, MORE),
            (0, "", 1, 19, Late),
            (0, "", 1, u64::MAX, MORE),
            (0, "", 1, 0, Late),
        ]);
    }

    #[test]
    fn a_sender_that_starts_again_is_heard_and_its_last_run_is_not() {
        check(&[
            (0, "a", 1, 900, NEW),
            (1, "b", 1, 0, NEW),
            (1, "a", 1, 901, Superseded),
            (1, "b", 2, 1, MORE),
        ]);
        check(&[(0, "", 1, 900, NEW), (1, "", 2, 0, NEW), (1, "", 1, 901, Superseded), (1, "", 2, 1, MORE)]);
    }

    #[test]
    fn silence_forgets_all() {
        check(&[(0, "", 1, 900, NEW), (4, "", 1, 5, Late), (5, "", 1, 6, NEW)]);
        check(&[(0, "a", 1, 9, NEW), (1, "b", 1, 1, NEW), (6, "a", 1, 1, NEW)]);
    }

    #[test]
    fn another_time_of_silence_counts_at_once_and_forgets_nobody() {
        let mut link = SimulatorSession::new(Duration::from_secs(3600));
        let at = |seconds: u64| Timestamp::from_micros(seconds * 1_000_000);
        let from = SocketAddr::from(([127, 0, 0, 1], 1));
        let message =
            |sequence| Message { sequence, session: None, title: None, trims: vec![], paused: None };
        assert_eq!(link.take(at(0), from, &message(1)), NEW);
        link.set_gone_after(Duration::from_secs(2));
        assert_eq!(link.deadline(), Some(at(2)));
        assert_eq!(link.take(at(1), from, &message(2)), MORE);
        assert!(!link.gone(at(2)) && link.gone(at(3)));
    }

    #[test]
    fn old_sessions_need_little_memory() {
        let mut sent: Vec<(u64, String, u16, u64, Verdict)> =
            (0..100).map(|n| (0, format!("s{n}"), 1, 1, NEW)).collect();
        sent.push((0, "s95".into(), 1, 9, Superseded));
        let sent: Vec<_> = sent.iter().map(|(at, s, p, n, v)| (*at, s.as_str(), *p, *n, *v)).collect();
        check(&sent);
    }

    #[test]
    fn nobody_heard_needs_no_timer() {
        let mut link = SimulatorSession::new(Duration::from_secs(5));
        assert!(
            link.deadline().is_none() && !link.is_up() && !link.gone(Timestamp::from_micros(u64::MAX / 1000))
        );
    }
}
