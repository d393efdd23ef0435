//! From facts to findings: no I/O, so that each fault can be tried without having it.

use super::facts::{BoardPresence, Daemon, DeviceAccess, Panel, ProbedBoard, SystemFacts};
use super::rules::{self, RuleMatch as Rule, SEAT_RULES};
use serde::Serialize;
use std::time::Duration;
use tallywheel_engine::state::status::{BoardState, OutputState};

/// One thing that was looked at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// What was looked at; a word that never changes.
    pub check: &'static str,
    /// Which of several.
    pub subject: String,
    /// How it stands.
    pub verdict: FindingLevel,
    /// In words.
    pub what: String,
    /// What to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cure: Option<String>,
}

/// How something stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum FindingLevel {
    /// As it should be.
    Good,
    /// Perhaps not as the user means it.
    Hint,
    /// It keeps Tallywheel from working.
    Wrong,
}

impl Finding {
    fn new(check: &'static str, subject: &str, verdict: FindingLevel, what: impl Into<String>) -> Self {
        Self { check, subject: subject.to_owned(), verdict, what: what.into(), cure: None }
    }

    fn good(check: &'static str, subject: &str, what: impl Into<String>) -> Self {
        Self::new(check, subject, FindingLevel::Good, what)
    }

    fn hint(check: &'static str, subject: &str, what: impl Into<String>, cure: impl Into<String>) -> Self {
        Self { cure: Some(cure.into()), ..Self::new(check, subject, FindingLevel::Hint, what) }
    }

    fn wrong(check: &'static str, subject: &str, what: impl Into<String>, cure: impl Into<String>) -> Self {
        Self { cure: Some(cure.into()), ..Self::new(check, subject, FindingLevel::Wrong, what) }
    }
}

/// Everything about `facts`, in the order in which a user had best look at it.
#[must_use]
pub fn judge(facts: &SystemFacts) -> Vec<Finding> {
    let mut findings = Vec::new();
    files(facts, &mut findings);
    log_folder(facts, &mut findings);
    for one in &facts.boards {
        board(one, facts, &mut findings);
    }
    uinput(facts, &mut findings);
    receivers(facts, &mut findings);
    reports(facts, &mut findings);
    daemon(facts, &mut findings);
    panel(facts, &mut findings);
    clock(facts, &mut findings);
    findings
}

fn files(facts: &SystemFacts, findings: &mut Vec<Finding>) {
    for (path, verdict) in &facts.files {
        let path = path.display().to_string();
        findings.push(match verdict {
            Ok(what) => Finding::good("file", &path, what),
            Err(why) => Finding::wrong(
                "file",
                &path,
                why,
                "change what the line says; the examples explain every key",
            ),
        });
    }
}

fn log_folder(facts: &SystemFacts, findings: &mut Vec<Finding>) {
    if let Some((folder, why)) = &facts.log_folder {
        let what = format!("log files cannot be written there: {why}");
        let cure = "make the folder yours, or name another one with `tallywheel run --log-dir`";
        findings.push(Finding::wrong("log", &folder.display().to_string(), what, cure));
    }
}

const PLUG: &str = "plug it in; if it is, compare usb, serial and path in rig.toml with `tallywheel boards`, and try another \
                    cable: some only carry power";
const RELOAD: &str = "run `udevadm control --reload` as root, then unplug the board and plug it in again";

fn board(board: &ProbedBoard, facts: &SystemFacts, findings: &mut Vec<Finding>) {
    let name = board.name.as_str();
    match &board.seen {
        BoardPresence::Unknown(why) => {
            findings.push(Finding::wrong(
                "board",
                name,
                format!("boards cannot be looked for: {why}"),
                "look at the system's log",
            ));
            return;
        }
        BoardPresence::Absent => {
            findings.push(Finding::wrong("board", name, "it is not plugged in", PLUG));
            return;
        }
        BoardPresence::Several(paths) => {
            let what = format!("{} boards match: {}", paths.len(), paths.join(", "));
            let cure = "give its serial number in rig.toml, or else its path; `tallywheel boards` lists both";
            findings.push(Finding::wrong("board", name, what, cure));
            return;
        }
        BoardPresence::Here { path, usb, refused, described } => {
            match refused {
                None => findings.push(Finding::good("board", name, format!("{usb} at {path} can be opened"))),
                Some((why, cure)) => {
                    // What the rules say is more exact than what the refusal alone tells.
                    let cure = if facts.rules.is_some() { "as said of its rule" } else { cure.as_str() };
                    let what = format!("{usb} at {path} cannot be opened: {why}");
                    findings.push(Finding::wrong("board", name, what, cure));
                }
            }
            rule(board, facts, refused.is_some(), *usb, findings);
            layout(board, *described, findings);
        }
    }
    interval(board, findings);
    holders(board, findings);
}

