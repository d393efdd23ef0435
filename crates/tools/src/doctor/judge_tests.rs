//! Each fault by itself: what is said, and its cure.

use super::super::facts::{Holder, Receiver, RuleFile, SystemClock};
use super::*;
use expect_test::{Expect, expect};
use std::path::PathBuf;
use tallywheel_engine::state::Status;
use tallywheel_profile::UsbId;

const BENCH: UsbId = UsbId { vendor: 0x1209, product: 0x7a11 };

fn rule_file() -> RuleFile {
    let text =
        include_str!("../../../../packaging/linux/60-tallywheel.rules").replace("#SUBSYSTEM", "SUBSYSTEM");
    RuleFile { path: "/etc/udev/rules.d/60-tallywheel.rules".into(), text }
}

fn here() -> ProbedBoard {
    ProbedBoard {
        name: "main".into(),
        usb: Some(BENCH),
        seen: BoardPresence::Here { path: "/dev/hidraw3".into(), usb: BENCH, refused: None, described: true },
        stated_interval: Some(Duration::from_millis(4)),
        polled: Some(Duration::from_millis(4)),
        missing_buttons: Vec::new(),
        holders: Vec::new(),
        listeners: Vec::new(),
    }
}

fn status() -> Status {
    serde_json::from_value(serde_json::json!({
        "tallywheel": 1, "version": "0.1.0", "process": 42, "running_s": 1.0, "config": "", "log": "", "log_level": "info",
        "rig": "bench", "aircraft": {"name": "Kettrin", "file": "kettrin"}, "held": false, "reports": 0,
        "boards": [], "wheels": [], "trims": [], "losses": [], "outputs": [], "simulator": null, "invalid_files": []
    }))
    .unwrap()
}

/// A machine on which all is well.
fn well() -> SystemFacts {
    SystemFacts {
        files: vec![(PathBuf::from("rig.toml"), Ok("1 board, 1 wheel".into()))],
        log_folder: None,
        daemon: Daemon::Runs(Box::new(status())),
        runtime_folder: true,
        boards: vec![here()],
        rules: Some(vec![rule_file()]),
        uinput: Some(DeviceAccess::Usable),
        receivers: vec![Receiver {
            aircraft: "Kettrin".into(),
            to: "127.0.0.1:47811".into(),
            taken: Some(true),
        }],
        reports: Some(("127.0.0.1:47820".into(), true)),
        panel: Some(Panel::Shows),
        clock: SystemClock {
            step: Some(Duration::from_nanos(1)),
            source: Some("tsc".into()),
            date_wrong: false,
        },
    }
}

/// What is said when one thing differs from a machine on which all is well.
fn said(change: impl FnOnce(&mut SystemFacts), expected: &Expect) {
    let mut facts = well();
    change(&mut facts);
    let all = judge(&facts);
    let bad: Vec<_> = all.into_iter().filter(|finding| finding.verdict != FindingLevel::Good).collect();
    assert!(bad.iter().all(|finding| finding.cure.is_some()), "{bad:#?}");
    expected.assert_eq(&crate::doctor::text(&bad));
}

fn refused(facts: &mut SystemFacts) {
    facts.boards[0].seen = BoardPresence::Here {
        path: "/dev/hidraw3".into(),
        usb: BENCH,
        refused: Some(("Permission denied".into(), "install the rule".into())),
        described: true,
    };
}

#[test]
fn where_all_is_well_all_is_good() {
    let findings = judge(&well());
    assert!(findings.iter().all(|finding| finding.verdict == FindingLevel::Good), "{findings:#?}");
    assert!(crate::doctor::text(&findings).ends_with("All is as it should be.\n"));
    let checks: Vec<_> = findings.iter().map(|finding| finding.check).collect();
    assert_eq!(
        checks,
        [
            "file",
            "board",
            "rule",
            "buttons",
            "interval",
            "joystick",
            "datagrams",
            "reports",
            "daemon",
            "tray",
            "clock"
        ]
    );
}

