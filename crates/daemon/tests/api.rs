//! The interface as those see it who may use it and those who may not: over real connections, spoken by hand.
//! Outside sources: OpenAPI 3.1 and JSON Schema 2020-12 (validator: the crate `boon`), RFC 9110, RFC 9112.

#![allow(clippy::disallowed_methods, reason = "a test of the running program lives in real time")]
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};
use tallywheel::api::authentication::{Authentication, HEADERS, Token};
use tallywheel::api::daemon_api::{ApiFuture, DaemonApi};
use tallywheel::api::{OPENAPI, connections, routes};
use tallywheel_engine::commands::Refusal;
use tallywheel_engine::state::status::*;
use tokio::sync::watch;

/// Far longer than anything here takes, for machines that are busy with something else.
const PATIENCE: Duration = Duration::from_secs(60);

/// A daemon that does what its name says and remembers what it was asked.
struct Fake {
    changes: watch::Sender<u64>,
    asked: AtomicUsize,
    done: Mutex<Vec<String>>,
    /// Makes the status so many bytes larger.
    ballast: usize,
}

impl Fake {
    fn new(ballast: usize) -> Arc<Self> {
        let (asked, done) = (AtomicUsize::new(0), Mutex::default());
        Arc::new(Self { changes: watch::Sender::new(0), asked, done, ballast })
    }

    fn asked(&self) -> usize {
        self.asked.load(Ordering::SeqCst)
    }

    fn change(&self) {
        self.changes.send_modify(|number| *number += 1);
    }

    fn done(&self, what: &str) {
        self.asked.fetch_add(1, Ordering::SeqCst);
        self.done.lock().unwrap().push(what.to_owned());
    }

    /// `missing`, `senseless` and `later` are refused, `hangs` never ends, all else is done.
    fn answer(&self, what: String, name: &str) -> ApiFuture<()> {
        self.done(&what);
        let refused = match name {
            "missing" => Some(Refusal::not_found("there is none", "ask for another")),
            "senseless" => Some(Refusal::not_valid("it means nothing", "say it otherwise")),
            "later" => Some(Refusal::not_now("it cannot be done", "wait")),
            "hangs" => return Box::pin(std::future::pending()),
            _ => None,
        };
        Box::pin(async move { refused.map_or(Ok(()), Err) })
    }
}

