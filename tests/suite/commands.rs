//! Every command of the built program, as a user calls it.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

use avt::Terminal;
use nix::pty::{Winsize, openpty};
use serde_json::Value;
use std::fs::File;
use std::io::Read;
use std::process::{Command, Stdio};
use tallywheel_tests::{Folder, run, tallywheel, top};

#[test]
fn the_demo_ends_with_its_summary() {
    let ran = run(&["demo", "--fast", "--json"]);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    let lines: Vec<Value> = ran.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let (summary, changes) = lines.split_last().unwrap();
    assert_eq!(summary["summary"], true);
    for key in ["reports", "counts", "past_stop", "losses", "margin", "position", "datagrams"] {
        assert!(!summary[key].is_null(), "{key}: {summary}");
    }
    // Every change of a trim went out as one datagram and came back, besides the one at the start.
    let moved = changes.iter().filter(|line| line["trim"].is_string()).count();
    let lost = changes.iter().filter(|line| line["kind"].is_string()).count();
    assert_eq!(moved + lost, changes.len());
    assert!(moved > 300 && lost == 1, "{moved} moves, {lost} losses");
    let datagrams = usize::try_from(summary["datagrams"].as_u64().unwrap()).unwrap();
    assert!(datagrams > 300 && datagrams <= moved + lost + 1, "{datagrams} of {moved}");
}

#[test]
fn the_demo_in_plain_lines_ends_with_the_same_figures() {
    let ran = run(&["demo", "--fast"]);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    let json = run(&["demo", "--fast", "--json"]);
    let summary: Value = serde_json::from_str(json.out.lines().last().unwrap()).unwrap();
    let rudder = format!("wheel rudder: {:+} counts", summary["counts"]["rudder"].as_i64().unwrap());
    assert!(ran.out.contains(&rudder), "{}", ran.out);
    assert!(!ran.out.contains('\u{1b}'), "a pipe gets no terminal codes");
}

/// On a terminal that the system makes, as wide as the demo needs.
#[test]
fn ctrl_c_leaves_the_terminal_as_it_was() {
    let size = Winsize { ws_row: 24, ws_col: 60, ws_xpixel: 0, ws_ypixel: 0 };
    let pair = openpty(&size, None).unwrap();
    let mut demo = Command::new(tallywheel()).arg("demo").stdout(Stdio::from(pair.slave)).spawn().unwrap();
    let mut ours = File::from(pair.master);
    let (mut written, mut buffer, mut pressed) = (Vec::new(), [0; 4096], false);
    // Reading fails once the demo has closed its side.
    while let Ok(length @ 1..) = ours.read(&mut buffer) {
        written.extend_from_slice(&buffer[..length]);
        let drawn_over = written.windows(3).any(|bytes| bytes == b"\x1b[J");
        if drawn_over && !pressed {
            assert!(Command::new("kill").args(["-INT", &demo.id().to_string()]).status().unwrap().success());
            pressed = true;
        }
    }
    assert!(pressed && demo.wait().unwrap().success());
    let mut terminal = Terminal::new(60, 24).unwrap();
    terminal.feed(String::from_utf8(written).unwrap().as_str());
    let rows = |terminal: &Terminal| -> Vec<String> {
        terminal.screen().visible_lines().map(|line| line.text().trim_end().to_owned()).collect()
    };
    let scales = rows(&terminal).iter().filter(|row| row.contains('\u{2523}')).count();
    assert_eq!(scales, 2, "one picture is left: {:#?}", rows(&terminal));
    terminal.feed("x".repeat(61).as_str());
    let rows = rows(&terminal);
    assert!(rows.contains(&"x".repeat(60)) && rows.contains(&"x".to_owned()), "lines wrap again: {rows:#?}");
}

#[test]
fn help_says_what_it_is_for_and_not_for() {
    let ran = run(&["--help"]);
    assert_eq!(ran.code, Some(0));
    assert!(ran.out.contains("never for real aircraft"), "{}", ran.out);
    let commands = ["run", "status", "align", "fly", "hold", "reload", "doctor"];
    let more = ["demo", "boards", "check", "capture", "replay", "learn", "plan"];
    for command in commands.into_iter().chain(more) {
        assert!(ran.out.contains(&format!("\n  {command} ")), "{command}: {}", ran.out);
        let help = run(&[command, "--help"]);
        assert_eq!(help.code, Some(0), "{command}");
    }
    let version = run(&["--version"]);
    assert_eq!(version.out, format!("tallywheel {}\n", env!("CARGO_PKG_VERSION")));
}

