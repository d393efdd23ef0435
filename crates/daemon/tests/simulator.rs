//! A simulator that reports, and buttons of the board that do something, against the running program.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

mod common;

use common::{AIRCRAFT, Bench, RIG, aircraft, until};
use std::fs;
use std::net::UdpSocket;
use std::path::PathBuf;
use std::time::Duration;

/// The program, a simulator's sender, and the receiver of what the program sends it.
struct Cockpit {
    bench: Bench,
    reports: UdpSocket,
    listen: String,
    sequence: std::cell::Cell<u64>,
    receiver: UdpSocket,
}

/// A port that was free just now.
fn free() -> String {
    UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap().to_string()
}

impl Cockpit {
    /// The aircraft has `keys` in its trim's table.
    fn start(test: &str, keys: &str) -> Self {
        let (listen, receiver) = (free(), UdpSocket::bind("127.0.0.1:0").unwrap());
        receiver.set_read_timeout(Some(common::PATIENCE)).unwrap();
        let folder = std::env::temp_dir().join(format!("tallywheel-{test}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(folder.join("aircraft")).unwrap();
        let rig = format!("{RIG}[simulator]\nlisten = \"{listen}\"\ngone_after_s = 0.5\n{BUTTONS}");
        fs::write(folder.join("rig.toml"), rig).unwrap();
        let to = receiver.local_addr().unwrap();
        fs::write(folder.join(AIRCRAFT), with_output(&aircraft(720, keys), &to.to_string())).unwrap();
        let text = with_output(&aircraft(90, ""), &to.to_string())
            .replace("Kettrin\"", "Ozzock\"\ntitles = [\"ozzock*\"]");
        fs::write(folder.join("aircraft/ozzock.toml"), text).unwrap();
        Self::start_in(folder, listen, receiver)
    }

    fn start_in(folder: PathBuf, listen: String, receiver: UdpSocket) -> Self {
        let settings =
            tallywheel::run::Settings { aircraft: Some("kettrin".into()), ..common::settings(&folder) };
        let bench = Bench::start_with(settings);
        let reports = UdpSocket::bind("127.0.0.1:0").unwrap();
        Self { bench, reports, listen, sequence: std::cell::Cell::new(0), receiver }
    }

    fn send(&self, bytes: &[u8]) {
        self.reports.send_to(bytes, &self.listen).unwrap();
    }

    fn report(&self, keys: &str) {
        self.sequence.set(self.sequence.get() + 1);
        self.send(format!("{{\"tallywheel\":1,\"sequence\":{}{keys}}}", self.sequence.get()).as_bytes());
    }

    /// Reports until something is so; the socket may not be open yet.
    fn report_until(&self, keys: &str, what: &str, is_so: impl Fn() -> bool) {
        until(what, || {
            self.report(keys);
            std::thread::sleep(Duration::from_millis(10));
            is_so()
        });
    }

    /// The next position that the program sends.
    fn sent(&self) -> f64 {
        let mut buffer = [0; 200];
        let length = self.receiver.recv(&mut buffer).unwrap();
        let line = String::from_utf8_lossy(&buffer[..length]).into_owned();
        line.trim().strip_prefix("rudder ").unwrap().parse().unwrap()
    }

    /// Whether the program sent nothing more so far.
    fn is_quiet(&self) -> bool {
        self.receiver.set_nonblocking(true).unwrap();
        let quiet = self.receiver.recv(&mut [0; 200]).is_err();
        self.receiver.set_nonblocking(false).unwrap();
        quiet
    }
}

fn with_output(aircraft: &str, to: &str) -> String {
    format!("{aircraft}[[output]]\nkind = \"datagram\"\ntemplate = \"line\"\nto = \"{to}\"\n")
}

const BUTTONS: &str = "[[button]]\nbutton = 9\ndoes = \"align\"\nwheel = \"rudder\"\nposition = \"low\"\n\
    [[button]]\nbutton = 10\ndoes = \"next-aircraft\"\n[[button]]\nbutton = 11\ndoes = \"hold\"\n\
    [[button]]\nbutton = 12\ndoes = \"next-ratio\"\nwheel = \"rudder\"\n\
    [[button]]\nbutton = 13\ndoes = \"align\"\nwheel = \"rudder\"\nposition = \"take-off\"\n";

#[test]
fn a_report_is_adopted_and_nothing_jumps_in_the_aircraft() {
    let cockpit = Cockpit::start("adopt", "start = \"simulator\"\n");
    let bench = &cockpit.bench;
    bench.turn(0, 3);
    until("turned", || bench.counts(0) == 3);
    bench.mark();
    assert!(cockpit.is_quiet(), "nothing is sent before the simulator has reported");
    cockpit
        .report_until(",\"trims\":{\"rudder\":0.25}", "the report is adopted", || bench.degrees() == 450.0);
    assert_eq!(cockpit.sent(), 0.25, "the first thing sent is what the simulator has");
    bench.turn(0, 1);
    assert_eq!(cockpit.sent(), 0.291_666_667, "105 of 360 degrees");
    cockpit.bench.stop();
}

#[test]
fn an_awaited_report_is_sent_until_the_wheel_passes_it() {
    let cockpit = Cockpit::start("await", "report = \"await\"\nstart = \"simulator\"\n");
    let bench = &cockpit.bench;
    cockpit.report_until(",\"trims\":{\"rudder\":0.125}", "it is awaited", || bench.shared.is_awaiting(0));
    assert_eq!(cockpit.sent(), 0.125);
    assert_eq!(bench.degrees(), 360.0);
    bench.turn(0, 2);
    until("turned", || bench.counts(0) == 2);
    assert!(cockpit.is_quiet());
    bench.turn(0, 1);
    until("it follows", || !bench.shared.is_awaiting(0));
    bench.turn(0, 1);
    assert_eq!(cockpit.sent(), 0.166_666_667, "60 of 360 degrees: the place itself was sent already");
    cockpit.bench.stop();
}

#[test]
fn an_overridden_report_changes_nothing() {
    let cockpit = Cockpit::start("override", "report = \"override\"\n");
    let bench = &cockpit.bench;
    assert_eq!(cockpit.sent(), 0.0);
    cockpit.report_until(",\"title\":\"ozzock 7\",\"trims\":{\"rudder\":0.5}", "the title", || {
        bench.shared.look(|tally| tally.trims()[0].accumulator.config().travel().get()) == 90.0
    });
    cockpit.bench.stop();
}

#[test]
fn a_title_picks_the_aircraft_and_the_user_may_pick_another() {
    use tallywheel_engine::commands::{Choice, Command};
    let cockpit = Cockpit::start("title", "");
    let bench = &cockpit.bench;
    let travel = || bench.shared.look(|tally| tally.trims()[0].accumulator.config().travel().get());
    cockpit.report_until(",\"title\":\"Ozzock 7 tug\"", "the title is known", || travel() == 90.0);
    bench.ask(Command::Fly(Choice::Named("kettrin".into()))).unwrap();
    cockpit.report(",\"title\":\"Ozzock 7 tug\"");
    bench.mark();
    std::thread::sleep(Duration::from_millis(50));
    bench.mark();
    assert_eq!(travel(), 720.0, "the same title is no news");
    cockpit.report_until(",\"title\":\"unheard of\"", "another title", || true);
    assert_eq!(travel(), 720.0);
    // A file for it is written while the simulator runs.
    let text = fs::read_to_string(bench.folder.join("aircraft/ozzock.toml")).unwrap();
    fs::write(bench.folder.join("aircraft/ozzock.toml"), text.replace("ozzock*", "unheard*")).unwrap();
    cockpit.report_until(",\"title\":\"unheard of\"", "the new file", || travel() == 90.0);
    cockpit.bench.stop();
}

/// The simulator changes the aircraft, and what its reports do is what the new file says.
#[test]
fn each_aircraft_s_file_says_what_a_report_does() {
    let cockpit = Cockpit::start("each", "");
    let bench = &cockpit.bench;
    let to = cockpit.receiver.local_addr().unwrap();
    let travel = |trim: usize| {
        bench
            .shared
            .look(|tally| tally.trims().get(trim).map(|trim| trim.accumulator.config().travel().get()))
    };
    let text = "name = \"Dimmerly\"\ntitles = [\"dimmerly*\"]\n\
        [[trim]]\nname = \"rudder\"\ntravel_degrees = 180\nreport = \"override\"\nstart = \"neutral\"\n\
        [[trim]]\nname = \"pitch\"\nwheel = \"elevator\"\ntravel_degrees = 80\n";
    fs::write(bench.folder.join("aircraft/dimmerly.toml"), text).unwrap();
    cockpit.report_until(
        ",\"title\":\"dimmerly 2\",\"trims\":{\"rudder\":0.5,\"pitch\":0.5}",
        "the aircraft",
        || travel(0) == Some(180.0),
    );
    until("its second trim has a report of its own", || {
        cockpit.report(",\"trims\":{\"rudder\":0.5,\"pitch\":0.5}");
        std::thread::sleep(Duration::from_millis(10));
        bench.shared.look(|tally| tally.readings()[1].degrees.get()) == 60.0
    });
    assert_eq!(bench.degrees(), 90.0, "its first one is overridden");
    // One that is to start where the simulator has it: nothing is sent of it before that is known.
    let text = with_output(&aircraft(90, "start = \"simulator\"\n"), &to.to_string())
        .replace("Kettrin\"", "Tindlow\"\ntitles = [\"tindlow*\"]");
    fs::write(bench.folder.join("aircraft/tindlow.toml"), text).unwrap();
    cockpit.report_until(",\"title\":\"tindlow\"", "the next aircraft", || travel(0) == Some(90.0));
    let mut buffer = [0; 200];
    cockpit.receiver.set_nonblocking(true).unwrap();
    while cockpit.receiver.recv(&mut buffer).is_ok() {}
    cockpit.receiver.set_nonblocking(false).unwrap();
    bench.turn(0, 1);
    until("turned", || bench.counts(0) == 1);
    bench.mark();
    assert!(cockpit.is_quiet(), "nothing is sent before the simulator has reported");
    cockpit.report(",\"trims\":{\"rudder\":-0.5}");
    assert_eq!(cockpit.sent(), -0.5);
    cockpit.bench.stop();
}

/// The simulator's reports lag behind the hand; a file that is saved meanwhile does not make one of them news.
#[test]
fn a_saved_file_makes_no_echo_news() {
    let cockpit = Cockpit::start("echo", "");
    let bench = &cockpit.bench;
    cockpit.report_until(",\"trims\":{\"rudder\":0.25}", "adopted", || bench.degrees() == 450.0);
    bench.turn(0, 6);
    until("turned", || bench.degrees() == 540.0);
    let to = cockpit.receiver.local_addr().unwrap();
    let text = with_output(&aircraft(730, "neutral_degrees = 360\n"), &to.to_string());
    fs::write(bench.folder.join(AIRCRAFT), text).unwrap();
    until("the saved file", || {
        bench.shared.look(|tally| tally.trims()[0].accumulator.config().travel().get()) == 730.0
    });
    cockpit.report(",\"trims\":{\"rudder\":0.25}");
    // Something that shows that the report was taken, after it.
    cockpit.report_until(",\"title\":\"ozzock 7\"", "the next aircraft", || {
        bench.shared.look(|tally| tally.trims()[0].accumulator.config().travel().get()) == 90.0
    });
    assert!(!bench.log().contains("taken from the simulator: 540"), "{}", bench.log());
    cockpit.bench.stop();
}

#[test]
fn garbage_floods_and_replays_do_nothing() {
    let cockpit = Cockpit::start("garbage", "");
    let bench = &cockpit.bench;
    cockpit.report_until(",\"session\":\"a\",\"trims\":{\"rudder\":0.25}", "adopted", || {
        bench.degrees() == 450.0
    });
    let first = "{\"tallywheel\":1,\"sequence\":1,\"session\":\"a\",\"trims\":{\"rudder\":-0.5}}";
    let huge = "x".repeat(60_000);
    for _ in 0..2000 {
        for text in [
            first,
            "",
            "{",
            "{\"tallywheel\":9,\"sequence\":1}",
            "{\"tallywheel\":1,\"sequence\":99999999,\"session\":\"b\",\"trims\":{\"rudder\":7}}",
        ] {
            cockpit.send(text.as_bytes());
        }
    }
    cockpit.send(huge.as_bytes());
    bench.mark();
    assert_eq!(bench.degrees(), 450.0);
    // It counts on, and hears again when the flood is over.
    bench.turn(0, 1);
    until("turned", || bench.degrees() == 465.0);
    until("a new session is heard", || {
        cockpit.report(",\"session\":\"c\",\"trims\":{\"rudder\":-0.25}");
        std::thread::sleep(Duration::from_millis(20));
        bench.degrees() == 270.0
    });
    cockpit.bench.stop();
}

#[test]
fn the_board_s_buttons_do_what_the_rig_file_says() {
    let cockpit = Cockpit::start("buttons", "positions = { take-off = 405 }\nratios = [1, 2]\n");
    let bench = &cockpit.bench;
    let press = |button: u32| {
        bench.press(1 << (button - 1));
        bench.press(0);
        bench.settled();
        // Longer than a contact bounces.
        std::thread::sleep(Duration::from_millis(40));
    };
    bench.press(0);
    press(9);
    until("aligned low", || bench.degrees() == 0.0);
    press(13);
    until("aligned to a named position", || bench.degrees() == 405.0);
    press(12);
    until("the second ratio", || bench.shared.look(|tally| tally.trims()[0].ratio()) == 1);
    press(12);
    until("the first ratio", || bench.shared.look(|tally| tally.trims()[0].ratio()) == 0);
    press(11);
    until("held", || bench.shared.is_held());
    press(11);
    until("following", || !bench.shared.is_held());
    press(10);
    until("the next aircraft", || {
        bench.shared.look(|tally| tally.trims()[0].accumulator.config().travel().get()) == 90.0
    });
    // The wheel's own buttons do nothing else, and pressing others counts nothing.
    assert_eq!(bench.counts(0), 0);
    cockpit.bench.stop();
}