impl DaemonApi for Fake {
    fn status(&self) -> ApiFuture<Status> {
        self.asked.fetch_add(1, Ordering::SeqCst);
        let board = |state, path: Option<&str>, reason: Option<&str>| BoardStatus {
            name: "main".into(),
            state,
            path: path.map(Into::into),
            device: path.map(|_| "Bench board".into()),
            reason: reason.map(Into::into),
            cure: reason.map(|_| "plug it in".into()),
            twin: path.map(|_| "Bench twin".into()),
            not_hidden: reason.map(|_| "no right".into()),
        };
        let trim = |margin, at_stop| TrimStatus {
            name: "rudder".into(),
            wheel: "rudder".into(),
            position: -1.0,
            axis: -32767,
            degrees: 0.0,
            travel_degrees: 580.0,
            neutral_degrees: 320.0,
            margin,
            at_stop,
            refused: 20.5,
            held: false,
        };
        let trouble = Trouble { what: "no module: load it".into(), seconds_ago: 1.5 };
        let output = |state, trouble: Option<Trouble>| OutputStatus {
            name: "axis \"Tallywheel bench\"".into(),
            state,
            published: 3,
            errors: u64::from(trouble.is_some()),
            trouble,
        };
        let status = Status {
            tallywheel: FORM,
            version: "0.1.0".into(),
            process: 7,
            running_s: 12.5,
            config: "x".repeat(self.ballast + 1),
            log: "tallywheel.log".into(),
            log_level: "info".into(),
            rig: "bench".into(),
            aircraft: Flown { name: "Kettrin 2 floatplane".into(), file: "kettrin-2-floatplane".into() },
            held: false,
            reports: 99,
            boards: vec![
                board(BoardState::Starting, None, None),
                board(BoardState::Reading, Some("/dev/hidraw3"), None),
                board(BoardState::Missing, None, Some("it is not plugged in")),
                board(BoardState::Gone, None, Some("it was unplugged")),
                board(BoardState::Refused, None, Some("permission denied")),
            ],
            wheels: vec![WheelStatus {
                name: "rudder".into(),
                board: "main".into(),
                counts: -4,
                turned: 10,
                margin: Some([0, 2]),
            }],
            trims: vec![
                trim(Some([0, 0]), Some(StopName::Low)),
                trim(None, Some(StopName::High)),
                trim(Some([1, 0]), None),
            ],
            losses: vec![KindStatus { kind: "top-rate".into(), losses: 2 }],
            outputs: vec![
                output(OutputState::Starting, None),
                output(OutputState::Open, Some(trouble.clone())),
                output(OutputState::Failed, Some(trouble.clone())),
                output(OutputState::Refused, Some(trouble)),
            ],
            simulator: Some(SimulatorStatus {
                heard: true,
                title: None,
                paused: false,
                listen: "127.0.0.1:47820".into(),
                not_listening: Some("it is in use".into()),
                datagrams: DatagramsStatus { accepted: 9, late: 8, malformed: 7, strangers: 6, flooded: 5 },
            }),
            wrong_files: vec![WrongFile {
                file: "rig.toml".into(),
                mistakes: vec!["rig.toml:1:1: …".into()],
            }],
            broken_invariants: 0,
        };
        Box::pin(async move { Ok(status) })
    }

    fn changes(&self) -> watch::Receiver<u64> {
        self.changes.subscribe()
    }

    fn losses(&self) -> ApiFuture<Losses> {
        self.asked.fetch_add(1, Ordering::SeqCst);
        let loss = tallywheel_units::Loss {
            kind: tallywheel_units::LossKind::BoardGone,
            certainty: tallywheel_units::Certainty::Observed,
            at: tallywheel_units::Timestamp::START,
            lasted: Duration::ZERO,
            reports: 0,
            bound: tallywheel_units::Margin::UNKNOWN,
        };
        let losses = Losses { losses: vec![LossStatus::new("main", "rudder", &loss, 3.0)], older: 1 };
        Box::pin(async move { Ok(losses) })
    }

    fn aircraft(&self) -> ApiFuture<Hangar> {
        self.asked.fetch_add(1, Ordering::SeqCst);
        let entry =
            |name: Option<&str>| Parked { file: "kettrin".into(), name: name.map(Into::into), flown: true };
        let list = Hangar { aircraft: vec![entry(Some("Kettrin")), entry(None)] };
        Box::pin(async move { Ok(list) })
    }

    fn align(&self, trim: String, to: String) -> ApiFuture<()> {
        self.answer(format!("align {trim} {to}"), &trim)
    }

    fn set_aircraft(&self, aircraft: String) -> ApiFuture<()> {
        self.answer(format!("fly {aircraft}"), &aircraft)
    }

    fn hold(&self, on: bool) -> ApiFuture<()> {
        self.answer(format!("hold {on}"), "")
    }

    fn reload(&self) -> ApiFuture<()> {
        self.answer("reload".into(), "")
    }

    fn set_log_level(&self, level: &str) -> Result<(), Refusal> {
        self.done(&format!("log {level}"));
        if level == "senseless" { Err(Refusal::not_valid("no level", "say debug")) } else { Ok(()) }
    }
}

/// A server and the daemon behind it.
struct Server {
    at: SocketAddr,
    token: Token,
    fake: Arc<Fake>,
}