fn rule(
    board: &ProbedBoard,
    facts: &SystemFacts,
    refused: bool,
    usb: tallywheel_profile::UsbId,
    findings: &mut Vec<Finding>,
) {
    let Some(files) = &facts.rules else { return };
    let name = board.name.as_str();
    let line = format!(
        r#"SUBSYSTEM=="hidraw", ATTRS{{idVendor}}=="{:04x}", ATTRS{{idProduct}}=="{:04x}", TAG+="uaccess""#,
        usb.vendor, usb.product
    );
    let (what, cure) = match rules::board(files, usb) {
        Rule::Good { file } if !refused => {
            findings.push(Finding::good("rule", name, format!("{file} lets you open it")));
            return;
        }
        Rule::Good { file } => (
            format!("{file} is for it and has no effect yet"),
            format!(
                "{RELOAD}; the rule gives it to whoever sits at this machine's own screen, so over the network a group \
                 is needed instead, as the file says"
            ),
        ),
        Rule::TooLate { file } => (
            format!("{file} is for it and sorts after {SEAT_RULES}, where its tag does nothing any more"),
            format!("call the file 60-tallywheel.rules, then {RELOAD}"),
        ),
        Rule::Capitals { file, line } => (
            format!("{file}:{line} has its numbers in capital letters, which never match"),
            format!("write them in small letters, then {RELOAD}"),
        ),
        Rule::NotNamed { file } => {
            (format!("{file} has no line for it"), format!("add the line {line} to it, then {RELOAD}"))
        }
        Rule::None => (
            "no rule lets you open it".to_owned(),
            format!(
                "install packaging/linux/60-tallywheel.rules with the line {line} as \
                 /etc/udev/rules.d/60-tallywheel.rules, then {RELOAD}"
            ),
        ),
    };
    // Who can open it anyway, as root or by a group, need not do anything.
    findings.push(match refused {
        true => Finding::wrong("rule", name, what, cure),
        false => Finding::hint("rule", name, format!("{what}; you can open it all the same"), cure),
    });
}

fn layout(board: &ProbedBoard, described: bool, findings: &mut Vec<Finding>) {
    let name = board.name.as_str();
    if !described {
        let what = "its own description of its buttons cannot be used";
        let cure = "describe them in rig.toml as [[board.buttons]]; `tallywheel capture` shows its reports";
        findings.push(Finding::wrong("buttons", name, what, cure));
    } else if board.missing_buttons.is_empty() {
        findings.push(Finding::good("buttons", name, "it has every button that rig.toml names"));
    }
    for (wheel, buttons) in &board.missing_buttons {
        let numbers: Vec<_> = buttons.iter().map(u8::to_string).collect();
        let what = format!("it does not have the buttons of wheel {wheel}: {}", numbers.join(", "));
        let cure = "run `tallywheel boards --watch`, turn the wheel and write down the buttons that it names";
        findings.push(Finding::wrong("buttons", name, what, cure));
    }
}

/// How far a stated interval may be off: what the system asks for is a whole number of frames.
const CLOSE: f64 = 1.25;

fn interval(board: &ProbedBoard, findings: &mut Vec<Finding>) {
    let Some(polled) = board.polled else { return };
    let name = board.name.as_str();
    let every = format!("the system asks it for a report every {}", ms(polled));
    match board.stated_interval {
        None => {
            let cure = format!(
                "write report_interval_ms = {} into its [[board]]: losses are told more surely",
                plain(polled)
            );
            findings.push(Finding::hint(
                "interval",
                name,
                format!("{every}; rig.toml does not say how often"),
                cure,
            ));
        }
        Some(stated) => {
            let ratio = polled.as_secs_f64() / stated.as_secs_f64();
            if (1.0 / CLOSE..=CLOSE).contains(&ratio) {
                findings.push(Finding::good("interval", name, format!("{every}, as rig.toml says")));
            } else if ratio > CLOSE {
                let what = format!("{every}, and rig.toml says every {}", ms(stated));
                let cure = format!(
                    "write report_interval_ms = {}, or set a shorter interval on the board",
                    plain(polled)
                );
                findings.push(Finding::wrong("interval", name, what, cure));
            } else {
                let what = format!("{every}, and rig.toml says every {}", ms(stated));
                let cure = format!(
                    "if the board reports as often as it is asked, write report_interval_ms = {}; `tallywheel learn` \
                     measures it",
                    plain(polled)
                );
                findings.push(Finding::hint("interval", name, what, cure));
            }
        }
    }
}

