//! The running daemon and the commands that talk to it, as processes on this machine; no board is needed.

#![allow(clippy::disallowed_methods, reason = "a test of the running program lives in real time")]
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]
#![cfg(target_os = "linux")]

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream, UdpSocket};
use std::os::unix::fs::PermissionsExt;
use std::path::PathBuf;
use std::process::{Child, Command, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};
use tallywheel_tests::{Folder, tallywheel, top};

/// Far longer than anything here takes, for machines that are busy with something else.
const PATIENCE: Duration = Duration::from_secs(60);

/// A folder with two aircraft, and everything that belongs to a daemon for it.
struct Bench {
    folder: Folder,
}

struct Daemon(Child);

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Bench {
    fn new(test: &str) -> Self {
        let folder = Folder::new(test);
        folder.write("rig.toml", &std::fs::read_to_string(top().join("config/rig.toml")).unwrap());
        for (file, name, travel) in [("kettrin", "Kettrin", 580), ("dimmerly", "Dimmerly", 180)] {
            let text = format!(
                "name = \"{name}\"\n[[trim]]\nname = \"trim\"\nwheel = \"rudder\"\ntravel_degrees = {travel}\n"
            );
            folder.write(&format!("aircraft/{file}.toml"), &text);
        }
        Self { folder }
    }

    fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(tallywheel());
        command.args(words).args(["--config", self.folder.arg()]);
        command.env("XDG_RUNTIME_DIR", self.folder.path().join("runtime"));
        command
    }

    fn run_daemon(&self) -> Command {
        let mut run = self.command(&["run", "--aircraft", "kettrin"]);
        run.arg("--log-dir").arg(self.folder.path().join("log")).stderr(Stdio::null());
        run
    }

    /// Starts a daemon and waits until it can be asked.
    fn daemon(&self) -> Daemon {
        let daemon = Daemon(self.run_daemon().spawn().unwrap());
        let end = Instant::now() + PATIENCE;
        while self.tell(&["status"]).code != 0 {
            assert!(Instant::now() < end, "it cannot be asked");
            std::thread::sleep(Duration::from_millis(20));
        }
        daemon
    }

    fn tell(&self, words: &[&str]) -> Told {
        let Output { status, stdout, stderr } = self.command(words).output().unwrap();
        let text = |bytes| String::from_utf8(bytes).unwrap();
        Told { code: status.code().unwrap(), out: text(stdout), err: text(stderr) }
    }

    fn status(&self) -> Value {
        let status: Value = serde_json::from_str(&self.tell(&["status", "--json"]).out).unwrap();
        assert_eq!(status["broken_invariants"], 0, "{status:#}");
        status
    }

    /// The daemon's file with address and token.
    fn contact(&self) -> (PathBuf, Value) {
        let files = std::fs::read_dir(self.folder.path().join("runtime/tallywheel")).unwrap();
        let path =
            files.map(|file| file.unwrap().path()).find(|path| path.extension().is_some_and(|e| e == "json"));
        let path = path.unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        (path, serde_json::from_str(&text).unwrap())
    }
}

/// What a command came to.
#[derive(Debug, PartialEq, Eq)]
struct Told {
    code: i32,
    out: String,
    err: String,
}

fn told(code: i32, out: &str, err: &str) -> Told {
    Told { code, out: out.to_owned(), err: err.to_owned() }
}