#[test]
fn files_and_folders() {
    said(
        |facts| facts.files[0].1 = Err("rig.toml:3:1: board.usb: expected x, found y".into()),
        &expect![[r#"
            WRONG  file        rig.toml: rig.toml:3:1: board.usb: expected x, found y
                               cure: change what the line says; the examples explain every key
        "#]],
    );
    said(
        |facts| facts.log_folder = Some(("log".into(), "Permission denied".into())),
        &expect![[r#"
        WRONG  log         log: log files cannot be written there: Permission denied
                           cure: make the folder yours, or name another one with `tallywheel run --log-dir`
    "#]],
    );
    said(
        |facts| facts.runtime_folder = false,
        &expect![[r#"
        hint   session     runtime folder: there is no XDG_RUNTIME_DIR, so address and token of the daemon are kept in the state folder
                           cure: log in as usual, or set it; commands from another session do not find the daemon otherwise
    "#]],
    );
}

#[test]
fn boards_that_are_not_there_or_not_one() {
    said(
        |facts| facts.boards[0].seen = BoardPresence::Absent,
        &expect![[r#"
        WRONG  board       main: it is not plugged in
                           cure: plug it in; if it is, compare usb, serial and path in rig.toml with `tallywheel boards`, and try another cable: some only carry power
    "#]],
    );
    let two = vec!["/dev/hidraw3".to_owned(), "/dev/hidraw4".to_owned()];
    said(
        |facts| facts.boards[0].seen = BoardPresence::Several(two),
        &expect![[r#"
        WRONG  board       main: 2 boards match: /dev/hidraw3, /dev/hidraw4
                           cure: give its serial number in rig.toml, or else its path; `tallywheel boards` lists both
    "#]],
    );
    said(
        |facts| facts.boards[0].seen = BoardPresence::Unknown("no hidapi".into()),
        &expect![[r#"
        WRONG  board       main: boards cannot be looked for: no hidapi
                           cure: look at the system's log
    "#]],
    );
}

#[test]
fn boards_that_may_not_be_opened() {
    said(
        |facts| {
            refused(facts);
            facts.rules = Some(Vec::new());
        },
        &expect![[r#"
            WRONG  board       main: 1209:7a11 at /dev/hidraw3 cannot be opened: Permission denied
                               cure: as said of its rule
            WRONG  rule        main: no rule lets you open it
                               cure: install packaging/linux/60-tallywheel.rules with the line SUBSYSTEM=="hidraw", ATTRS{idVendor}=="1209", ATTRS{idProduct}=="7a11", TAG+="uaccess" as /etc/udev/rules.d/60-tallywheel.rules, then run `udevadm control --reload` as root, then unplug the board and plug it in again
        "#]],
    );
    said(
        refused,
        &expect![[r#"
        WRONG  board       main: 1209:7a11 at /dev/hidraw3 cannot be opened: Permission denied
                           cure: as said of its rule
        WRONG  rule        main: /etc/udev/rules.d/60-tallywheel.rules is for it and has no effect yet
                           cure: run `udevadm control --reload` as root, then unplug the board and plug it in again; the rule gives it to whoever sits at this machine's own screen, so over the network a group is needed instead, as the file says
    "#]],
    );
    said(
        |facts| {
            refused(facts);
            facts.rules =
                Some(vec![RuleFile { path: "/etc/udev/rules.d/99-tallywheel.rules".into(), ..rule_file() }]);
        },
        &expect![[r#"
            WRONG  board       main: 1209:7a11 at /dev/hidraw3 cannot be opened: Permission denied
                               cure: as said of its rule
            WRONG  rule        main: /etc/udev/rules.d/99-tallywheel.rules is for it and sorts after 73-seat-late.rules, where its tag does nothing any more
                               cure: call the file 60-tallywheel.rules, then run `udevadm control --reload` as root, then unplug the board and plug it in again
        "#]],
    );
    said(
        |facts| {
            refused(facts);
            facts.rules =
                Some(vec![RuleFile { text: rule_file().text.replace("7a11", "7A11"), ..rule_file() }]);
        },
        &expect![[r#"
            WRONG  board       main: 1209:7a11 at /dev/hidraw3 cannot be opened: Permission denied
                               cure: as said of its rule
            WRONG  rule        main: /etc/udev/rules.d/60-tallywheel.rules:33 has its numbers in capital letters, which never match
                               cure: write them in small letters, then run `udevadm control --reload` as root, then unplug the board and plug it in again
        "#]],
    );
    said(
        |facts| {
            refused(facts);
            facts.rules =
                Some(vec![RuleFile { text: rule_file().text.replace("7a11", "7a12"), ..rule_file() }]);
        },
        &expect![[r#"
            WRONG  board       main: 1209:7a11 at /dev/hidraw3 cannot be opened: Permission denied
                               cure: as said of its rule
            WRONG  rule        main: /etc/udev/rules.d/60-tallywheel.rules has no line for it
                               cure: add the line SUBSYSTEM=="hidraw", ATTRS{idVendor}=="1209", ATTRS{idProduct}=="7a11", TAG+="uaccess" to it, then run `udevadm control --reload` as root, then unplug the board and plug it in again
        "#]],
    );
    // Opened as root, or by a group: no rule is needed.
    said(
        |facts| facts.rules = Some(Vec::new()),
        &expect![[r#"
        hint   rule        main: no rule lets you open it; you can open it all the same
                           cure: install packaging/linux/60-tallywheel.rules with the line SUBSYSTEM=="hidraw", ATTRS{idVendor}=="1209", ATTRS{idProduct}=="7a11", TAG+="uaccess" as /etc/udev/rules.d/60-tallywheel.rules, then run `udevadm control --reload` as root, then unplug the board and plug it in again
    "#]],
    );
    // Where there are no rules at all, none is asked for.
    said(
        |facts| facts.rules = None,
        &expect![[r#"
        All is as it should be.
    "#]],
    );
}

#[test]
fn buttons_and_intervals() {
    said(
        |facts| facts.boards[0].missing_buttons = vec![("rudder".into(), vec![40, 41])],
        &expect![[r#"
        WRONG  buttons     main: it does not have the buttons of wheel rudder: 40, 41
                           cure: run `tallywheel boards --watch`, turn the wheel and write down the buttons that it names
    "#]],
    );
    said(
        |facts| {
            facts.boards[0].seen = BoardPresence::Here {
                path: "/dev/hidraw3".into(),
                usb: BENCH,
                refused: None,
                described: false,
            };
        },
        &expect![[r#"
            WRONG  buttons     main: its own description of its buttons cannot be used
                               cure: describe them in rig.toml as [[board.buttons]]; `tallywheel capture` shows its reports
        "#]],
    );
    said(
        |facts| facts.boards[0].stated_interval = None,
        &expect![[r#"
        hint   interval    main: the system asks it for a report every 4 ms; rig.toml does not say how often
                           cure: write report_interval_ms = 4 into its [[board]]: losses are told more surely
    "#]],
    );
    said(
        |facts| facts.boards[0].polled = Some(Duration::from_millis(8)),
        &expect![[r#"
        WRONG  interval    main: the system asks it for a report every 8 ms, and rig.toml says every 4 ms
                           cure: write report_interval_ms = 8, or set a shorter interval on the board
    "#]],
    );
    said(
        |facts| facts.boards[0].polled = Some(Duration::from_micros(125)),
        &expect![[r#"
        hint   interval    main: the system asks it for a report every 0.125 ms, and rig.toml says every 4 ms
                           cure: if the board reports as often as it is asked, write report_interval_ms = 0.125; `tallywheel learn` measures it
    "#]],
    );
    said(
        |facts| facts.boards[0].polled = None,
        &expect![[r#"
        All is as it should be.
    "#]],
    );
}

#[test]
fn other_programs_at_the_board() {
    let holder = || vec![Holder { process: 77, name: "other".into() }];
    said(
        |facts| facts.boards[0].holders = holder(),
        &expect![[r#"
        hint   held        main: other (process 77) has the board open too
                           cure: both get every report; if it changes the board's settings or grabs it, end it
    "#]],
    );
    said(
        |facts| facts.boards[0].listeners = holder(),
        &expect![[r#"
            hint   listener    main: other (process 77) also reads the board's own buttons
                               cure: if it is the simulator, remove any assignment of the wheels' buttons there, or the trim moves twice
        "#]],
    );
}

#[test]
fn virtual_joysticks() {
    said(
        |facts| facts.uinput = Some(DeviceAccess::Absent),
        &expect![[r#"
        WRONG  joystick    uinput: the kernel module uinput is not loaded
                           cure: run `modprobe uinput` as root; packaging/linux/60-tallywheel.rules loads it from then on
    "#]],
    );
    said(
        |facts| facts.uinput = Some(DeviceAccess::Forbidden),
        &expect![[r#"
        WRONG  joystick    uinput: you may not make virtual joysticks
                           cure: the rule is there: run `udevadm control --reload` and `udevadm trigger --subsystem-match=misc` as root; over the network a group is needed instead, as the file says
    "#]],
    );
    said(
        |facts| {
            facts.uinput = Some(DeviceAccess::Forbidden);
            let text = rule_file().text.replace("KERNEL==\"uinput\"", "#");
            facts.rules = Some(vec![RuleFile { text, ..rule_file() }]);
        },
        &expect![[r#"
            WRONG  joystick    uinput: you may not make virtual joysticks
                               cure: install packaging/linux/60-tallywheel.rules as /etc/udev/rules.d/60-tallywheel.rules, then run `udevadm control --reload` and `udevadm trigger --subsystem-match=misc` as root
        "#]],
    );
    said(
        |facts| facts.uinput = Some(DeviceAccess::Broken("No such device".into())),
        &expect![[r#"
        WRONG  joystick    uinput: /dev/uinput cannot be opened: No such device
                           cure: run `modprobe uinput` as root; packaging/linux/60-tallywheel.rules loads it from then on
    "#]],
    );
    said(
        |facts| facts.uinput = None,
        &expect![[r#"
        All is as it should be.
    "#]],
    );
}

#[test]
fn receivers_and_the_daemon() {
    said(
        |facts| facts.receivers[0].taken = Some(false),
        &expect![[r#"
        hint   datagrams   127.0.0.1:47811: nobody listens there now, where Kettrin sends to
                           cure: start the simulator's side, or correct the port in the aircraft file
    "#]],
    );
    said(
        |facts| facts.receivers[0].taken = None,
        &expect![[r#"
        hint   datagrams   127.0.0.1:47811: Kettrin sends there, and from here nobody can tell whether they arrive
                           cure: see whether the simulator's side gets them
    "#]],
    );
    said(
        |facts| facts.daemon = Daemon::None,
        &expect![[r#"
            WRONG  reports     127.0.0.1:47820: another program has the port for the simulator's reports open
                               cure: end it, or write another port into [simulator] of rig.toml and into the simulator's side
            hint   daemon      tallywheel run: it does not run for these files
                               cure: start it
        "#]],
    );
    said(
        |facts| facts.daemon = Daemon::Mute("it does not answer".into()),
        &expect![[r#"
        hint   daemon      tallywheel run: it cannot be asked: it does not answer
                           cure: look into its log, or end it and start it again
    "#]],
    );
    said(
        |facts| {
            let mut status = status();
            status.held = true;
            status.outputs = serde_json::from_value(serde_json::json!([
                {"name": "axis \"x\"", "state": "failed", "published": 0, "errors": 1,
                 "trouble": {"what": "no module: load it", "seconds_ago": 1.0}},
                {"name": "datagram", "state": "open", "published": 1, "errors": 0}
            ]))
            .unwrap();
            status.boards = serde_json::from_value(serde_json::json!([
                {"name": "main", "state": "unreadable", "reason": "wheel rudder: no button 9", "cure": "correct the rig file"},
                {"name": "left", "state": "reading", "path": "/dev/hidraw1", "device": "x"}
            ]))
            .unwrap();
            status.invalid_files =
                serde_json::from_value(serde_json::json!([{"file": "rig.toml", "mistakes": ["a", "b"]}]))
                    .unwrap();
            facts.daemon = Daemon::Runs(Box::new(status));
        },
        &expect![[r#"
            WRONG  daemon      main: it does not read the board: wheel rudder: no button 9
                               cure: correct the rig file
            WRONG  daemon      axis "x": it is not open: no module: load it
                               cure: fix that; it is then retried, unless the aircraft file has to change
            hint   daemon      outputs: they are held
                               cure: `tallywheel hold off` lets them follow
            WRONG  daemon      rig.toml: it goes on with what the file said before: a; b
                               cure: correct the file
        "#]],
    );
}

#[test]
fn ports_for_reports() {
    let nobody = |taken| {
        move |facts: &mut SystemFacts| {
            facts.daemon = Daemon::None;
            facts.reports = Some(("127.0.0.1:47820".into(), taken));
        }
    };
    said(
        nobody(true),
        &expect![[r#"
        WRONG  reports     127.0.0.1:47820: another program has the port for the simulator's reports open
                           cure: end it, or write another port into [simulator] of rig.toml and into the simulator's side
        hint   daemon      tallywheel run: it does not run for these files
                           cure: start it
    "#]],
    );
    said(
        nobody(false),
        &expect![[r#"
        hint   daemon      tallywheel run: it does not run for these files
                           cure: start it
    "#]],
    );
    said(
        |facts| facts.reports = Some(("127.0.0.1:47820".into(), false)),
        &expect![[r#"
        WRONG  reports     127.0.0.1:47820: nobody listens for the simulator's reports although the daemon runs
                           cure: its log says why; another address may be needed in [simulator] of rig.toml
    "#]],
    );
    said(
        |facts| facts.reports = None,
        &expect![[r#"
        All is as it should be.
    "#]],
    );
}

#[test]
fn clocks() {
    said(
        |facts| facts.clock.step = Some(Duration::from_millis(4)),
        &expect![[r#"
        WRONG  clock       monotonic: the clock (tsc) moves in steps of 4 ms
                           cure: let the kernel use a finer clock source (its boot parameter clocksource); losses are told less surely
    "#]],
    );
    said(
        |facts| facts.clock.source = Some("refined-jiffies".into()),
        &expect![[r#"
        WRONG  clock       monotonic: the kernel counts its own ticks for a clock
                           cure: look into the kernel's log for why it gave up its clock source; losses are told less surely
    "#]],
    );
    said(
        |facts| facts.clock.date_wrong = true,
        &expect![[r#"
        hint   clock       date: the date is before this program was made
                           cure: set the system's clock; only the times in the log are wrong by it
    "#]],
    );
}

#[test]
fn panels() {
    for (panel, expected) in [
        (
            Panel::NoBus("no address".into()),
            expect![[r#"
            hint   tray        panel: no session bus, so no icon and no messages: no address
                               cure: log in to a desktop as usual; `tallywheel status` tells the same without it
        "#]],
        ),
        (
            Panel::NobodyCollects,
            expect![[r#"
            hint   tray        panel: this desktop has no place for icons of programs (StatusNotifierItem)
                               cure: add such a place to its panel, on some desktops by an extension; `tallywheel status` tells the same without it
        "#]],
        ),
        (
            Panel::NobodyShows,
            expect![[r#"
            hint   tray        panel: icons are collected, and no panel shows them
                               cure: add the status tray to the desktop's panel; the icon joins it by itself
        "#]],
        ),
    ] {
        said(|facts| facts.panel = Some(panel), &expected);
    }
}