impl Server {
    fn open(ballast: usize) -> Self {
        let (listener, at) = connections::listen().unwrap();
        let (token, fake) = (Token::new().unwrap(), Fake::new(ballast));
        let router = routes::router(fake.clone(), Authentication::new(at, token.clone()));
        thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
            runtime.block_on(connections::serve(listener, router)).unwrap();
        });
        Self { at, token, fake }
    }

    fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(self.at).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        stream
    }

    fn host(&self) -> (&'static str, String) {
        ("Host", self.at.to_string())
    }

    fn bearer(&self) -> (&'static str, String) {
        ("Authorization", format!("Bearer {}", self.token.as_str()))
    }

    /// Sends it all at once and reads to the end.
    fn raw(&self, request: &[u8]) -> Reply {
        let mut stream = self.connect();
        // A server that has heard enough may close before all is written.
        let _ = stream.write_all(request);
        Reply::read(stream)
    }

    fn ask(&self, method: &str, path: &str, headers: &[(&str, String)], body: Option<&str>) -> Reply {
        self.raw(&request(method, path, headers, body))
    }

    /// As those ask who may.
    fn told(&self, method: &str, path: &str, body: Option<&Value>) -> Reply {
        let body = body.map(ToString::to_string);
        self.ask(method, path, &[self.host(), self.bearer()], body.as_deref())
    }

    fn stream(&self) -> TcpStream {
        let mut stream = self.connect();
        stream.write_all(&request("get", "/v1/stream", &[self.host(), self.bearer()], None)).unwrap();
        stream
    }
}

fn request(method: &str, path: &str, headers: &[(&str, String)], body: Option<&str>) -> Vec<u8> {
    let mut text = format!("{} {path} HTTP/1.1\r\n", method.to_uppercase());
    for (name, value) in headers {
        text += &format!("{name}: {value}\r\n");
    }
    if let Some(body) = body {
        text += &format!("Content-Type: application/json\r\nContent-Length: {}\r\n", body.len());
    }
    text += "\r\n";
    text += body.unwrap_or_default();
    text.into_bytes()
}

/// An answer; code 0 where the connection was closed without one.
#[derive(Debug)]
struct Reply {
    code: u16,
    headers: BTreeMap<String, String>,
    body: String,
}

impl Reply {
    fn read(mut stream: TcpStream) -> Self {
        let mut bytes = Vec::new();
        // Closed with data of ours unread is a reset; what came before it still counts.
        let ended = stream.read_to_end(&mut bytes);
        if let Err(error) = ended {
            let hangs = matches!(error.kind(), std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut);
            assert!(!hangs, "no end of it after {PATIENCE:?}");
        }
        let text = String::from_utf8(bytes).unwrap();
        let Some((head, body)) = text.split_once("\r\n\r\n") else {
            return Self { code: 0, headers: BTreeMap::new(), body: String::new() };
        };
        let mut lines = head.lines();
        let code = lines.next().unwrap().split(' ').nth(1).unwrap().parse().unwrap();
        let headers = lines.map(|line| {
            let (name, value) = line.split_once(": ").unwrap();
            (name.to_lowercase(), value.to_owned())
        });
        Self { code, headers: headers.collect(), body: body.to_owned() }
    }

    fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }

    fn kind(&self) -> &str {
        self.headers.get("content-type").map_or("", String::as_str)
    }
}

fn document() -> Value {
    serde_json::from_str(OPENAPI).unwrap()
}

/// Every path with a method, and a body that it takes.
fn operations() -> Vec<(String, String, Option<Value>)> {
    let mut operations = Vec::new();
    for (path, methods) in document()["paths"].as_object().unwrap() {
        for method in methods.as_object().unwrap().keys() {
            let body = match (path.as_str(), method.as_str()) {
                ("/v1/align", "post") => Some(json!({ "trim": "rudder", "to": "neutral" })),
                ("/v1/aircraft", "put") => Some(json!({ "aircraft": "kettrin" })),
                ("/v1/hold", "put") => Some(json!({ "held": true })),
                ("/v1/log", "put") => Some(json!({ "level": "debug" })),
                _ => None,
            };
            operations.push((path.clone(), method.clone(), body));
        }
    }
    operations
}

