//! `tallywheel run` as a process on this machine, without any board: what it says, sends and leaves.
//! With boards it is tested on a kernel of its own, in `tests/kernel`.

#![allow(clippy::disallowed_methods, reason = "a test of the running program lives in real time")]
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::net::UdpSocket;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};
use tallywheel_tests::{Folder, run, tallywheel, top};

/// Far longer than anything here takes, for machines that are busy with something else.
const PATIENCE: Duration = Duration::from_secs(30);

struct Daemon {
    child: Child,
    lines: Receiver<String>,
    seen: Vec<String>,
}

impl Daemon {
    fn start(folder: &Folder) -> Self {
        let log = folder.path().join("log");
        let mut child = Command::new(tallywheel())
            .args(["run", "--config", folder.arg(), "--log-dir"])
            .arg(log)
            .env("XDG_RUNTIME_DIR", folder.path().join("runtime"))
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let (send, lines) = channel();
        let stderr = child.stderr.take().unwrap();
        std::thread::spawn(move || {
            for line in BufReader::new(stderr).lines().map_while(Result::ok) {
                let _ = send.send(line);
            }
        });
        Self { child, lines, seen: Vec::new() }
    }

    fn wait_for(&mut self, text: &str) {
        let end = Instant::now() + PATIENCE;
        while !self.seen.iter().any(|line| line.contains(text)) {
            let left = end.saturating_duration_since(Instant::now());
            match self.lines.recv_timeout(left) {
                Ok(line) => self.seen.push(line),
                Err(_) => panic!("it never said {text:?}, but: {:#?}", self.seen),
            }
        }
    }

    #[cfg(unix)]
    fn signal(&self, signal: &str) {
        let done = Command::new("kill").args([signal, &self.child.id().to_string()]).status().unwrap();
        assert!(done.success());
    }

    fn end(mut self) -> Option<i32> {
        let end = Instant::now() + PATIENCE;
        while Instant::now() < end {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status.code();
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!("it does not end: {:#?}", self.seen);
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn folder(test: &str, output: &str) -> Folder {
    let folder = Folder::new(test);
    folder.write("rig.toml", &std::fs::read_to_string(top().join("config/rig.toml")).unwrap());
    folder.write(
        "aircraft/kettrin.toml",
        &format!(
            "name = \"Kettrin\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 580\nstart = \"low\"\n{output}"
        ),
    );
    folder
}

#[cfg(unix)]
#[test]
fn it_starts_without_its_board_publishes_and_ends_on_a_signal() {
    for signal in ["-TERM", "-INT"] {
        let receiver = UdpSocket::bind("127.0.0.1:0").unwrap();
        receiver.set_read_timeout(Some(PATIENCE)).unwrap();
        let to = receiver.local_addr().unwrap();
        let folder = folder("run", &format!("[[output]]\nkind = \"datagram\"\nto = \"{to}\"\n"));
        let mut daemon = Daemon::start(&folder);
        daemon.wait_for("the board is not plugged in; waiting for it board=\"main\"");
        let mut buffer = [0; 2048];
        let length = receiver.recv(&mut buffer).unwrap();
        let datagram: Value = serde_json::from_slice(&buffer[..length]).unwrap();
        // Wound fully to one side for take-off: the low stop is exactly -1 and -32767.
        assert_eq!(datagram["trims"]["rudder"]["position"].as_f64(), Some(-1.0), "{datagram}");
        assert_eq!(datagram["trims"]["rudder"]["axis"].as_i64(), Some(-32767), "{datagram}");
        daemon.signal(signal);
        assert_eq!(daemon.end(), Some(0));
        let log = std::fs::read_to_string(folder.path().join("log/tallywheel.log")).unwrap();
        assert!(log.contains("started") && log.contains("stopped"), "{log}");
        assert!(log.contains("waiting for it") && !log.contains('\u{1b}'), "{log}");
    }
}

/// This machine may have uinput or not, and may let us use it or not; the kernel suite takes the node away.
/// Whatever it is, the daemon says how it stands with the joystick and goes on.
#[cfg(target_os = "linux")]
#[test]
fn without_uinput_it_says_what_to_do_and_goes_on() {
    let folder = folder("nouinput", "[[output]]\nkind = \"axis\"\n");
    let mut daemon = Daemon::start(&folder);
    let there = std::path::Path::new("/dev/uinput").exists();
    daemon.wait_for(if there { "output=\"axis \\\"Tallywheel bench\\\"\"" } else { "modprobe uinput" });
    // Still running after it was tried again.
    daemon.wait_for("the board is not plugged in");
    std::thread::sleep(Duration::from_millis(1500));
    daemon.signal("-TERM");
    assert_eq!(daemon.end(), Some(0));
}

#[test]
fn a_wrong_file_is_named_with_its_place() {
    let folder = folder("wrongfile", "[[output]]\nkind = \"axes\"\n");
    let ran = run(&["run", "--config", folder.arg(), "--log-dir", folder.arg()]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.err.contains("kettrin.toml:7:8: output.kind: expected"), "{}", ran.err);
}

#[test]
fn with_several_aircraft_one_must_be_chosen() {
    let folder = folder("several", "");
    folder.write(
        "aircraft/second.toml",
        "name = \"Second\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 90\n",
    );
    let ran = run(&["run", "--config", folder.arg(), "--log-dir", folder.arg()]);
    assert_eq!(ran.code, Some(1));
    assert_eq!(
        ran.err,
        "tallywheel: there are 2 aircraft files; choose one with --aircraft: kettrin, second\n"
    );
    let ran = run(&["run", "--config", folder.arg(), "--log-dir", folder.arg(), "--aircraft", "third"]);
    assert_eq!(
        ran.err,
        "tallywheel: there is no aircraft third; choose one with --aircraft: kettrin, second\n"
    );
}

#[test]
fn a_log_that_cannot_be_written_is_said() {
    let folder = folder("nolog", "");
    folder.write("file", "");
    let log = format!("{}/file/log", folder.arg());
    let ran = run(&["run", "--config", folder.arg(), "--log-dir", &log]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.err.contains("cannot write the log file") && ran.err.contains("--log-dir"), "{}", ran.err);
}
