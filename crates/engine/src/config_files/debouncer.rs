//! When a folder in which something changes is worth reading.
//!
//! No I/O and no clock. An editor saves by renaming, by writing in place, or by emptying the file and writing
//! later; scripts save many files in a row. So after a change it is quiet for a moment before the files are
//! read, longer where a file is still open for writing, and never so long that a save waits 200 ms:
//!
//! | last change | the files are read |
//! |---|---|
//! | finished: closed, renamed, deleted | 20 ms after it, at the latest 120 ms after the first finished one |
//! | ongoing: written to and still open | 150 ms after it, at the latest 1 s after the first, or 120 ms after one that finished |

use std::time::Duration;
use tallywheel_units::Timestamp;

const FINISHED_QUIET: Duration = Duration::from_millis(20);
const FINISHED_LATEST: Duration = Duration::from_millis(120);
const ONGOING_QUIET: Duration = Duration::from_millis(150);
const ONGOING_LATEST: Duration = Duration::from_secs(1);

/// A change in the folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileEvent {
    /// A file is as whoever changed it wants it.
    Finished,
    /// A file is being written.
    Ongoing,
}

/// Changes that were not looked at yet.
#[derive(Debug, Clone, Copy, Default)]
pub struct Debouncer(Option<Waiting>);

#[derive(Debug, Clone, Copy)]
struct Waiting {
    first: Timestamp,
    first_finished: Option<Timestamp>,
    last: Timestamp,
    kind: FileEvent,
}

impl Debouncer {
    /// Something changed.
    pub fn touch(&mut self, at: Timestamp, kind: FileEvent) {
        let waiting = self.0.get_or_insert(Waiting { first: at, first_finished: None, last: at, kind });
        waiting.last = at;
        waiting.kind = kind;
        if kind == FileEvent::Finished {
            waiting.first_finished.get_or_insert(at);
        }
    }

    /// When the files are to be read; `None` while nothing changed.
    #[must_use]
    pub fn due(&self) -> Option<Timestamp> {
        let Waiting { first, first_finished, last, kind } = self.0?;
        let quiet = match kind {
            FileEvent::Finished => last.after(FINISHED_QUIET),
            FileEvent::Ongoing => last.after(ONGOING_QUIET).min(first.after(ONGOING_LATEST)),
        };
        Some(first_finished.map_or(quiet, |finished| quiet.min(finished.after(FINISHED_LATEST))))
    }

    /// The files are read now, as far as that is due; says whether it is.
    pub fn take(&mut self, at: Timestamp) -> bool {
        let due = self.due().is_some_and(|due| due <= at);
        if due {
            self.0 = None;
        }
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use FileEvent::{Finished, Ongoing};

    /// Milliseconds.
    fn at(ms: u64) -> Timestamp {
        Timestamp::from_micros(ms * 1000)
    }

    fn due(touches: &[(u64, FileEvent)]) -> u64 {
        let mut settle = Debouncer::default();
        for (ms, kind) in touches {
            settle.touch(at(*ms), *kind);
        }
        settle.due().unwrap().micros() / 1000
    }

    #[test]
    fn a_save_is_read_soon_after_it_is_finished() {
        assert_eq!(due(&[(1000, Finished)]), 1020);
        assert_eq!(due(&[(1000, Ongoing), (1001, Finished)]), 1021);
        assert_eq!(due(&[(1000, Ongoing)]), 1150);
        assert_eq!(due(&[(1000, Ongoing), (1100, Ongoing)]), 1250);
    }

    #[test]
    fn emptied_and_written_later_is_one_save() {
        assert_eq!(due(&[(0, Finished), (10, Ongoing)]), 120);
        assert_eq!(due(&[(0, Finished), (10, Ongoing), (60, Finished)]), 80);
    }

    #[test]
    fn no_burst_keeps_a_finished_file_waiting() {
        let burst: Vec<_> = (0..100).map(|n| (n * 10, Finished)).collect();
        assert_eq!(due(&burst), 120);
        let mixed: Vec<_> = (0..100).map(|n| (n * 10, if n == 5 { Finished } else { Ongoing })).collect();
        assert_eq!(due(&mixed), 170);
        let open: Vec<_> = (0..200).map(|n| (n * 10, Ongoing)).collect();
        assert_eq!(due(&open), 1000);
    }

    #[test]
    fn it_is_read_once() {
        let mut settle = Debouncer::default();
        assert!(!settle.take(at(5)) && settle.due().is_none());
        settle.touch(at(10), Finished);
        assert!(!settle.take(at(29)));
        assert!(settle.take(at(30)));
        assert!(settle.due().is_none() && !settle.take(at(31)));
    }
}