#[test]
fn everything_can_be_asked_and_told() {
    let bench = Bench::new("control");
    let daemon = bench.daemon();
    let status = bench.status();
    assert_eq!(status["process"], daemon.0.id());
    assert_eq!(status["aircraft"]["file"], "kettrin");
    assert_eq!(status["boards"][0]["state"], "missing");
    assert!(status["boards"][0]["cure"].as_str().unwrap().contains("plug it in"));
    assert_eq!(status["trims"][0]["degrees"], 290.0);

    // By the trim's name and by its wheel's, by a name and by degrees.
    assert_eq!(
        bench.tell(&["align", "trim", "low"]),
        told(0, "trim is at -1.0000, 0.0\u{b0} of 580\u{b0}, certain, at the low stop\n", "")
    );
    assert_eq!(
        bench.tell(&["align", "rudder", "290"]).out,
        "trim is at +0.0000, 290.0\u{b0} of 580\u{b0}, certain\n"
    );
    assert_eq!(bench.tell(&["align", "rudder", "500\u{b0}"]).code, 0);
    assert_eq!(bench.status()["trims"][0]["degrees"], 500.0);
    assert_eq!(
        bench.tell(&["align", "flaps", "low"]),
        told(1, "", "tallywheel: there is no trim or wheel flaps; there are: trim\n")
    );
    assert_eq!(
        bench.tell(&["align", "trim", "sideways"]),
        told(1, "", "tallywheel: trim trim has no position sideways; there are: low, neutral, high\n")
    );

    assert_eq!(bench.tell(&["fly"]), told(0, "  dimmerly  Dimmerly\n> kettrin   Kettrin\n", ""));
    let flying = bench.tell(&["fly", "Dimmerly"]);
    assert!(flying.out.starts_with("flying Dimmerly\ntrim is at "), "{flying:?}");
    assert_eq!(bench.status()["aircraft"]["file"], "dimmerly");
    assert_eq!(
        bench.tell(&["fly", "mimmick"]),
        told(1, "", "tallywheel: there is no aircraft mimmick; there are: dimmerly, kettrin\n")
    );

    assert_eq!(bench.tell(&["hold", "on"]), told(0, "the outputs are held\n", ""));
    assert_eq!(bench.status()["held"], true);
    assert!(bench.tell(&["status"]).out.contains("The outputs are held"));
    assert_eq!(bench.tell(&["hold", "off"]), told(0, "the outputs follow the wheels\n", ""));
    assert_eq!(bench.tell(&["hold", "perhaps"]).code, 2);

    assert_eq!(bench.tell(&["reload"]), told(0, "all files were read; flying Dimmerly\n", ""));
    bench.folder.write("aircraft/kettrin.toml", "name = \"Kettrin\"\ntrim = 7\n");
    let wrong = bench.tell(&["reload"]);
    assert_eq!(wrong.code, 1);
    assert!(wrong.err.contains("goes on with what it had before:\n"), "{wrong:?}");
    assert!(wrong.err.contains("kettrin.toml:2:"), "{wrong:?}");
    assert!(bench.tell(&["status"]).out.contains("is wrong and was not taken"));
    assert_eq!(bench.tell(&["status", "--losses"]), told(0, "no losses\n", ""));
}

/// A simulator's side, at a port of this machine that was free just now.
struct Simulator {
    socket: UdpSocket,
    sequence: u64,
}

impl Simulator {
    fn new() -> Self {
        Self { socket: UdpSocket::bind("127.0.0.1:0").unwrap(), sequence: 0 }
    }

    fn send(&self, to: &str, text: &str) {
        self.socket.send_to(text.as_bytes(), to).unwrap();
    }

    fn report(&mut self, to: &str, keys: &str) {
        self.sequence += 1;
        self.send(to, &format!("{{\"tallywheel\":1,\"sequence\":{}{keys}}}", self.sequence));
    }
}

fn free() -> String {
    UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap().to_string()
}

impl Bench {
    /// The rig file, listening to a simulator as `keys` say.
    fn listen(&self, keys: &str) {
        let rig = std::fs::read_to_string(top().join("config/rig.toml")).unwrap();
        self.folder.write("rig.toml", &format!("{rig}\n[simulator]\n{keys}\n"));
    }

    fn log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("log/tallywheel.log")).unwrap()
    }

    /// Looks at the status until something is so.
    fn until(&self, what: &str, mut is_so: impl FnMut(&Value) -> bool) -> Value {
        let end = Instant::now() + PATIENCE;
        loop {
            let status = self.status();
            if is_so(&status["simulator"]) {
                return status["simulator"].clone();
            }
            assert!(Instant::now() < end, "it never came: {what}; {:#}", status["simulator"]);
            std::thread::sleep(Duration::from_millis(10));
        }
    }
}

