use std::io;
use std::net::{SocketAddr, ToSocketAddrs};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;

/// How a name becomes addresses; it may take minutes.
pub(super) type Resolve = fn(&str, u16) -> io::Result<Vec<SocketAddr>>;

/// Asks the operating system.
pub(super) fn system(name: &str, port: u16) -> io::Result<Vec<SocketAddr>> {
    Ok((name, port).to_socket_addrs()?.collect())
}

/// Lookups that may be under way at once in the whole program. A lookup that nobody waits for any more cannot be
/// stopped, so without a limit they could pile up.
const MOST_AT_ONCE: usize = 16;

/// How many lookups are under way.
#[derive(Debug, Default)]
pub(super) struct UnderWay(AtomicUsize);

impl UnderWay {
    /// None.
    pub(super) const fn new() -> Self {
        Self(AtomicUsize::new(0))
    }
}

type Answer = Arc<Mutex<Option<io::Result<Vec<SocketAddr>>>>>;

/// A name being looked up on a thread of its own.
#[derive(Debug)]
pub(super) struct Lookup {
    answer: Answer,
}

impl Lookup {
    /// # Errors
    /// Where the system gives no thread, or too many lookups are under way.
    pub(super) fn start(
        name: &str,
        port: u16,
        resolve: Resolve,
        under_way: &'static UnderWay,
    ) -> io::Result<Self> {
        let slot = Slot::take(under_way)?;
        let answer = Answer::default();
        let (place, name) = (Arc::clone(&answer), name.to_owned());
        thread::Builder::new().name("lookup".into()).spawn(move || {
            let found = resolve(&name, port);
            *place.lock().unwrap_or_else(PoisonError::into_inner) = Some(found);
            drop(slot);
        })?;
        Ok(Self { answer })
    }

    /// The answer, once; `None` while there is none. Never waits.
    pub(super) fn answer(&self) -> Option<io::Result<Vec<SocketAddr>>> {
        self.answer.try_lock().ok()?.take()
    }
}

/// One of the lookups that may be under way.
struct Slot(&'static UnderWay);

impl Slot {
    fn take(under_way: &'static UnderWay) -> io::Result<Self> {
        let slot = Self(under_way);
        if under_way.0.fetch_add(1, Ordering::Relaxed) >= MOST_AT_ONCE {
            // Dropping the slot takes it back.
            return Err(io::Error::new(io::ErrorKind::ResourceBusy, "too many names are being looked up"));
        }
        Ok(slot)
    }
}

impl Drop for Slot {
    fn drop(&mut self) {
        self.0.0.fetch_sub(1, Ordering::Relaxed);
    }
}
