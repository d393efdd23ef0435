//! `tallywheel boards`: what is plugged in, and what to do about boards that cannot be opened.

use crate::args::BoardsArgs;
use serde::Serialize;
use std::io::Write;
use std::thread;
use tallywheel_engine::failure::Failure;
use tallywheel_engine::runtime_config::PipelineError;
use tallywheel_hid_reader::{
    Access, BoardMatch, FoundBoard, Hid, Layout, OpenBoard, REPORT_BYTES_MAX, ReportSource,
};
use tallywheel_units::{ButtonNumber, Buttons};

/// The most lines that wait to be printed; a board that is faster than the terminal waits.
const QUEUE_LINES: usize = 256;

/// One board as JSON; a promise to scripts.
#[derive(Debug, Serialize)]
struct BoardJson<'a> {
    path: &'a str,
    usb: String,
    serial: Option<&'a str>,
    name: &'a str,
    application: &'a str,
    buttons: Option<usize>,
    can_be_opened: bool,
    reason: Option<&'a str>,
    cure: Option<&'a str>,
}

impl<'a> BoardJson<'a> {
    fn new(board: &'a FoundBoard) -> Self {
        let (can_be_opened, reason, cure) = match &board.access {
            Access::Ready => (true, None, None),
            Access::Refused { reason, cure } => (false, Some(reason.as_str()), Some(cure.as_str())),
        };
        Self {
            path: &board.path,
            usb: usb(board),
            serial: board.serial.as_deref(),
            name: &board.name,
            application: &board.application,
            buttons: board.buttons,
            can_be_opened,
            reason,
            cure,
        }
    }
}

fn usb(board: &FoundBoard) -> String {
    format!("{:04x}:{:04x}", board.vendor, board.product)
}

/// Lists the boards on `out`, and watches their buttons if that is asked for.
///
/// # Errors
/// Where boards cannot be looked for, or `out` cannot be written.
pub fn boards(args: &BoardsArgs, out: &mut impl Write) -> Result<(), Failure> {
    let mut hid = Hid::new()?;
    let boards = hid.boards()?;
    // A board whose descriptor cannot be read may well have buttons; only a proven 0 is left out.
    let with_buttons: Vec<_> = boards.iter().filter(|board| board.buttons != Some(0)).collect();
    if args.json {
        let list: Vec<_> = with_buttons.iter().map(|board| BoardJson::new(board)).collect();
        serde_json::to_writer(&mut *out, &list).map_err(std::io::Error::from)?;
        writeln!(out)?;
    } else {
        out.write_all(text(&with_buttons).as_bytes())?;
    }
    if args.watch { watch(&mut hid, &with_buttons, out) } else { Ok(()) }
}

/// Prints every press and release until all boards are gone.
fn watch(hid: &mut Hid, boards: &[&FoundBoard], out: &mut impl Write) -> Result<(), Failure> {
    let (send, receive) = crossbeam_channel::bounded::<String>(QUEUE_LINES);
    for board in boards.iter().filter(|board| board.access == Access::Ready) {
        let open = hid.open(&BoardMatch { path: Some(board.path.clone()), ..BoardMatch::default() })?;
        if open.descriptor().is_empty() {
            writeln!(out, "{}  {}", board.path, PipelineError::NoDescriptor)?;
            continue;
        }
        match Layout::from_descriptor(open.descriptor()) {
            Ok(layout) => {
                let (send, path) = (send.clone(), board.path.clone());
                thread::Builder::new().name("watch".into()).spawn(move || {
                    watch_one(open, &layout, |line| send.send(format!("{path}  {line}")).is_ok())
                })?;
            }
            Err(error) => writeln!(out, "{}  {error}", board.path)?,
        }
    }
    drop(send);
    writeln!(out, "Turn a wheel or press buttons; Ctrl-C ends it.")?;
    out.flush()?;
    for line in receive {
        writeln!(out, "{line}")?;
        out.flush()?;
    }
    Ok(())
}

fn watch_one(mut board: OpenBoard, layout: &Layout, mut say: impl FnMut(String) -> bool) {
    let mut buffer = vec![0_u8; REPORT_BYTES_MAX];
    let mut state = Buttons::NONE;
    loop {
        let before = state;
        let said = match board.read(&mut buffer, None) {
            Ok(0) => true,
            Ok(length) => match layout.apply(buffer.get(..length).unwrap_or_default(), &mut state) {
                Ok(_) => changes(before, state).into_iter().all(&mut say),
                Err(error) => say(error.to_string()),
            },
            Err(_) => {
                say("the board is gone".to_owned());
                return;
            }
        };
        if !said {
            return;
        }
    }
}