#[test]
fn each_datagram_of_the_simulator_is_counted_once_and_shown() {
    let bench = Bench::new("datagrams");
    let quiet = bench.daemon();
    assert_eq!(bench.status()["simulator"], Value::Null);
    assert!(!bench.tell(&["status"]).out.contains("simulator"), "nobody listens to one");
    drop(quiet);

    let (to, mut simulator) = (free(), Simulator::new());
    bench.listen(&format!("listen = \"{to}\"\nsenders = [\"127.0.0.1\"]"));
    let _daemon = bench.daemon();
    let none = json!({ "accepted": 0, "late": 0, "malformed": 0, "strangers": 0, "flooded": 0 });
    let at_rest = json!({ "heard": false, "title": null, "paused": false, "listen": to, "datagrams": none });
    assert_eq!(bench.until("listening", |_| true), at_rest);
    let said = format!("  simulator  not heard at {to}\n             no datagram has come\n");
    assert!(bench.tell(&["status"]).out.contains(&said), "{said}");

    for _ in 0..3 {
        simulator.report(&to, ",\"title\":\"Kettrin\"");
    }
    simulator.send(&to, "{\"tallywheel\":1,\"sequence\":1}");
    simulator.send(&to, "{\"tallywheel\":1,\"sequence\":3}");
    for wrong in [
        "",
        "{",
        "{\"tallywheel\":2,\"sequence\":9}",
        "{\"tallywheel\":1,\"sequence\":9,\"trims\":{\"a\":7}}",
    ] {
        simulator.send(&to, wrong);
    }
    // All of 127.0.0.0/8 is this machine (RFC 1122, section 3.2.1.3).
    let stranger = UdpSocket::bind("127.0.0.2:0").unwrap();
    stranger.send_to(b"{\"tallywheel\":1,\"sequence\":900}", &to).unwrap();
    let heard = bench.until("all", |simulator| simulator["datagrams"]["strangers"] == 1);
    let counted = json!({ "accepted": 3, "late": 2, "malformed": 4, "strangers": 1, "flooded": 0 });
    let wanted =
        json!({ "heard": true, "title": "Kettrin", "paused": false, "listen": to, "datagrams": counted });
    assert_eq!(heard, wanted);
    let said = "  simulator  heard: Kettrin\n             datagrams: 3 accepted; dropped: 2 late or repeated, \
        4 not understood, 1 from senders that are not allowed\n";
    let told = bench.tell(&["status"]).out;
    assert!(told.contains(said), "{told}");

    let before = heard["datagrams"]["malformed"].as_u64().unwrap();
    let flooded = bench.until("a flood", |heard| {
        (0..400).for_each(|_| simulator.send(&to, "x"));
        heard["datagrams"]["flooded"].as_u64().unwrap() > 0
    });
    assert!(flooded["datagrams"]["malformed"].as_u64().unwrap() > before);
    assert!(bench.tell(&["status"]).out.contains(" too many at once\n"));
}

