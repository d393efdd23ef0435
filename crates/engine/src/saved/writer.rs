//! Writes to the disk on a thread of its own, the newest only.

use super::format::Positions;
use super::store::Store;
use std::collections::BTreeMap;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};

/// The thread and what it is to write.
#[derive(Debug)]
pub(super) struct Writer {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

#[derive(Debug, Default)]
struct Shared {
    work: Mutex<Work>,
    new: Condvar,
}

/// What is not written yet. A slow disk writes fewer, never older ones.
#[derive(Debug, Default)]
struct Work {
    positions: BTreeMap<String, Positions>,
    last_aircraft: Option<String>,
    end: bool,
}

impl Writer {
    /// Where the system gives no thread, nothing is saved, which is logged.
    pub(super) fn start(store: Store) -> Self {
        let shared = Arc::new(Shared::default());
        let theirs = Arc::clone(&shared);
        let builder = thread::Builder::new().name("saver".into()).stack_size(128 * 1024);
        let thread = builder.spawn(move || theirs.run(&store));
        if let Err(error) = &thread {
            tracing::error!("positions cannot be saved: no thread: {error}");
        }
        Self { shared, thread: thread.ok() }
    }

    pub(super) fn positions(&self, stem: &str, positions: Positions) {
        self.shared.lock().positions.insert(stem.to_owned(), positions);
        self.shared.new.notify_one();
    }

    pub(super) fn last_aircraft(&self, stem: &str) {
        self.shared.lock().last_aircraft = Some(stem.to_owned());
        self.shared.new.notify_one();
    }

    /// Waits until everything is written.
    pub(super) fn close(self) {
        self.shared.lock().end = true;
        self.shared.new.notify_one();
        if let Some(thread) = self.thread {
            let _ = thread.join();
        }
    }
}

impl Shared {
    fn run(&self, store: &Store) {
        let mut failing = false;
        while let Some(work) = self.next() {
            let last = work.last_aircraft.as_deref().map_or(Ok(()), |stem| store.write_last_aircraft(stem));
            let mut positions = work.positions.iter().map(|(stem, positions)| store.write(stem, positions));
            let written = last.and(positions.try_for_each(|written| written));
            match &written {
                Ok(()) if failing => tracing::info!("positions are saved again"),
                Err(error) if !failing => tracing::error!("positions cannot be saved: {error}"),
                _ => {}
            }
            failing = written.is_err();
        }
    }

    /// Sleeps until there is something to write; `None` at the end.
    fn next(&self) -> Option<Work> {
        let mut work = self.lock();
        loop {
            if !work.positions.is_empty() || work.last_aircraft.is_some() {
                let end = work.end;
                let taken = std::mem::take(&mut *work);
                work.end = end;
                return Some(taken);
            }
            if work.end {
                return None;
            }
            work = self.new.wait(work).unwrap_or_else(PoisonError::into_inner);
        }
    }

    fn lock(&self) -> MutexGuard<'_, Work> {
        self.work.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