#[test]
fn the_document_names_every_route_and_no_other() {
    let served: BTreeSet<_> = routes::table()
        .iter()
        .flat_map(|(path, methods, _)| {
            methods.iter().map(|method| ((*path).to_owned(), (*method).to_owned()))
        })
        .collect();
    let described: BTreeSet<_> = operations().into_iter().map(|(path, method, _)| (path, method)).collect();
    assert_eq!(served, described);
    // The table says the truth: every other method is refused.
    let server = Server::open(0);
    for path in served.iter().map(|(path, _)| path).collect::<BTreeSet<_>>() {
        for method in ["get", "put", "post", "delete", "patch", "options", "trace"] {
            let known = served.contains(&(path.clone(), method.to_owned()));
            if !known {
                assert_eq!(server.told(method, path, Some(&json!({}))).code, 405, "{method} {path}");
            }
        }
    }
    assert_eq!(server.fake.asked(), 0);
    for path in
        ["/", "/v1", "/v1/status/", "/v1/Status", "/v2/status", "/v1/../v1/status", "*", "/v1/status%00"]
    {
        let reply = server.told("get", path, None);
        assert!(matches!(reply.code, 404 | 400), "{path}: {reply:?}");
    }
    assert_eq!(server.fake.asked(), 0);
}

/// Validates `value` against the document's schema of that name or place.
fn holds(place: &str, value: &Value) {
    let mut schemas = boon::Schemas::new();
    let mut compiler = boon::Compiler::new();
    compiler.set_default_draft(boon::Draft::V2020_12);
    compiler.add_resource("https://tallywheel.example/openapi.json", document()).unwrap();
    let at = format!("https://tallywheel.example/openapi.json#{place}");
    let schema = compiler.compile(&at, &mut schemas).unwrap();
    if let Err(error) = schemas.validate(value, schema) {
        panic!("{place}: {error}\n{value:#}");
    }
}

#[test]
fn every_operation_answers_as_it_is_described() {
    let server = Server::open(0);
    let document = document();
    let check = |path: &str, method: &str, body: Option<&Value>, code: u16| {
        let reply = server.told(method, path, body);
        assert_eq!(reply.code, code, "{method} {path} {body:?}: {reply:?}");
        let described = &document["paths"][path][method]["responses"][code.to_string()];
        assert!(described.is_object(), "{method} {path} answers {code}, which is not described");
        assert!(described["content"][reply.kind()].is_object(), "{method} {path} {code}: {}", reply.kind());
        let place = format!("/paths/{}/{method}/responses/{code}/content", path.replace('/', "~1"));
        let kind = reply.kind().replace('/', "~1");
        // In a fragment of a URI the `+` of a media type stays as it is (RFC 6901, section 6).
        holds(&format!("{place}/{kind}/schema"), &reply.json());
        reply.json()
    };
    for (path, method, body) in operations() {
        if path == "/v1/stream" {
            continue;
        }
        check(&path, &method, body.as_ref(), 200);
        if let Some(good) = &body {
            let schema = &document["paths"][path.as_str()][method.as_str()]["requestBody"]["content"];
            let name = schema["application/json"]["schema"]["$ref"].as_str().unwrap().trim_start_matches('#');
            holds(name, good);
            for wrong in [json!(null), json!([]), json!({}), json!({ "x": 1 }), json!("text")] {
                let problem = check(&path, &method, Some(&wrong), 400);
                assert!(problem["cure"].is_string(), "{problem}");
            }
            let mut more = good.clone();
            more["more"] = json!(1);
            check(&path, &method, Some(&more), 400);
        }
    }
    check("/v1/align", "post", Some(&json!({ "trim": "missing", "to": 12.5 })), 404);
    check("/v1/align", "post", Some(&json!({ "trim": "senseless", "to": "x" })), 422);
    check("/v1/align", "post", Some(&json!({ "trim": "later", "to": "low" })), 409);
    check("/v1/align", "post", Some(&json!({ "trim": "hangs", "to": "low" })), 504);
    check("/v1/aircraft", "put", Some(&json!({ "aircraft": "missing" })), 404);
    check("/v1/aircraft", "put", Some(&json!({ "aircraft": "senseless" })), 422);
    check("/v1/log", "put", Some(&json!({ "level": "senseless" })), 422);
    let done = server.fake.done.lock().unwrap().clone();
    for what in
        ["align missing 12.5", "align rudder neutral", "fly kettrin", "hold true", "reload", "log debug"]
    {
        assert!(done.iter().any(|done| done == what), "{what}: {done:?}");
    }
}

