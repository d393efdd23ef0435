//! The keyboard of Windows. A press goes to the window that is in front, as one by hand does.

use super::buttons::{Buttons, Lost};
use super::output::Steps;
use crate::{ConfigProblem, Output, OutputError};
use std::io;
use tallywheel_profile::{KeyPlace, KeysTrim, Pace, ScanCode};
use tallywheel_units::{AxisValue, Timestamp};
use winsafe::co::KEYEVENTF;
use winsafe::{HwKbMouse, KEYBDINPUT, SendInput};

/// Windows takes keys; whether anybody listens to them nobody tells.
#[expect(clippy::unnecessary_wraps, reason = "other systems refuse")]
pub(super) const fn check() -> Result<(), ConfigProblem> {
    Ok(())
}

/// There is a keyboard always, so nothing is opened.
#[expect(clippy::unnecessary_wraps, reason = "other systems refuse")]
pub(super) fn open(
    name: String,
    pace: Pace,
    places: &[(KeysTrim, AxisValue)],
    at: Timestamp,
) -> Result<Box<dyn Output>, OutputError> {
    Ok(Box::new(Steps::open(name, pace, places, at, Keyboard { stuck: None, send })))
}

/// `S` hands one event to the system.
struct Keyboard<S> {
    /// A key that could not be let go: it is let go before anything else is pressed.
    stuck: Option<KeyPlace>,
    send: S,
}

impl<S: FnMut(KEYBDINPUT) -> io::Result<()> + Send> Buttons for Keyboard<S> {
    type Button = KeyPlace;

    const LOST: Lost = Lost {
        reason: "Windows takes no keys now; what is owed is pressed as soon as it does",
        cure: "unlock the screen",
    };

    fn hold(&mut self, key: KeyPlace, held: bool) -> io::Result<()> {
        if let Some(stuck) = self.stuck.filter(|stuck| held || *stuck != key) {
            (self.send)(event(stuck, false))?;
            self.stuck = None;
        }
        let done = (self.send)(event(key, held));
        if !held {
            self.stuck = done.is_err().then_some(key);
        }
        done
    }

    fn renew(&mut self) -> Result<(), OutputError> {
        Ok(())
    }
}

/// By its place on the keyboard, as simulators read keys.
fn event(key: KeyPlace, held: bool) -> KEYBDINPUT {
    let ScanCode { byte, extended } = key.scan_code();
    let mut flags = KEYEVENTF::SCANCODE;
    if extended {
        flags |= KEYEVENTF::EXTENDEDKEY;
    }
    if !held {
        flags |= KEYEVENTF::KEYUP;
    }
    KEYBDINPUT { wScan: u16::from(byte), dwFlags: flags, ..KEYBDINPUT::default() }
}

/// The one memory that is allocated here is winsafe's list of this one event.
fn send(event: KEYBDINPUT) -> io::Result<()> {
    match SendInput(&[HwKbMouse::Kb(event)]) {
        Ok(_) => Ok(()),
        Err(error) => Err(io::Error::other(error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(name: &str) -> KeyPlace {
        KeyPlace::from_name(name).unwrap()
    }

    /// `KEYEVENTF_EXTENDEDKEY` 1, `KEYEVENTF_KEYUP` 2, `KEYEVENTF_SCANCODE` 8 in winuser.h; F13 is 0x64 and the
    /// arrow to the left 0xE0 0x4B.
    #[test]
    fn an_event_is_a_scan_code_and_which_way_it_goes() {
        let words = |name: &str, held: bool| {
            let event = event(key(name), held);
            (event.wVk.raw(), event.wScan, event.dwFlags.raw())
        };
        assert_eq!(words("F13", true), (0, 0x64, 8));
        assert_eq!(words("F13", false), (0, 0x64, 10));
        assert_eq!(words("ArrowLeft", true), (0, 0x4b, 9));
        assert_eq!(words("ArrowLeft", false), (0, 0x4b, 11));
    }

    #[test]
    fn a_key_that_could_not_be_let_go_is_let_go_before_the_next() {
        let (mut sent, mut locked) = (Vec::new(), false);
        let mut hold = |stuck: Option<KeyPlace>, name: &str, held: bool, now_locked: bool| {
            locked = now_locked;
            let send = |event: KEYBDINPUT| {
                if locked {
                    return Err(io::ErrorKind::PermissionDenied.into());
                }
                sent.push((event.wScan, event.dwFlags.raw() & 2 != 0));
                Ok(())
            };
            let mut keyboard = Keyboard { stuck, send };
            let done = keyboard.hold(key(name), held).is_ok();
            keyboard.renew().unwrap();
            (done, keyboard.stuck)
        };
        let (done, stuck) = hold(None, "F13", false, true);
        assert_eq!((done, stuck), (false, Some(key("F13"))));
        let (done, stuck) = hold(stuck, "F14", true, true);
        assert_eq!((done, stuck), (false, Some(key("F13"))), "still locked");
        assert_eq!(hold(stuck, "F14", true, false), (true, None));
        assert_eq!(hold(Some(key("F13")), "F13", false, false), (true, None));
        assert_eq!(sent, [(0x64, true), (0x65, false), (0x64, true)]);
    }
}
