//! A stream of changes, as server-sent events (WHATWG HTML, section 9.2): each event is a whole status.
//!
//! Nothing is queued: the status is made when the last one has left, so a slow reader gets fewer and never an
//! old one, and a resting wheel costs nothing.

use super::daemon_api::DaemonApi;
use axum::body::{Bytes, HttpBody};
use hyper::body::Frame;
use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, watch};
use tokio::time::Instant;

/// Between two events at least this much time passes.
const BETWEEN_EVENTS: Duration = Duration::from_millis(100);

/// The state from which events are made.
struct Source {
    daemon: Arc<dyn DaemonApi>,
    changes: watch::Receiver<u64>,
    /// When the last event was made; `None` before the first, which is made at once.
    last: Option<Instant>,
    _permit: OwnedSemaphorePermit,
}

/// The next event and the state for the one after it; `None` at the end.
type Next = Pin<Box<dyn Future<Output = Option<(Source, Bytes)>> + Send>>;

/// The body of the answer to `/v1/stream`.
pub struct Stream {
    next: Next,
    over: bool,
}

impl Stream {
    /// Streams the status of `daemon` until the client leaves or the daemon ends; then `permit` is given back.
    pub fn new(daemon: Arc<dyn DaemonApi>, permit: OwnedSemaphorePermit) -> Self {
        let changes = daemon.changes();
        let source = Source { daemon, changes, last: None, _permit: permit };
        Self { next: Box::pin(event(source)), over: false }
    }
}

async fn event(mut source: Source) -> Option<(Source, Bytes)> {
    if let Some(last) = source.last {
        // The daemon ends where nobody is left to tell of changes.
        source.changes.changed().await.ok()?;
        tokio::time::sleep_until(last + BETWEEN_EVENTS).await;
    }
    source.changes.mark_unchanged();
    source.last = Some(Instant::now());
    let mut event = b"event: status\ndata: ".to_vec();
    serde_json::to_writer(&mut event, &source.daemon.status().await.ok()?).ok()?;
    event.extend_from_slice(b"\n\n");
    Some((source, event.into()))
}

impl HttpBody for Stream {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        if self.over {
            return Poll::Ready(None);
        }
        match ready!(self.next.as_mut().poll(context)) {
            Some((source, bytes)) => {
                self.next = Box::pin(event(source));
                Poll::Ready(Some(Ok(Frame::data(bytes))))
            }
            None => {
                self.over = true;
                Poll::Ready(None)
            }
        }
    }
}