#[test]
fn a_stream_starts_with_how_things_stand_and_tells_each_change() {
    let server = Server::open(0);
    let mut stream = server.stream();
    let mut text = String::new();
    let mut events = |wanted: usize| {
        let mut buffer = [0; 4096];
        while text.matches("event: status\n").count() < wanted {
            let length = stream.read(&mut buffer).unwrap();
            assert_ne!(length, 0, "it ended: {text}");
            text += std::str::from_utf8(&buffer[..length]).unwrap();
        }
        text.clone()
    };
    let first = events(1);
    assert!(first.starts_with("HTTP/1.1 200 OK\r\n"), "{first}");
    assert!(first.contains("content-type: text/event-stream\r\n"), "{first}");
    let data = first.split("data: ").nth(1).unwrap().split('\n').next().unwrap();
    holds("/components/schemas/Status", &serde_json::from_str(data).unwrap());
    // Nothing changes, nothing is sent, nobody is asked.
    let asked = server.fake.asked();
    thread::sleep(Duration::from_millis(400));
    assert_eq!(server.fake.asked(), asked);
    server.fake.change();
    events(2);
    // Many changes at once are one event, or two where the first went out between them.
    for _ in 0..1000 {
        server.fake.change();
    }
    events(3);
    thread::sleep(Duration::from_millis(400));
    assert!(server.fake.asked() <= asked + 3, "{} more", server.fake.asked() - asked);
}

#[test]
fn nobody_else_gets_in_by_any_route() {
    let server = Server::open(0);
    let wrong = ("Authorization", format!("Bearer {}", Token::new().unwrap().as_str()));
    let (host, bearer) = (server.host(), server.bearer());
    let with = |name: &'static str, value: &str| vec![host.clone(), bearer.clone(), (name, value.to_owned())];
    let callers = [
        ("no token", 401, vec![host.clone()]),
        ("wrong token", 401, vec![host.clone(), wrong]),
        ("no host", 421, vec![bearer.clone()]),
        ("foreign host", 421, vec![("Host", "rebound.example".into()), bearer.clone()]),
        (
            "foreign host and port",
            421,
            vec![("Host", format!("evil.example:{}", server.at.port())), bearer.clone()],
        ),
        ("foreign origin", 403, with("Origin", "http://evil.example")),
        ("no origin to tell", 403, with("Origin", "null")),
        ("other port's origin", 403, with("Origin", "http://127.0.0.1:1")),
        ("cross site", 403, with("Sec-Fetch-Site", "cross-site")),
        ("same site, other origin", 403, with("Sec-Fetch-Site", "same-site")),
    ];
    let mut paths = operations();
    paths.push(("/nothing/here".into(), "get".into(), None));
    for (path, method, body) in &paths {
        for (caller, code, headers) in &callers {
            let body = body.as_ref().map(ToString::to_string);
            let reply = server.ask(method, path, headers, body.as_deref());
            assert_eq!(reply.code, *code, "{caller}: {method} {path}: {reply:?}");
            // The same words for every path, so that nothing can be told from them.
            assert!(!reply.body.contains("kettrin") && !reply.body.contains(path.as_str()), "{reply:?}");
            for (name, value) in HEADERS {
                assert_eq!(reply.headers.get(name).map(String::as_str), Some(value), "{caller}: {path}");
            }
            let cors: Vec<_> =
                reply.headers.keys().filter(|name| name.starts_with("access-control")).collect();
            assert!(cors.is_empty(), "{cors:?}");
        }
        // What a browser asks before it sends another site's JSON: no answer lets it.
        let mut preflight = with("Origin", "http://evil.example");
        preflight.push(("Access-Control-Request-Method", method.to_uppercase()));
        let reply = server.ask("options", path, &preflight, None);
        assert_eq!(reply.code, 403, "{reply:?}");
    }
    assert_eq!(server.fake.asked(), 0, "the daemon itself was asked");
    // Those who may are let in by the very same server, with the same headers.
    let reply = server.told("get", "/v1/status", None);
    assert_eq!(reply.code, 200);
    for (name, value) in HEADERS {
        assert_eq!(reply.headers.get(name).map(String::as_str), Some(value), "{name}");
    }
}