/// What is saved counts at once, and what it leads to is said in the log and in the status.
#[test]
fn another_port_other_senders_and_no_simulator_at_all_are_taken_up_while_it_runs() {
    let bench = Bench::new("listening");
    let _daemon = bench.daemon();
    let (first, second, mut simulator) = (free(), free(), Simulator::new());
    let accepted = |heard: &Value| heard["datagrams"]["accepted"].as_u64();
    let is_free = |at: &str| UdpSocket::bind(at).is_ok();

    // A table that was not there when the daemon started.
    bench.listen(&format!("listen = \"{first}\"\ngone_after_s = 3600"));
    bench.until("the first port is heard", |heard| {
        simulator.report(&first, ",\"trims\":{\"trim\":0.5}");
        heard["heard"] == true
    });
    assert!(bench.log().contains(&format!("listening to the simulator address={first}")), "{}", bench.log());
    assert_eq!(bench.status()["trims"][0]["position"], 0.5, "the report is a reference");

    // A port that somebody else has is said to be one, and the old one is given up all the same.
    let taken = UdpSocket::bind("127.0.0.1:0").unwrap();
    let at = taken.local_addr().unwrap().to_string();
    bench.listen(&format!("listen = \"{at}\"\ngone_after_s = 3600"));
    let deaf = bench.until("the port is in use", |heard| heard["not_listening"].is_string());
    assert_eq!(deaf["listen"], at);
    assert!(is_free(&first));
    let told = bench.tell(&["status"]).out;
    assert!(told.contains(&format!("  simulator  cannot be listened to at {at}: ")), "{told}");
    assert!(bench.log().contains("the simulator cannot be listened to: "), "{}", bench.log());

    // Another port, and another time of silence: the hour of the old one would not be over.
    let before = accepted(&deaf);
    bench.listen(&format!("listen = \"{second}\"\ngone_after_s = 0.5"));
    let heard = bench.until("the second port is heard", |heard| {
        simulator.report(&second, "");
        accepted(heard) > before
    });
    assert_eq!((&heard["listen"], &heard["not_listening"]), (&json!(second), &Value::Null));
    bench.until("it is gone", |heard| heard["heard"] == false);
    assert!(bench.log().contains("the simulator reports no more"), "{}", bench.log());

    // Other senders: what comes from here is dropped, and then it is not.
    bench.listen(&format!("listen = \"{second}\"\nsenders = [\"127.0.0.2\"]"));
    let dropped = bench.until("a stranger", |heard| {
        simulator.report(&second, "");
        heard["datagrams"]["strangers"].as_u64() > Some(2)
    });
    bench.listen(&format!("listen = \"{second}\"\nsenders = [\"127.0.0.1\"]"));
    bench.until("no stranger", |heard| {
        simulator.report(&second, "");
        accepted(heard) > accepted(&dropped)
    });

    // A table that is wrong changes nothing; none at all ends it.
    bench.listen("listen = 7");
    assert_eq!(bench.tell(&["reload"]).code, 1);
    assert_eq!(bench.status()["simulator"]["listen"], second);
    bench.folder.write("rig.toml", &std::fs::read_to_string(top().join("config/rig.toml")).unwrap());
    bench.until("nobody listens", Value::is_null);
    assert!(is_free(&second));
    assert!(bench.log().contains("no longer listening to the simulator"), "{}", bench.log());
}

#[test]
fn without_a_daemon_every_command_says_so_and_ends_with_3() {
    let bench = Bench::new("nobody");
    let said =
        format!("tallywheel: no daemon runs for {}; start it with `tallywheel run`\n", bench.folder.arg());
    let commands: [&[&str]; 8] = [
        &["status"],
        &["status", "--json"],
        &["status", "--follow"],
        &["align", "trim", "low"],
        &["fly"],
        &["fly", "kettrin"],
        &["hold", "on"],
        &["reload"],
    ];
    for words in commands {
        assert_eq!(bench.tell(words), told(3, "", &said), "{words:?}");
    }
}

#[test]
fn a_second_daemon_says_so_and_stops_and_a_killed_one_is_no_hindrance() {
    let bench = Bench::new("second");
    let mut first = bench.daemon();
    let second = bench.run_daemon().stderr(Stdio::piped()).output().unwrap();
    assert_eq!(second.status.code(), Some(1));
    let said = String::from_utf8(second.stderr).unwrap();
    assert!(said.contains(&format!("a daemon (process {}) runs already for ", first.0.id())), "{said}");
    // It changed nothing of the first one's.
    assert_eq!(bench.status()["process"], first.0.id());
    first.0.kill().unwrap();
    first.0.wait().unwrap();
    let gone = bench.tell(&["status"]);
    assert_eq!(gone.code, 3);
    assert!(gone.err.contains("is gone without saying so"), "{gone:?}");
    let third = bench.daemon();
    assert_eq!(bench.status()["process"], third.0.id());
}

