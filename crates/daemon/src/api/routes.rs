//! What can be asked and how it is answered. Mistakes are answered as RFC 9457 has it.

use super::guard::{Guard, HEADERS, Turned};
use super::helm::{Helm, Refusal, Refused};
use super::stream::Stream;
use super::{OPENAPI, serve::Long};
use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Request, State};
use axum::http::header::{CONTENT_LENGTH, CONTENT_TYPE, HeaderName, HeaderValue, WWW_AUTHENTICATE};
use axum::http::{HeaderMap, StatusCode};
use axum::middleware::{self, Next};
use axum::response::Response;
use axum::routing::{MethodRouter, get, post, put};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Semaphore;

/// The largest body that is read; the largest command has a few names in it.
pub const BODY_BYTES_MAX: usize = 4096;
/// How long a body may take.
const BODY_TIME: Duration = Duration::from_secs(5);
/// How long a command may take before the asker is told that it was not heard of.
const COMMAND_TIME: Duration = Duration::from_secs(5);
/// Streams that are open at once.
pub const STREAMS_MAX: usize = 16;

/// What all answers come from.
#[derive(Clone)]
pub struct Desk {
    helm: Arc<dyn Helm>,
    guard: Arc<Guard>,
    streams: Arc<Semaphore>,
}

/// Every path with its methods, so that a test can hold the description against them.
#[must_use]
pub fn table() -> Vec<(&'static str, &'static [&'static str], MethodRouter<Desk>)> {
    vec![
        ("/v1/status", &["get"], get(status)),
        ("/v1/stream", &["get"], get(stream)),
        ("/v1/losses", &["get"], get(losses)),
        ("/v1/align", &["post"], post(align)),
        ("/v1/aircraft", &["get", "put"], get(hangar).put(fly)),
        ("/v1/hold", &["put"], put(hold)),
        ("/v1/reload", &["post"], post(reload)),
        ("/v1/log", &["put"], put(log)),
        ("/v1/openapi.json", &["get"], get(openapi)),
    ]
}

/// All of it behind `guard`.
pub fn router(helm: Arc<dyn Helm>, guard: Guard) -> Router {
    let desk = Desk { helm, guard: Arc::new(guard), streams: Arc::new(Semaphore::new(STREAMS_MAX)) };
    let mut router = Router::new();
    for (path, _, methods) in table() {
        router = router.route(path, methods);
    }
    router
        .fallback(async || {
            problem(StatusCode::NOT_FOUND, "there is nothing at this path", "see /v1/openapi.json")
        })
        .method_not_allowed_fallback(async || {
            problem(StatusCode::METHOD_NOT_ALLOWED, "this path has another method", "see /v1/openapi.json")
        })
        .layer(middleware::from_fn_with_state(desk.clone(), gate))
        .with_state(desk)
}

/// Asks the guard, and puts on every answer what must stand on it.
async fn gate(State(desk): State<Desk>, request: Request, next: Next) -> Response {
    let mut response = match desk.guard.check(request.headers()) {
        Ok(()) => next.run(request).await,
        Err(turned) => {
            let mut response = problem(turned.status(), turned.what(), "use `tallywheel status`");
            if turned == Turned::Unknown {
                response.headers_mut().insert(WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
            }
            response
        }
    };
    for (name, value) in HEADERS {
        response.headers_mut().insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    response
}

async fn status(State(desk): State<Desk>) -> Response {
    answered(desk.helm.status()).await
}

async fn stream(State(desk): State<Desk>, request: Request) -> Response {
    let Ok(permit) = Arc::clone(&desk.streams).try_acquire_owned() else {
        let what = format!("{STREAMS_MAX} streams are open, which is all there are");
        return problem(StatusCode::SERVICE_UNAVAILABLE, &what, "close one of them");
    };
    if let Some(long) = request.extensions().get::<Long>() {
        long.allow();
    }
    answer(StatusCode::OK, "text/event-stream", Body::new(Stream::new(Arc::clone(&desk.helm), permit)))
}

async fn losses(State(desk): State<Desk>) -> Response {
    answered(desk.helm.losses()).await
}

async fn hangar(State(desk): State<Desk>) -> Response {
    answered(desk.helm.hangar()).await
}

/// The body of `/v1/align`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct AlignBody {
    trim: String,
    to: Place,
}

/// A position: its name, or degrees above the low stop.
#[derive(Debug, Deserialize)]
#[serde(untagged)]
enum Place {
    Named(String),
    Degrees(f64),
}

async fn align(State(desk): State<Desk>, request: Request) -> Response {
    match read::<AlignBody>(request).await {
        Ok(AlignBody { trim, to }) => {
            let to = match to {
                Place::Named(name) => name,
                Place::Degrees(degrees) => degrees.to_string(),
            };
            done(&desk, desk.helm.align(trim, to)).await
        }
        Err(response) => response,
    }
}

/// The body of `/v1/aircraft`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FlyBody {
    aircraft: String,
}

async fn fly(State(desk): State<Desk>, request: Request) -> Response {
    match read::<FlyBody>(request).await {
        Ok(FlyBody { aircraft }) => done(&desk, desk.helm.fly(aircraft)).await,
        Err(response) => response,
    }
}

/// The body of `/v1/hold`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct HoldBody {
    held: bool,
}