#[test]
fn what_is_too_large_or_no_request_is_refused() {
    let server = Server::open(0);
    let (host, bearer) = (server.host(), server.bearer());
    let head = |more: &str| {
        let mut text = request("put", "/v1/hold", &[host.clone(), bearer.clone()], None);
        text.truncate(text.len() - 2);
        [text.as_slice(), more.as_bytes()].concat()
    };
    let kind = "Content-Type: application/json\r\n";
    let large = "x".repeat(routes::BODY_BYTES_MAX + 1);
    let by_length = head(&format!("{kind}Content-Length: {}\r\n\r\n{large}", large.len()));
    assert_eq!(server.raw(&by_length).code, 413);
    // The length alone is enough, before any of it has come.
    assert_eq!(server.raw(&head(&format!("{kind}Content-Length: 1000000000000\r\n\r\n"))).code, 413);
    let chunk = format!("{:x}\r\n{large}\r\n0\r\n\r\n", large.len());
    assert_eq!(server.raw(&head(&format!("{kind}Transfer-Encoding: chunked\r\n\r\n{chunk}"))).code, 413);
    assert_eq!(server.raw(&head(&format!("{kind}Content-Length: 3\r\n\r\n{{}}}}"))).code, 400);
    for kind in ["", "Content-Type: text/plain\r\n", "Content-Type: application/x-www-form-urlencoded\r\n"] {
        let reply = server.raw(&head(&format!("{kind}Content-Length: 13\r\n\r\n{{\"held\":true}}")));
        assert_eq!(reply.code, 415, "{kind}");
    }
    assert_eq!(server.raw(&head(&format!("X-Long: {}\r\n\r\n", "x".repeat(100_000)))).code, 431);
    assert_eq!(server.raw(&head(&format!("{}\r\n", "X-Many: 1\r\n".repeat(1000)))).code, 431);
    let path = format!("/v1/status?{}", "x".repeat(100_000));
    let reply = server.ask("get", &path, &[host.clone(), bearer.clone()], None);
    assert!(matches!(reply.code, 414 | 431), "{reply:?}");
    let garbage: [&[u8]; 5] = [
        b"\r\n\r\nnonsense\r\n\r\n",
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        &[0; 5000],
        b"GET /v1/status HTTP/1.1\r\nHost : 127.0.0.1\r\n\r\n",
    ];
    for text in garbage {
        let mut stream = server.connect();
        let _ = stream.write_all(text);
        let _ = stream.shutdown(std::net::Shutdown::Write);
        let reply = Reply::read(stream);
        assert!(matches!(reply.code, 0 | 400 | 431 | 505), "{text:?}: {reply:?}");
    }
    assert_eq!(server.fake.asked(), 0);
    assert_eq!(server.told("get", "/v1/status", None).code, 200, "it is still there");
}

