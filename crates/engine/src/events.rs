//! What the readers' threads tell the main loop, without ever waiting for it.
//!
//! Events go through a bounded channel; when it is full they are counted, not waited for. A change of state is none of
//! them: it is in its slot ([`StateSlots`]), and the channel only wakes. The listener is rung only when it says that it
//! sleeps, so a turning wheel costs one wake-up per burst, and a resting wheel none.

use crate::recording_filter::{RecordedPosition, RecordedSample};
use crate::slots::{BoardChange, StateChange, StateSlots};
use crossbeam_channel::{Receiver, Sender, TrySendError};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use tallywheel_hid_reader::RecordedDevice;
use tallywheel_units::{BoardIndex, Counts, Loss, Timestamp, WheelIndex};
use tokio::sync::Notify;

/// The most events that wait to be read; a second and a half of a wheel at full tilt on a 1 ms board, which
/// makes two events a report. The main loop reads five times a second. 96 bytes each.
const QUEUE_EVENTS: usize = 3072;

/// Something that happened.
#[derive(Debug, Clone, PartialEq)]
pub enum BoardEvent {
    /// A wheel moved.
    Counted {
        /// When the report was read.
        at: Timestamp,
        /// The wheel.
        wheel: WheelIndex,
        /// Counts, forward positive, never 0.
        counts: Counts,
    },
    /// Counts may be missing.
    Lost {
        /// The board.
        board: BoardIndex,
        /// The wheel.
        wheel: WheelIndex,
        /// Kind, time and margin of the loss.
        loss: Loss,
    },
    /// Where a trim was before the next sample, for the recording of the last hour.
    Position {
        /// The board whose sample follows.
        board: BoardIndex,
        /// The trim and its position.
        position: RecordedPosition,
    },
    /// A report for the recording of the last hour.
    Report {
        /// The board.
        board: BoardIndex,
        /// The report, or its first 64 bytes.
        sample: RecordedSample,
    },
    /// The board of that recording is now this one.
    Device {
        /// The board.
        board: BoardIndex,
        /// Name, numbers and report descriptor of the device.
        device: Box<RecordedDevice>,
    },
    /// A board was unplugged, for that recording.
    Unplugged {
        /// The board.
        board: BoardIndex,
        /// When its reader found out.
        at: Timestamp,
    },
    /// The slots have changes of state to be read.
    StateChanged,
}

#[derive(Debug)]
struct Bell {
    listener_sleeps: AtomicBool,
    ring: Notify,
    held_back: AtomicU64,
}

/// The sending side, one for each thread.
#[derive(Debug, Clone)]
pub struct EventSender {
    queue: Sender<BoardEvent>,
    bell: Arc<Bell>,
    slots: Arc<StateSlots>,
}

/// The listening side.
#[derive(Debug)]
pub struct EventReceiver {
    queue: Receiver<BoardEvent>,
    bell: Arc<Bell>,
    slots: Arc<StateSlots>,
}

/// Both ends of a new channel.
#[must_use]
pub fn channel() -> (EventSender, EventReceiver) {
    let (send, receive) = crossbeam_channel::bounded(QUEUE_EVENTS);
    let bell = Arc::new(Bell {
        listener_sleeps: AtomicBool::new(false),
        ring: Notify::new(),
        held_back: AtomicU64::new(0),
    });
    let slots = Arc::<StateSlots>::default();
    let sender = EventSender { queue: send, bell: Arc::clone(&bell), slots: Arc::clone(&slots) };
    (sender, EventReceiver { queue: receive, bell, slots })
}

impl EventSender {
    /// Posts an event; never waits.
    pub fn post(&self, event: BoardEvent) {
        if let Err(TrySendError::Full(_)) = self.queue.try_send(event) {
            self.bell.held_back.fetch_add(1, Ordering::Relaxed);
        }
        self.ring();
    }

    /// A board stands so from now on. Whatever the queue holds, that is known.
    pub fn board(&self, board: BoardIndex, change: BoardChange) {
        if self.slots.set_board(board, change) {
            self.state_changed();
        }
    }

    /// Something happened to an output at `at`; `change` is for people. Whatever the queue holds, that is known.
    pub fn output(&self, at: Timestamp, output: &str, change: String, bad: bool) {
        self.slots.set_output(at, output, change, bad);
        self.state_changed();
    }