#[test]
fn a_daemon_that_ends_leaves_no_address_and_no_token() {
    let bench = Bench::new("leaves");
    let mut daemon = bench.daemon();
    let (path, contact) = bench.contact();
    let mode = |path: &std::path::Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!((mode(&path), mode(path.parent().unwrap())), (0o600, 0o700));
    assert_eq!(contact["token"].as_str().unwrap().len(), 64);
    assert!(contact["address"].as_str().unwrap().starts_with("127.0.0.1:"));
    // The token is in no log and in nobody's list of processes.
    let log = std::fs::read_to_string(bench.folder.path().join("log/tallywheel.log")).unwrap();
    assert!(!log.contains(contact["token"].as_str().unwrap()));
    Command::new("kill").args(["-TERM", &daemon.0.id().to_string()]).status().unwrap();
    assert_eq!(daemon.0.wait().unwrap().code(), Some(0));
    assert!(!path.exists());
    assert_eq!(bench.tell(&["status"]).code, 3);
}

#[test]
fn one_line_in_the_rig_file_turns_it_off() {
    let bench = Bench::new("off");
    let rig = std::fs::read_to_string(top().join("config/rig.toml")).unwrap();
    bench.folder.write("rig.toml", &format!("control = false\n{rig}"));
    let _daemon = Daemon(bench.run_daemon().spawn().unwrap());
    let end = Instant::now() + PATIENCE;
    let silent = loop {
        let told = bench.tell(&["status"]);
        if !told.err.contains("no daemon runs") {
            break told;
        }
        assert!(Instant::now() < end, "{told:?}");
        std::thread::sleep(Duration::from_millis(20));
    };
    assert_eq!(silent.code, 3);
    assert!(silent.err.contains("takes no commands: its rig.toml says `control = false`"), "{silent:?}");
    // No port is open: what the process listens to is in /proc (proc(5)); 0A is the state LISTEN.
    let listening = std::fs::read_to_string(format!("/proc/{}/net/tcp", _daemon.0.id())).unwrap();
    let sockets = sockets(_daemon.0.id());
    for line in listening.lines().skip(1) {
        let fields: Vec<_> = line.split_whitespace().collect();
        assert!(fields[3] != "0A" || !sockets.contains(&fields[9].to_owned()), "{line}");
    }
    let second = bench.run_daemon().stderr(Stdio::piped()).output().unwrap();
    assert!(String::from_utf8(second.stderr).unwrap().contains("runs already for"));
}

/// The inodes of a process's sockets.
fn sockets(process: u32) -> Vec<String> {
    let handles = std::fs::read_dir(format!("/proc/{process}/fd")).unwrap();
    let links = handles.filter_map(|handle| std::fs::read_link(handle.unwrap().path()).ok());
    links
        .filter_map(|link| Some(link.to_str()?.strip_prefix("socket:[")?.strip_suffix(']')?.to_owned()))
        .collect()
}

#[test]
fn a_token_that_is_not_the_daemon_s_is_said_with_its_cure() {
    let bench = Bench::new("stale");
    let _daemon = bench.daemon();
    let (path, mut contact) = bench.contact();
    contact["token"] = Value::String("0".repeat(64));
    std::fs::write(path, contact.to_string()).unwrap();
    let stale = bench.tell(&["status"]);
    assert_eq!(stale.code, 1);
    assert!(stale.err.contains("does not know this user's token; end it and start"), "{stale:?}");
}

fn lines(child: &mut Child) -> Receiver<String> {
    let (send, lines) = channel();
    let stdout = child.stdout.take().unwrap();
    std::thread::spawn(move || {
        for line in BufReader::new(stdout).lines().map_while(Result::ok) {
            let _ = send.send(line);
        }
    });
    lines
}