#[test]
fn a_wrong_word_is_answered_with_the_right_one() {
    let ran = run(&["borads"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.contains("boards"), "{}", ran.err);
}

#[test]
fn completions_and_the_manual_name_every_command() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let ran = run(&["completions", shell]);
        assert_eq!(ran.code, Some(0), "{shell}: {}", ran.err);
        assert!(ran.out.contains("tallywheel") && ran.out.contains("replay"), "{shell}");
    }
    let man = run(&["man"]);
    assert_eq!(man.code, Some(0));
    assert!(man.out.contains(".TH tallywheel 1"), "{}", man.out);
    for command in [
        "RUN", "STATUS", "ALIGN", "FLY", "HOLD", "RELOAD", "DOCTOR", "DEMO", "BOARDS", "CHECK", "CAPTURE",
        "REPLAY", "LEARN", "PLAN",
    ] {
        assert!(man.out.contains(&format!(".SH \"TALLYWHEEL {command}\"")), "{command}");
    }
}

#[test]
fn boards_answers_with_a_list_for_scripts() {
    let ran = run(&["boards", "--json"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(serde_json::from_str::<Value>(&ran.out).unwrap().is_array(), "{}", ran.out);
}

#[test]
fn the_shipped_files_are_good() {
    let ran = run(&["check", "--config", "config"]);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{}", ran.out);
    let files = std::fs::read_dir(top().join("config/aircraft")).unwrap().count() + 1;
    assert_eq!(ran.out.lines().filter(|line| line.contains(": valid: ")).count(), files, "{}", ran.out);
}

#[test]
fn check_names_every_mistake_with_its_place() {
    let folder = Folder::new("check");
    folder.write("rig.toml", "name = \"bench\"\n[[board]]\nname = \"main\"\nusb = \"12:7a11\"\n");
    folder.write("aircraft/one.toml", "name = \"One\"\n[[trim]]\nname = \"rudder\"\ntravel = 580\n");
    folder.write("aircraft/.one.toml.swp", "an editor's own file");
    let ran = run(&["check", "--config", folder.arg()]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.out.contains("rig.toml:4:7: board.usb: expected"), "{}", ran.out);
    assert!(ran.out.contains("one.toml:4:1: trim.travel: expected"), "{}", ran.out);
    assert!(!ran.out.contains("swp"), "{}", ran.out);
    assert_eq!(ran.err, "tallywheel: 2 files not valid\n");
}

#[test]
fn check_says_when_an_aircraft_does_not_fit_the_rig() {
    let folder = Folder::new("unfit");
    folder.write("rig.toml", &std::fs::read_to_string(top().join("config/rig.toml")).unwrap());
    folder.write("aircraft/two.toml", "name = \"Two\"\n[[trim]]\nname = \"pitch\"\ntravel_degrees = 580\n");
    let ran = run(&["check", "--config", folder.arg()]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.out.contains("two.toml:3:8: trim.name: expected"), "{}", ran.out);
    assert!(ran.out.contains("\"rudder\""), "it names the wheels there are: {}", ran.out);
}

#[test]
fn check_says_when_a_trim_waits_for_a_simulator_that_nobody_hears() {
    let folder = Folder::new("deaf");
    let rig = std::fs::read_to_string(top().join("config/rig.toml")).unwrap();
    let aircraft =
        "name = \"One\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 580\nstart = \"simulator\"\n";
    folder.write("aircraft/one.toml", aircraft);
    for (listens, said) in [(false, true), (true, false)] {
        let listen = if listens { "\n[simulator]\nlisten = \"127.0.0.1:47812\"\n" } else { "" };
        folder.write("rig.toml", &format!("{rig}{listen}"));
        let ran = run(&["check", "--config", folder.arg()]);
        assert_eq!(ran.code, Some(0), "{}{}", ran.out, ran.err);
        let hint = "but trim rudder is to start where the simulator has it, and rig.toml has no [simulator]";
        assert_eq!(ran.out.contains(hint), said, "{}", ran.out);
    }
}

#[test]
fn check_says_what_aircraft_files_must_not_say_together() {
    let folder = Folder::new("together");
    folder.write("rig.toml", &std::fs::read_to_string(top().join("config/rig.toml")).unwrap());
    let file =
        |head: &str| format!("name = \"x\"\n{head}\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 580\n");
    folder.write("aircraft/one.toml", &file("titles = [\"Kettrin*\"]\ndefault = true"));
    folder.write("aircraft/two.toml", &file("titles = [\"KETTRIN*\"]\ndefault = true"));
    let ran = run(&["check", "--config", folder.arg()]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.out.contains("two.toml:2:11: titles: expected a pattern that no other"), "{}", ran.out);
    assert!(ran.out.contains("two.toml:3:11: default: expected true in one"), "{}", ran.out);
    folder.write("aircraft/two.toml", &file("titles = [\"*KETTRIN*\"]"));
    let ran = run(&["check", "--config", folder.arg()]);
    assert_eq!(ran.code, Some(0), "{}", ran.out);
}

#[test]
fn check_without_files_says_where_they_belong() {
    let folder = Folder::new("nothing");
    let ran = run(&["check", "--config", folder.arg()]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.out.contains("there is no") && ran.out.contains("rig.toml"), "{}", ran.out);
    assert!(ran.out.contains("config/aircraft"), "{}", ran.out);
}

#[test]
fn capture_without_its_board_says_so() {
    let ran = run(&["capture", "--config", "config", "--seconds", "0", "/dev/null"]);
    assert_eq!(ran.code, Some(1));
    assert_eq!(ran.err, "tallywheel: no board that matches is plugged in\n");
    let ran = run(&["capture", "--config", "config", "--board", "left", "/dev/null"]);
    assert_eq!(ran.err, "tallywheel: the rig file has no board left; it has main\n");
    let ran = run(&["capture", "--config", "config", "--seconds=-1", "/dev/null"]);
    assert_eq!(ran.err, "tallywheel: --seconds -1: expected a number of seconds, 0 or more\n");
}

/// What this machine has or has not is its own affair; that this board is not plugged in is certain.
#[test]
fn doctor_names_what_is_wrong_with_its_cure() {
    let folder = Folder::new("doctor");
    let rig = std::fs::read_to_string(top().join("config/rig.toml")).unwrap();
    folder.write("rig.toml", &rig.replace("1209:7a11", "1209:7aff"));
    let taken = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
    let listening = taken.local_addr().unwrap();
    let text = format!(
        "name = \"One\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 580\n[[output]]\nkind = \"datagram\"\nto = \"{listening}\"\n"
    );
    folder.write("aircraft/one.toml", &text);
    folder.write("aircraft/two.toml", "name = \"Two\"\ntrims = 7\n");
    let ran = run(&["doctor", "--json", "--config", folder.arg(), "--log-dir", folder.arg()]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.err.ends_with(" wrong\n"), "{}", ran.err);
    let findings: Vec<Value> = serde_json::from_str(&ran.out).unwrap();
    let find = |check: &str, subject: &str| {
        let mut of = findings.iter().filter(|finding| finding["check"] == check);
        of.find(|finding| finding["subject"].as_str().unwrap().ends_with(subject))
            .unwrap_or_else(|| panic!("{}", ran.out))
    };
    assert_eq!(find("file", "rig.toml")["verdict"], "good");
    assert_eq!(find("file", "one.toml")["verdict"], "good");
    let two = find("file", "two.toml");
    assert_eq!(two["verdict"], "wrong");
    assert!(two["what"].as_str().unwrap().contains("two.toml:2:1: trims: expected"), "{two}");
    let board = find("board", "main");
    assert_eq!(
        (board["verdict"].as_str(), board["what"].as_str()),
        (Some("wrong"), Some("it is not plugged in"))
    );
    assert!(
        findings.iter().all(|finding| finding["verdict"] == "good" || finding["cure"].is_string()),
        "{}",
        ran.out
    );
    let port = listening.port().to_string();
    assert_eq!(find("datagrams", &port)["verdict"], "good");
    drop(taken);
    let ran = run(&["doctor", "--config", folder.arg(), "--log-dir", folder.arg()]);
    let line = format!("hint   datagrams   {listening}: nobody listens there now, where One sends to\n");
    assert!(ran.out.contains(&line), "{}", ran.out);
    assert!(
        ran.out
            .contains("WRONG  board       main: it is not plugged in\n                   cure: plug it in"),
        "{}",
        ran.out
    );
    let empty = Folder::new("doctor-empty");
    let ran = run(&["doctor", "--config", empty.arg(), "--log-dir", empty.arg()]);
    assert!(ran.out.contains("there is no") && ran.out.contains("rig.toml"), "{}", ran.out);
    assert_eq!(ran.code, Some(1));
}