async fn hold(State(desk): State<Desk>, request: Request) -> Response {
    match read::<HoldBody>(request).await {
        Ok(HoldBody { held }) => done(&desk, desk.helm.hold(held)).await,
        Err(response) => response,
    }
}

async fn reload(State(desk): State<Desk>) -> Response {
    done(&desk, desk.helm.reload()).await
}

/// The body of `/v1/log`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct LogBody {
    level: String,
}

async fn log(State(desk): State<Desk>, request: Request) -> Response {
    match read::<LogBody>(request).await {
        Ok(LogBody { level }) => match desk.helm.set_log_level(&level) {
            Ok(()) => answered(desk.helm.status()).await,
            Err(refused) => refuse(&refused),
        },
        Err(response) => response,
    }
}

async fn openapi() -> Response {
    answer(StatusCode::OK, "application/json", Body::from(OPENAPI))
}

/// Does it, and answers how everything stands then.
async fn done(desk: &Desk, command: super::Answer<()>) -> Response {
    let helm = Arc::clone(&desk.helm);
    answered(Box::pin(async move {
        command.await?;
        helm.status().await
    }))
    .await
}

/// The daemon's answer, if it comes in time.
async fn answered<T: Serialize>(answer: super::Answer<T>) -> Response {
    match tokio::time::timeout(COMMAND_TIME, answer).await {
        Ok(Ok(value)) => json(&value),
        Ok(Err(refused)) => refuse(&refused),
        Err(_) => {
            let what = "the daemon is busy, and may do it later";
            problem(StatusCode::GATEWAY_TIMEOUT, what, "ask for its status")
        }
    }
}

/// The body of a request, or the answer to one that is none. Another type of body is refused, because a page
/// from elsewhere may send the plain ones without asking.
async fn read<T: for<'de> Deserialize<'de>>(request: Request) -> Result<T, Response> {
    if !is_json(request.headers()) {
        return Err(problem(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "the body must be JSON",
            "send the header `Content-Type: application/json`",
        ));
    }
    let too_large = || {
        let what = format!("the body is larger than {BODY_BYTES_MAX} bytes");
        problem(StatusCode::PAYLOAD_TOO_LARGE, &what, "see /v1/openapi.json")
    };
    let length = request.headers().get(CONTENT_LENGTH).and_then(|length| length.to_str().ok()?.parse().ok());
    if length.is_some_and(|length: u64| length > u64::try_from(BODY_BYTES_MAX).unwrap_or(u64::MAX)) {
        return Err(too_large());
    }
    let bytes = axum::body::to_bytes(request.into_body(), BODY_BYTES_MAX);
    let bytes: Bytes = match tokio::time::timeout(BODY_TIME, bytes).await {
        Ok(Ok(bytes)) => bytes,
        Ok(Err(_)) => return Err(too_large()),
        Err(_) => {
            return Err(problem(
                StatusCode::REQUEST_TIMEOUT,
                "the body did not come in time",
                "send it at once",
            ));
        }
    };
    serde_json::from_slice(&bytes).map_err(|error| {
        problem(StatusCode::BAD_REQUEST, &format!("the body: {error}"), "see /v1/openapi.json")
    })
}

fn is_json(headers: &HeaderMap) -> bool {
    let kind = headers.get(CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    kind.split(';').next().is_some_and(|kind| kind.trim().eq_ignore_ascii_case("application/json"))
}

fn json(value: &impl Serialize) -> Response {
    match serde_json::to_vec(value) {
        Ok(text) => answer(StatusCode::OK, "application/json", Body::from(text)),
        Err(error) => problem(StatusCode::INTERNAL_SERVER_ERROR, &error.to_string(), "report this"),
    }
}

fn refuse(refused: &Refused) -> Response {
    let status = match refused.refusal {
        Refusal::Unknown => StatusCode::NOT_FOUND,
        Refusal::Senseless => StatusCode::UNPROCESSABLE_ENTITY,
        Refusal::NotNow => StatusCode::CONFLICT,
    };
    problem(status, &refused.what, &refused.cure)
}

/// A problem as RFC 9457 describes it, with a cure as its one member of our own.
#[derive(Debug, Serialize, Deserialize)]
pub struct Problem {
    /// The status code.
    pub status: u16,
    /// What the code says.
    pub title: String,
    /// What it is this time.
    pub detail: String,
    /// What to do.
    pub cure: String,
}

fn problem(status: StatusCode, detail: &str, cure: &str) -> Response {
    let title = status.canonical_reason().unwrap_or_default().to_owned();
    let problem = Problem { status: status.as_u16(), title, detail: detail.into(), cure: cure.into() };
    let text = serde_json::to_vec(&problem).unwrap_or_default();
    answer(status, "application/problem+json", Body::from(text))
}

fn answer(status: StatusCode, kind: &'static str, body: Body) -> Response {
    let mut response = Response::new(body);
    *response.status_mut() = status;
    response.headers_mut().insert(CONTENT_TYPE, HeaderValue::from_static(kind));
    response
}