#[test]
fn those_who_take_their_time_are_shown_out_and_keep_nobody_else_out() {
    let server = Server::open(0);
    let (host, bearer) = (server.host(), server.bearer());
    // More than there are places, none of whom ever says a whole sentence.
    let silent: Vec<_> = (0..3 * connections::CONNECTIONS_MAX).map(|_| server.connect()).collect();
    let mut half_a_head = server.connect();
    half_a_head.write_all(b"GET /v1/status HT").unwrap();
    // Whoever comes then waits for a place, gets one and is served.
    assert_eq!(server.told("get", "/v1/status", None).code, 200);
    for stream in silent {
        let reply = Reply::read(stream);
        assert!(matches!(reply.code, 0 | 408), "{reply:?}");
    }
    assert!(matches!(Reply::read(half_a_head).code, 0 | 408));
    // A body that never comes, and one that comes by the drop.
    let mut no_body = server.connect();
    let mut text = request("put", "/v1/hold", &[host, bearer], None);
    text.truncate(text.len() - 2);
    text.extend_from_slice(b"Content-Type: application/json\r\nContent-Length: 13\r\n\r\n");
    no_body.write_all(&text).unwrap();
    let mut drops = server.connect();
    drops.write_all(&text).unwrap();
    let dripping = {
        let mut drops = drops.try_clone().unwrap();
        thread::spawn(move || {
            while drops.write_all(b" ").is_ok() {
                thread::sleep(Duration::from_millis(700));
            }
        })
    };
    let asked = server.fake.asked();
    assert_eq!(Reply::read(no_body).code, 408);
    assert!(matches!(Reply::read(drops).code, 408 | 0));
    dripping.join().unwrap();
    assert_eq!(server.fake.asked(), asked);
}

#[test]
fn of_200_streams_16_are_open_and_all_are_given_back() {
    let server = Server::open(0);
    let status = |stream: &mut TcpStream| {
        let mut head = [0; 12];
        stream.read_exact(&mut head).unwrap();
        String::from_utf8_lossy(&head).into_owned()
    };
    for _ in 0..3 {
        let mut streams: Vec<_> = (0..200).map(|_| server.stream()).collect();
        let heads: Vec<_> = streams.iter_mut().map(status).collect();
        let good = heads.iter().filter(|head| head.ends_with(" 200")).count();
        let full = heads.iter().filter(|head| head.ends_with(" 503")).count();
        assert_eq!((good, full), (routes::STREAMS_MAX, 200 - routes::STREAMS_MAX));
        // Everything else goes on.
        assert_eq!(server.told("get", "/v1/status", None).code, 200);
        // Each of them hears of a change.
        let asked = server.fake.asked();
        server.fake.change();
        wait_until(|| server.fake.asked() == asked + routes::STREAMS_MAX);
        drop(streams);
        wait_until(|| server.fake.changes.receiver_count() == 0);
    }
    // As many as before can be had again. That no handle is kept is tested with the real daemon.
    assert!(status(&mut server.stream()).ends_with(" 200"));
}

/// A stream that is opened and never read: the daemon must stop making events for it.
#[test]
fn a_reader_that_does_not_read_costs_no_memory() {
    let server = Server::open(1 << 20);
    let stream = server.stream();
    let mut last = server.fake.asked();
    let mut still = 0;
    let end = Instant::now() + PATIENCE;
    while still < 10 {
        assert!(Instant::now() < end, "still written to after {} events", server.fake.asked());
        server.fake.change();
        thread::sleep(Duration::from_millis(200));
        let asked = server.fake.asked();
        still = if asked == last { still + 1 } else { 0 };
        last = asked;
    }
    // What the system's own socket buffers hold, of a megabyte each.
    assert!(last < 20, "{last}");
    drop(stream);
    wait_until(|| server.fake.changes.receiver_count() == 0);
}

fn wait_until(mut done: impl FnMut() -> bool) {
    let end = Instant::now() + PATIENCE;
    while !done() {
        assert!(Instant::now() < end, "it never came");
        thread::sleep(Duration::from_millis(20));
    }
}