#[test]
fn following_tells_each_change_and_ends_with_the_daemon() {
    let bench = Bench::new("follow");
    let mut daemon = bench.daemon();
    let mut follow = bench.command(&["status", "--follow", "--json"]);
    let mut follow = Daemon(follow.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap());
    let lines = lines(&mut follow.0);
    let degrees = || {
        let line: Value = serde_json::from_str(&lines.recv_timeout(PATIENCE).unwrap()).unwrap();
        line["trims"][0]["degrees"].as_f64().unwrap()
    };
    assert_eq!(degrees(), 290.0);
    assert_eq!(bench.tell(&["align", "trim", "100"]).code, 0);
    while degrees() != 100.0 {}
    Command::new("kill").args(["-TERM", &daemon.0.id().to_string()]).status().unwrap();
    daemon.0.wait().unwrap();
    assert_eq!(follow.0.wait().unwrap().code(), Some(1));
    let mut said = String::new();
    follow.0.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    assert_eq!(said, "tallywheel: the daemon has ended\n");
}

fn number(process: u32, key: &str) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix(key)).unwrap();
    line.split_whitespace().next().unwrap().parse().unwrap()
}

fn switches(process: u32) -> u64 {
    let tasks = std::fs::read_dir(format!("/proc/{process}/task")).unwrap();
    let count = |task: PathBuf| {
        let status = std::fs::read_to_string(task.join("status")).unwrap_or_default();
        let counts = status.lines().filter(|line| line.contains("ctxt_switches"));
        counts.filter_map(|line| line.split_whitespace().last()?.parse::<u64>().ok()).sum::<u64>()
    };
    tasks.map(|task| count(task.unwrap().path())).sum()
}

/// 200 streams that are read, 200 that are not, and 200 that say nothing: memory stays bounded, every handle is
/// given back, commands go on meanwhile, and afterwards nothing wakes up any more.
#[test]
fn crowds_cost_little_and_leave_nothing() {
    let bench = Bench::new("crowds");
    let daemon = bench.daemon();
    let id = daemon.0.id();
    let (_, contact) = bench.contact();
    let at: SocketAddr = contact["address"].as_str().unwrap().parse().unwrap();
    let head = format!(
        "GET /v1/stream HTTP/1.1\r\nHost: {at}\r\nAuthorization: Bearer {}\r\n\r\n",
        contact["token"].as_str().unwrap()
    );
    let open = |head: &str| -> Vec<TcpStream> {
        let connect = |_| {
            let mut stream = TcpStream::connect(at).unwrap();
            let _ = stream.write_all(head.as_bytes());
            stream
        };
        (0..200).map(connect).collect()
    };
    let handles = || std::fs::read_dir(format!("/proc/{id}/fd")).unwrap().count();
    let settle = |wanted: usize| {
        let end = Instant::now() + PATIENCE;
        while handles() > wanted {
            assert!(Instant::now() < end, "{} handles, {wanted} before", handles());
            std::thread::sleep(Duration::from_millis(50));
        }
    };
    let before = handles();
    drop(open(&head));
    settle(before);
    let resident = number(id, "VmRSS:");
    for round in 0..4 {
        let streams = open(&head);
        for step in 0..20 {
            assert_eq!(bench.tell(&["align", "trim", &(round * 20 + step).to_string()]).code, 0);
        }
        drop(streams);
        drop(open(""));
        drop(open("GET /v1/stream HTTP/1.1\r\nHost: x\r\n\r\n"));
        settle(before);
    }
    let grown = number(id, "VmRSS:").saturating_sub(resident);
    assert!(grown < 2048, "{grown} KiB more than after the first crowd");
    // No absolute time: it is enough that it comes to rest. The wheel's outputs and the board are at rest too.
    let end = Instant::now() + PATIENCE;
    loop {
        let count = switches(id);
        std::thread::sleep(Duration::from_secs(2));
        if switches(id) == count {
            break;
        }
        assert!(Instant::now() < end, "it never comes to rest");
    }
}