fn holders(board: &ProbedBoard, findings: &mut Vec<Finding>) {
    let name = board.name.as_str();
    for holder in &board.holders {
        let what = format!("{} (process {}) has the board open too", holder.name, holder.process);
        let cure = "both get every report; if it changes the board's settings or grabs it, end it";
        findings.push(Finding::hint("held", name, what, cure));
    }
    for listener in &board.listeners {
        let what =
            format!("{} (process {}) also reads the board's own buttons", listener.name, listener.process);
        let cure = "if it is the simulator, remove any assignment of the wheels' buttons there, or the trim moves twice";
        findings.push(Finding::hint("listener", name, what, cure));
    }
}

const MODULE: &str =
    "run `modprobe uinput` as root; packaging/linux/60-tallywheel.rules loads it from then on";

fn uinput(facts: &SystemFacts, findings: &mut Vec<Finding>) {
    let Some(node) = &facts.uinput else { return };
    let name = "uinput";
    findings.push(match node {
        DeviceAccess::Usable => Finding::good("joystick", name, "virtual joysticks can be made"),
        DeviceAccess::Absent => Finding::wrong("joystick", name, "the kernel module uinput is not loaded", MODULE),
        DeviceAccess::Forbidden => {
            let ruled = facts.rules.as_ref().is_some_and(|files| rules::uinput(files));
            let what = "you may not make virtual joysticks";
            let cure = if ruled {
                "the rule is there: run `udevadm control --reload` and `udevadm trigger --subsystem-match=misc` as \
                 root; over the network a group is needed instead, as the file says"
            } else {
                "install packaging/linux/60-tallywheel.rules as /etc/udev/rules.d/60-tallywheel.rules, then run \
                 `udevadm control --reload` and `udevadm trigger --subsystem-match=misc` as root"
            };
            Finding::wrong("joystick", name, what, cure)
        }
        DeviceAccess::Broken(why) => {
            Finding::wrong("joystick", name, format!("/dev/uinput cannot be opened: {why}"), MODULE)
        }
    });
}

fn receivers(facts: &SystemFacts, findings: &mut Vec<Finding>) {
    for receiver in &facts.receivers {
        let (to, aircraft) = (receiver.to.clone(), &receiver.aircraft);
        findings.push(match receiver.taken {
            Some(true) => {
                Finding::good("datagrams", &to, format!("somebody listens there, as {aircraft} needs it"))
            }
            Some(false) => Finding::hint(
                "datagrams",
                &to,
                format!("nobody listens there now, where {aircraft} sends to"),
                "start the simulator's side, or correct the port in the aircraft file",
            ),
            None => Finding::hint(
                "datagrams",
                &to,
                format!("{aircraft} sends there, and from here nobody can tell whether they arrive"),
                "see whether the simulator's side gets them",
            ),
        });
    }
}

fn reports(facts: &SystemFacts, findings: &mut Vec<Finding>) {
    let Some((at, taken)) = &facts.reports else { return };
    findings.push(match (taken, &facts.daemon) {
        // Whose port it is cannot be seen from here, but a daemon that runs says in its log if it is not its own.
        (true, Daemon::Runs(_) | Daemon::Mute(_)) => Finding::good(
            "reports",
            at,
            "the port for the simulator's reports is in use, as it is while the daemon runs",
        ),
        (true, Daemon::None) => Finding::wrong(
            "reports",
            at,
            "another program has the port for the simulator's reports open",
            "end it, or write another port into [simulator] of rig.toml and into the simulator's side",
        ),
        (false, Daemon::None) => Finding::good("reports", at, "the port for the simulator's reports is free"),
        (false, Daemon::Runs(_) | Daemon::Mute(_)) => Finding::wrong(
            "reports",
            at,
            "nobody listens for the simulator's reports although the daemon runs",
            "its log says why; another address may be needed in [simulator] of rig.toml",
        ),
    });
}

