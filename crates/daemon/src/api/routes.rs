//! The routes of the API and their answers. Errors are answered as problem details (RFC 9457).

use super::ApiFuture;
use super::authentication::{Authentication, Denied, HEADERS};
use super::daemon_api::DaemonApi;
use super::stream::Stream;
use super::{OPENAPI, connections::LongLived};
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
use tallywheel_engine::commands::{Refusal, RefusalKind};
use tokio::sync::Semaphore;

/// The largest body that is read; the largest command has a few names in it.
pub const BODY_BYTES_MAX: usize = 4096;
/// The longest time in which a request's body has to come.
const BODY_TIME: Duration = Duration::from_secs(5);
/// The longest time that a command may take before the client is told that the daemon is busy.
const COMMAND_TIME: Duration = Duration::from_secs(5);
/// The most streams that are open at once.
pub const STREAMS_MAX: usize = 16;

/// What the handlers of all routes share.
#[derive(Clone)]
pub struct RouteState {
    daemon: Arc<dyn DaemonApi>,
    authentication: Arc<Authentication>,
    streams: Arc<Semaphore>,
}

/// Returns every path with its methods, so that a test can hold the OpenAPI document against them.
#[must_use]
pub fn table() -> Vec<(&'static str, &'static [&'static str], MethodRouter<RouteState>)> {
    vec![
        ("/v1/status", &["get"], get(status)),
        ("/v1/stream", &["get"], get(stream)),
        ("/v1/losses", &["get"], get(losses)),
        ("/v1/align", &["post"], post(align)),
        ("/v1/aircraft", &["get", "put"], get(aircraft).put(set_aircraft)),
        ("/v1/hold", &["put"], put(hold)),
        ("/v1/reload", &["post"], post(reload)),
        ("/v1/log", &["put"], put(log)),
        ("/v1/openapi.json", &["get"], get(openapi)),
    ]
}

/// Makes the router of all routes, which lets in only what passes `authentication`.
pub fn router(daemon: Arc<dyn DaemonApi>, authentication: Authentication) -> Router {
    let state = RouteState {
        daemon,
        authentication: Arc::new(authentication),
        streams: Arc::new(Semaphore::new(STREAMS_MAX)),
    };
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
        .layer(middleware::from_fn_with_state(state.clone(), authenticate))
        .with_state(state)
}

/// Checks who asks, and puts the headers of [`HEADERS`] on every answer.
async fn authenticate(State(state): State<RouteState>, request: Request, next: Next) -> Response {
    let mut response = match state.authentication.check(request.headers()) {
        Ok(()) => next.run(request).await,
        Err(denied) => {
            let mut response = problem(denied.status(), denied.detail(), "use `tallywheel status`");
            if denied == Denied::Token {
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

async fn status(State(state): State<RouteState>) -> Response {
    answered(state.daemon.status()).await
}

async fn stream(State(state): State<RouteState>, request: Request) -> Response {
    let Ok(permit) = Arc::clone(&state.streams).try_acquire_owned() else {
        let detail = format!("{STREAMS_MAX} streams are open, which is all there are");
        return problem(StatusCode::SERVICE_UNAVAILABLE, &detail, "close one of them");
    };
    if let Some(connection) = request.extensions().get::<LongLived>() {
        connection.allow();
    }
    answer(StatusCode::OK, "text/event-stream", Body::new(Stream::new(Arc::clone(&state.daemon), permit)))
}

async fn losses(State(state): State<RouteState>) -> Response {
    answered(state.daemon.losses()).await
}

async fn aircraft(State(state): State<RouteState>) -> Response {
    answered(state.daemon.aircraft()).await
}

/// The body of `/v1/align`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct AlignBody {
    trim: String,
    to: PositionArgument,
}

/// A position, given by its name or in degrees above the low stop.
#[derive(Debug, Deserialize)]
#[serde(untagged)]
enum PositionArgument {
    Named(String),
    Degrees(f64),
}

async fn align(State(state): State<RouteState>, request: Request) -> Response {
    match read::<AlignBody>(request).await {
        Ok(AlignBody { trim, to }) => {
            let to = match to {
                PositionArgument::Named(name) => name,
                PositionArgument::Degrees(degrees) => degrees.to_string(),
            };
            done(&state, state.daemon.align(trim, to)).await
        }
        Err(response) => response,
    }
}

/// The body of `/v1/aircraft`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct AircraftBody {
    aircraft: String,
}

async fn set_aircraft(State(state): State<RouteState>, request: Request) -> Response {
    match read::<AircraftBody>(request).await {
        Ok(AircraftBody { aircraft }) => done(&state, state.daemon.set_aircraft(aircraft)).await,
        Err(response) => response,
    }
}

/// The body of `/v1/hold`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct HoldBody {
    held: bool,
}

async fn hold(State(state): State<RouteState>, request: Request) -> Response {
    match read::<HoldBody>(request).await {
        Ok(HoldBody { held }) => done(&state, state.daemon.hold(held)).await,
        Err(response) => response,
    }
}

async fn reload(State(state): State<RouteState>) -> Response {
    done(&state, state.daemon.reload()).await
}

/// The body of `/v1/log`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct LogBody {
    level: String,
}

async fn log(State(state): State<RouteState>, request: Request) -> Response {
    match read::<LogBody>(request).await {
        Ok(LogBody { level }) => match state.daemon.set_log_level(&level) {
            Ok(()) => answered(state.daemon.status()).await,
            Err(refusal) => refuse(&refusal),
        },
        Err(response) => response,
    }
}

async fn openapi() -> Response {
    answer(StatusCode::OK, "application/json", Body::from(OPENAPI))
}

/// Carries out the command and answers with the state after it.
async fn done(state: &RouteState, command: ApiFuture<()>) -> Response {
    let daemon = Arc::clone(&state.daemon);
    answered(Box::pin(async move {
        command.await?;
        daemon.status().await
    }))
    .await
}

/// Answers with what the daemon returns, if that comes within [`COMMAND_TIME`].
async fn answered<T: Serialize>(answer: ApiFuture<T>) -> Response {
    match tokio::time::timeout(COMMAND_TIME, answer).await {
        Ok(Ok(value)) => json(&value),
        Ok(Err(refused)) => refuse(&refused),
        Err(_) => {
            let detail = "the daemon is busy, and may do it later";
            problem(StatusCode::GATEWAY_TIMEOUT, detail, "ask for its status")
        }
    }
}

/// Reads the body of a request, or makes the answer to one that is not valid. A body that is not JSON is refused,
/// because a browser lets a page from elsewhere send plain types of body without asking first.
async fn read<T: for<'de> Deserialize<'de>>(request: Request) -> Result<T, Response> {
    if !is_json(request.headers()) {
        return Err(problem(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "the body must be JSON",
            "send the header `Content-Type: application/json`",
        ));
    }
    let too_large = || {
        let detail = format!("the body is larger than {BODY_BYTES_MAX} bytes");
        problem(StatusCode::PAYLOAD_TOO_LARGE, &detail, "see /v1/openapi.json")
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

fn refuse(refusal: &Refusal) -> Response {
    let status = match refusal.kind {
        RefusalKind::NotFound => StatusCode::NOT_FOUND,
        RefusalKind::NotValid => StatusCode::UNPROCESSABLE_ENTITY,
        RefusalKind::NotNow => StatusCode::CONFLICT,
    };
    problem(status, &refusal.detail, &refusal.cure)
}

/// Problem details as RFC 9457 describes them, with `cure` as the one extension member.
#[derive(Debug, Serialize, Deserialize)]
pub struct Problem {
    /// The HTTP status code.
    pub status: u16,
    /// The standard phrase of the status code.
    pub title: String,
    /// Why this request was not answered: one clause.
    pub detail: String,
    /// What the client can do: one clause.
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
