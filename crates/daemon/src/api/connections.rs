//! Holds connections within limits.
//!
//! | what | limit |
//! |---|---|
//! | connections at once | 64; more wait until one ends |
//! | requests in a connection | 1 |
//! | a request's headers | 32, 16 KiB together, within 5 seconds |
//! | its body | 4 KiB, within 5 seconds |
//! | a connection that is no stream | 15 seconds |
//! | streams at once | 16; more are refused |
//! | what is written of a stream and not taken | one status, and what the system's socket holds |

use axum::Router;
use hyper::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;

/// The most connections that are open at once.
pub const CONNECTIONS_MAX: usize = 64;
const HEADERS_MAX: usize = 32;
const HEADER_BYTES_MAX: usize = 16 * 1024;
const HEADER_TIME: Duration = Duration::from_secs(5);
const CONNECTION_TIME: Duration = Duration::from_secs(15);
/// The pause after the system had no handle for a connection; it needs time to get some back.
const OUT_OF_HANDLES: Duration = Duration::from_secs(1);

/// Marks a connection that lasts for as long as its stream.
#[derive(Debug, Clone, Default)]
pub struct LongLived(Arc<AtomicBool>);

impl LongLived {
    /// Marks the connection as that of a stream.
    pub fn allow(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    fn is(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// Listens on loopback, at a port that the system chooses, and returns the listener and its address.
///
/// # Errors
/// The system's, where the machine has no loopback or no port left.
pub fn listen() -> std::io::Result<(std::net::TcpListener, SocketAddr)> {
    let listener = std::net::TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
    listener.set_nonblocking(true)?;
    let at = listener.local_addr()?;
    Ok((listener, at))
}

/// Serves `router` at `listener` for as long as it is polled.
///
/// # Errors
/// The system's, where it cannot wait for the listener.
pub async fn serve(listener: std::net::TcpListener, router: Router) -> std::io::Result<()> {
    let listener = TcpListener::from_std(listener)?;
    let slots = Arc::new(Semaphore::new(CONNECTIONS_MAX));
    // The semaphore is never closed.
    while let Ok(slot) = Arc::clone(&slots).acquire_owned().await {
        match listener.accept().await {
            Ok((connection, _)) => {
                let router = router.clone();
                tokio::spawn(async move {
                    serve_connection(connection, router).await;
                    drop(slot);
                });
            }
            Err(_) => tokio::time::sleep(OUT_OF_HANDLES).await,
        }
    }
    Ok(())
}

async fn serve_connection(connection: TcpStream, router: Router) {
    let long_lived = LongLived::default();
    let mark = long_lived.clone();
    let router = TowerToHyperService::new(router);
    let service = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(mark.clone());
        router.call(request)
    });
    let mut connection = std::pin::pin!(
        http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEADER_TIME)
            .max_headers(HEADERS_MAX)
            .max_buf_size(HEADER_BYTES_MAX)
            .keep_alive(false)
            .serve_connection(TokioIo::new(connection), service)
    );
    // An error of the connection is the client's own affair.
    tokio::select! {
        _ = &mut connection => return,
        () = tokio::time::sleep(CONNECTION_TIME) => {}
    }
    if long_lived.is() {
        let _ = connection.await;
    }
}