fn daemon(facts: &SystemFacts, findings: &mut Vec<Finding>) {
    let name = "tallywheel run";
    match &facts.daemon {
        Daemon::None => {
            findings.push(Finding::hint("daemon", name, "it does not run for these files", "start it"));
        }
        Daemon::Mute(why) => {
            let cure = "look into its log, or end it and start it again";
            findings.push(Finding::hint("daemon", name, format!("it cannot be asked: {why}"), cure));
        }
        Daemon::Runs(status) => {
            let what = format!("process {} flies {}", status.process, status.aircraft.name);
            findings.push(Finding::good("daemon", name, what));
            for board in status.boards.iter().filter(|board| board.state == BoardState::Unreadable) {
                let why = board.reason.as_deref().unwrap_or("see its log");
                let cure = board.cure.as_deref().unwrap_or("see its log");
                findings.push(Finding::wrong(
                    "daemon",
                    &board.name,
                    format!("it does not read the board: {why}"),
                    cure,
                ));
            }
            for output in &status.outputs {
                if matches!(output.state, OutputState::Failed | OutputState::Stopped) {
                    let why = output.trouble.as_ref().map_or("see its log", |trouble| &trouble.what);
                    let cure = "fix that; it is then retried, unless the aircraft file has to change";
                    findings.push(Finding::wrong(
                        "daemon",
                        &output.name,
                        format!("it is not open: {why}"),
                        cure,
                    ));
                }
            }
            if status.held {
                let cure = "`tallywheel hold off` lets them follow";
                findings.push(Finding::hint("daemon", "outputs", "they are held", cure));
            }
            for file in &status.invalid_files {
                let what = format!("it goes on with what the file said before: {}", file.mistakes.join("; "));
                findings.push(Finding::wrong("daemon", &file.file, what, "correct the file"));
            }
        }
    }
    if !facts.runtime_folder {
        let what =
            "there is no XDG_RUNTIME_DIR, so address and token of the daemon are kept in the state folder";
        let cure =
            "log in as usual, or set it; commands from another session do not find the daemon otherwise";
        findings.push(Finding::hint("session", "runtime folder", what, cure));
    }
}

/// Never more than a hint: all that the tray does can be done without it.
fn panel(facts: &SystemFacts, findings: &mut Vec<Finding>) {
    let Some(panel) = &facts.panel else { return };
    let name = "panel";
    findings.push(match panel {
        Panel::Shows => Finding::good("tray", name, "there is one that shows icons"),
        Panel::NobodyShows => Finding::hint(
            "tray",
            name,
            "icons are collected, and no panel shows them",
            "add the status tray to the desktop's panel; the icon joins it by itself",
        ),
        Panel::NobodyCollects => Finding::hint(
            "tray",
            name,
            "this desktop has no place for icons of programs (StatusNotifierItem)",
            "add such a place to its panel, on some desktops by an extension; `tallywheel status` tells the same without it",
        ),
        Panel::NoBus(why) => Finding::hint(
            "tray",
            name,
            format!("no session bus, so no icon and no messages: {why}"),
            "log in to a desktop as usual; `tallywheel status` tells the same without it",
        ),
    });
}

/// Above this the times between reports tell too little.
const COARSE: Duration = Duration::from_micros(100);

fn clock(facts: &SystemFacts, findings: &mut Vec<Finding>) {
    let clock = &facts.clock;
    let source = clock.source.as_deref().unwrap_or("of the system");
    match clock.step {
        Some(step) if step > COARSE => {
            let what = format!("the clock ({source}) moves in steps of {}", ms(step));
            let cure = "let the kernel use a finer clock source (its boot parameter clocksource); losses are told less surely";
            findings.push(Finding::wrong("clock", "monotonic", what, cure));
        }
        Some(_) if source.contains("jiffies") => {
            let cure =
                "look into the kernel's log for why it gave up its clock source; losses are told less surely";
            findings.push(Finding::wrong(
                "clock",
                "monotonic",
                "the kernel counts its own ticks for a clock",
                cure,
            ));
        }
        Some(_) => findings.push(Finding::good("clock", "monotonic", format!("fine enough ({source})"))),
        None => {}
    }
    if clock.date_wrong {
        let what = "the date is before this program was made";
        let cure = "set the system's clock; only the times in the log are wrong by it";
        findings.push(Finding::hint("clock", "date", what, cure));
    }
}

fn ms(time: Duration) -> String {
    format!("{} ms", plain(time))
}

/// Milliseconds with as many places as there are.
fn plain(time: Duration) -> String {
    format!("{}", (time.as_secs_f64() * 1e6).round() / 1e3)
}

#[cfg(test)]
#[path = "judge_tests.rs"]
mod tests;