    /// How everything stands.
    #[must_use]
    pub fn slots(&self) -> &StateSlots {
        &self.slots
    }

    fn state_changed(&self) {
        // In a full queue something waits to be read, and the slots are read after that.
        let _ = self.queue.try_send(BoardEvent::StateChanged);
        self.ring();
    }

    fn ring(&self) {
        if self.bell.listener_sleeps.swap(false, Ordering::SeqCst) {
            self.bell.ring.notify_one();
        }
    }
}

impl EventReceiver {
    /// How everything stands.
    #[must_use]
    pub const fn slots(&self) -> &Arc<StateSlots> {
        &self.slots
    }

    /// The changes of state since the last call.
    #[must_use]
    pub fn take_changes(&self) -> Vec<StateChange> {
        self.slots.take_unread()
    }

    /// The next event, if one waits already.
    #[must_use]
    pub fn try_next(&self) -> Option<BoardEvent> {
        self.queue.try_recv().ok()
    }

    /// How many events were lost to a full queue since the last call.
    #[must_use]
    pub fn take_held_back(&self) -> u64 {
        self.bell.held_back.swap(0, Ordering::Relaxed)
    }

    /// Whether something waits already.
    #[must_use]
    pub fn is_awake(&self) -> bool {
        !self.queue.is_empty() || self.slots.has_unread()
    }

    /// Returns when something may be waiting. Sleeps without a timer until then.
    pub async fn wait(&self) {
        self.bell.listener_sleeps.store(true, Ordering::SeqCst);
        // An event posted before the flag was up rang no bell; look once more before going to sleep.
        if !self.is_awake() {
            self.bell.ring.notified().await;
        }
        self.bell.listener_sleeps.store(false, Ordering::SeqCst);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    fn counted(n: i64) -> BoardEvent {
        BoardEvent::Counted { at: Timestamp::START, wheel: WheelIndex::new(0), counts: Counts::new(n) }
    }

    #[test]
    fn a_full_queue_counts_what_it_could_not_take() {
        let (events, listener) = channel();
        for n in 0..3076 {
            events.post(counted(n));
        }
        assert_eq!(listener.take_held_back(), 4);
        assert_eq!(listener.take_held_back(), 0);
        assert_eq!(std::iter::from_fn(|| listener.try_next()).count(), QUEUE_EVENTS);
    }

    #[test]
    fn a_sleeping_listener_is_woken_by_the_first_event() {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
        let (events, listener) = channel();
        let sender = std::thread::spawn(move || {
            std::thread::sleep(Duration::from_millis(20));
            events.post(counted(1));
            events
        });
        runtime.block_on(async {
            tokio::time::timeout(Duration::from_secs(20), listener.wait()).await.expect("never woken");
        });
        assert_eq!(listener.try_next(), Some(counted(1)));
        drop(sender.join());
    }

    #[test]
    fn an_event_that_was_already_there_is_not_slept_over() {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
        let (events, listener) = channel();
        events.post(counted(1));
        runtime.block_on(async {
            tokio::time::timeout(Duration::from_secs(20), listener.wait())
                .await
                .expect("slept over an event");
        });
        assert_eq!(listener.try_next(), Some(counted(1)));
    }

    /// A reader posts more than fits while its board comes and goes: how it stands is known in the end, whatever was lost.
    #[test]
    fn a_flood_of_events_drops_no_change_of_state() {
        let (events, listener) = channel();
        let board = BoardIndex::new(0);
        let mut known = None;
        for round in 0..200_u32 {
            let flood = events.clone();
            let reader = std::thread::spawn(move || (0..5000).for_each(|n| flood.post(counted(n))));
            let reading = BoardChange::Reading { path: round.to_string(), name: "board".into() };
            events.board(board, reading.clone());
            if round % 3 == 0 {
                events.board(board, BoardChange::Gone);
            }
            reader.join().unwrap();
            while listener.try_next().is_some() {}
            for change in listener.take_changes() {
                if let StateChange::Board { change, .. } = change {
                    known = Some(change);
                }
            }
            let wanted = if round % 3 == 0 { BoardChange::Gone } else { reading };
            assert_eq!(
                (known.as_ref(), listener.slots().board(board).reading.as_ref()),
                (Some(&wanted), Some(&wanted))
            );
        }
        assert!(listener.take_held_back() > 0, "the queue was full");
    }
}
