//! `tallywheel boards`: what is plugged in, and what to do about boards that cannot be opened.

use crate::failure::Failure;
use serde::Serialize;
use std::io::Write;
use tallywheel_hid_reader::{Access, FoundBoard, Hid};

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

/// Lists the boards on `out`.
///
/// # Errors
/// Where boards cannot be looked for, or `out` cannot be written.
pub fn list(json: bool, out: &mut impl Write) -> Result<(), Failure> {
    let boards = Hid::new()?.boards()?;
    // A board whose descriptor cannot be read may well have buttons; only a proven 0 is left out.
    let with_buttons: Vec<_> = boards.iter().filter(|board| board.buttons != Some(0)).collect();
    if json {
        let list: Vec<_> = with_buttons.iter().map(|board| BoardJson::new(board)).collect();
        serde_json::to_writer(&mut *out, &list).map_err(std::io::Error::from)?;
        writeln!(out)?;
    } else {
        out.write_all(text(&with_buttons).as_bytes())?;
    }
    Ok(())
}

fn text(boards: &[&FoundBoard]) -> String {
    let mut text = String::new();
    if boards.is_empty() {
        text += "No USB board with buttons is plugged in.\n";
        text +=
            "If yours is: does `ls /dev/hidraw*` list anything? Try another cable; some only carry power.\n";
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
            }
        }
    }
    text
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
        "#]]
        .assert_eq(&text(&[&closed]));
        assert!(text(&[]).starts_with("No USB board"));
    }

    #[test]
    fn scripts_get_reason_and_cure() {
        let closed = board(refused(), Some(4));
        expect![[r#"{"path":"/dev/hidraw3","usb":"1209:7a11","serial":"0042","name":"Bench board","application":"Joystick","buttons":4,"can_be_opened":false,"reason":"permission denied","cure":"install the rule"}"#]]
            .assert_eq(&serde_json::to_string(&BoardJson::new(&closed)).unwrap());
    }
}