fn changes(before: Buttons, now: Buttons) -> Vec<String> {
    (1..=ButtonNumber::LAST.get())
        .filter_map(ButtonNumber::new)
        .filter(|button| before.pressed(*button) != now.pressed(*button))
        .map(|button| format!("button {button} {}", if now.pressed(button) { "pressed" } else { "released" }))
        .collect()
}

fn text(boards: &[&FoundBoard]) -> String {
    let mut text = String::new();
    if boards.is_empty() {
        text += "No USB board with buttons is plugged in.\n";
        text += if cfg!(windows) {
            "If yours is: does the Device Manager show it? Try another cable; some only carry power.\n"
        } else {
            "If yours is: does `ls /dev/hidraw*` list anything? Try another cable; some only carry power.\n"
        };
    }
    for board in boards {
        let buttons = match board.buttons {
            Some(1) => "1 button".to_owned(),
            Some(n) => format!("{n} buttons"),
            None => "unreadable descriptor: describe its buttons in the rig file".to_owned(),
        };
        text +=
            &format!("{}  {}  {}  ({}, {buttons})\n", board.path, usb(board), board.name, board.application);
        if let Some(serial) = &board.serial {
            text += &format!("    serial {serial}\n");
        }
        match &board.access {
            Access::Ready => text += "    can be opened\n",
            Access::Refused { reason, cure } => {
                text += &format!("    cannot be opened: {reason}\n    cure: {cure}\n");
                if cfg!(target_os = "linux") {
                    text += &format!("    its line in that file: {}\n", udev_line(board));
                }
            }
        }
    }
    text
}

/// The line that lets the user open this board, for packaging/linux/60-tallywheel.rules.
fn udev_line(board: &FoundBoard) -> String {
    format!(
        r#"SUBSYSTEM=="hidraw", ATTRS{{idVendor}}=="{:04x}", ATTRS{{idProduct}}=="{:04x}", TAG+="uaccess""#,
        board.vendor, board.product
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use expect_test::expect;

    fn board(access: Access, buttons: Option<usize>) -> FoundBoard {
        FoundBoard {
            path: "/dev/hidraw3".into(),
            vendor: 0x1209,
            product: 0x7a11,
            serial: Some("0042".into()),
            name: "Bench board".into(),
            access,
            buttons,
            application: "Joystick".into(),
        }
    }

    fn refused() -> Access {
        Access::Refused { reason: "permission denied".into(), cure: "install the rule".into() }
    }

    #[test]
    fn a_board_is_a_line_and_its_state() {
        let ready = board(Access::Ready, Some(32));
        expect![[r#"
            /dev/hidraw3  1209:7a11  Bench board  (Joystick, 32 buttons)
                serial 0042
                can be opened
        "#]]
        .assert_eq(&text(&[&ready]));
        let closed = board(refused(), None);
        expect![[r#"
            /dev/hidraw3  1209:7a11  Bench board  (Joystick, unreadable descriptor: describe its buttons in the rig file)
                serial 0042
                cannot be opened: permission denied
                cure: install the rule
                its line in that file: SUBSYSTEM=="hidraw", ATTRS{idVendor}=="1209", ATTRS{idProduct}=="7a11", TAG+="uaccess"
        "#]]
        .assert_eq(&text(&[&closed]));
        assert!(text(&[]).starts_with("No USB board"));
    }

    #[test]
    fn a_watched_board_says_what_changed() {
        let button = |n| ButtonNumber::new(n).unwrap();
        let before = Buttons::NONE.with(button(3), true);
        let now = Buttons::NONE.with(button(4), true).with(button(128), true);
        assert_eq!(changes(before, now), ["button 3 released", "button 4 pressed", "button 128 pressed"]);
        assert_eq!(changes(now, now), Vec::<String>::new());
    }

    #[test]
    fn the_printed_rule_is_the_shipped_one() {
        let rules = include_str!("../../../packaging/linux/60-tallywheel.rules");
        assert!(
            rules.contains(&udev_line(&board(Access::Ready, None))),
            "the file's example is for 1209:7a11"
        );
    }

    #[test]
    fn scripts_get_reason_and_cure() {
        let closed = board(refused(), Some(4));
        expect![[r#"{"path":"/dev/hidraw3","usb":"1209:7a11","serial":"0042","name":"Bench board","application":"Joystick","buttons":4,"can_be_opened":false,"reason":"permission denied","cure":"install the rule"}"#]]
            .assert_eq(&serde_json::to_string(&BoardJson::new(&closed)).unwrap());
    }
}
