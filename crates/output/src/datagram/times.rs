//! When a datagram may go out, when it must, and what time it says.
//!
//! Everything that can happen, with a limit on the rate (`min`), a keep-alive (`keep`), or neither:
//!
//! | before | a frame | what happens | deadline after it |
//! |---|---|---|---|
//! | nothing sent yet | any | sent | its time + keep |
//! | sent | nothing changed, keep not over | nothing | the last one + keep |
//! | sent | nothing changed, keep over | sent again | its time + keep |
//! | sent | changed, no min or min over | sent | its time + keep |
//! | sent | changed, min not over | held | the last one + min |
//! | held | still changed, min not over | held | the last one + min |
//! | held | still changed, min over | sent, the newest only | its time + keep |
//! | held | back to what was sent | nothing | the last one + keep |
//! | any | to be sent, and it did not get out | nothing counts as sent | its time + [`RESEND_AFTER`] |
//!
//! Without a keep-alive its deadline is none.

use super::encoder::Stamp;
use crate::Epoch;
use std::time::Duration;
use tallywheel_profile::DatagramConfig;
use tallywheel_units::Timestamp;

/// How long after a full send buffer the position is sent again: long enough not to make a busy machine
/// busier, short enough for a hand not to notice.
pub(super) const RESEND_AFTER: Duration = Duration::from_millis(100);

/// The times of one output's datagrams.
#[derive(Debug, Clone)]
pub(super) struct Times {
    epoch: Epoch,
    min_interval: Duration,
    keep_alive: Option<Duration>,
    sent_at: Option<Timestamp>,
    deadline: Option<Timestamp>,
    next: Stamp,
}

impl Times {
    pub(super) const fn new(config: &DatagramConfig, epoch: Epoch) -> Self {
        Self {
            epoch,
            min_interval: config.min_interval,
            keep_alive: config.keep_alive,
            sent_at: None,
            deadline: None,
            next: Stamp { sequence: 0, time_us: 0 },
        }
    }

    /// Whether to send now. If not, [`Self::deadline`] is when to ask again.
    pub(super) fn is_due(&mut self, at: Timestamp, changed: bool) -> bool {
        let Some(sent_at) = self.sent_at else { return true };
        // Two boards' frames may come in another order than their times.
        if changed && self.min_interval.is_zero() {
            return true;
        }
        let until = if changed {
            Some(sent_at.after(self.min_interval))
        } else {
            self.keep_alive.map(|every| sent_at.after(every))
        };
        self.deadline = until;
        until.is_some_and(|until| at >= until)
    }

    /// What the datagram of `at` says of itself. Its time is later than that of every one before.
    pub(super) fn stamp(&mut self, at: Timestamp) -> Stamp {
        let now = self.epoch.unix_micros(at);
        self.next.time_us = self.next.time_us.max(now);
        self.next
    }

    /// The datagram of `at` went out.
    pub(super) fn sent(&mut self, at: Timestamp) {
        self.next = Stamp {
            sequence: self.next.sequence.wrapping_add(1),
            time_us: self.next.time_us.saturating_add(1),
        };
        self.sent_at = Some(at);
        self.deadline = self.keep_alive.map(|every| at.after(every));
    }

    /// It did not, and there is no room for it at the moment.
    pub(super) fn held_up(&mut self, at: Timestamp) {
        self.deadline = Some(at.after(RESEND_AFTER));
    }

    /// It did not, and whoever opens the output again says when to go on.
    pub(super) const fn lost(&mut self) {
        self.deadline = None;
    }

    /// When to ask again although nothing moves.
    pub(super) const fn deadline(&self) -> Option<Timestamp> {
        self.deadline
    }
}
