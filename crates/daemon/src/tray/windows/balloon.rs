//! A message beside our icon in the notification area, which Windows 10 and 11 show as they show all notifications.
//!
//! It is the icon's own message (`Shell_NotifyIcon` with NIF_INFO), since that needs nothing that an installer would
//! have to register, as the notifications of WinRT do (an AppUserModelID), and since Wine shows it, so it can be tried.
//! tray-icon, which makes the icon, has no such call; winsafe has it as a safe one.

use crate::tray::truncate::TruncatedMessage;
use std::cell::Cell;
use tallywheel_engine::notifications::Message;
use tray_icon::TrayIcon;
use winsafe::{EnumThreadWindows, GetCurrentThreadId, HWND, NOTIFYICONDATA, Shell_NotifyIcon, co};

/// Icons are numbered by tray-icon from 1 on, and it uses up two numbers for one icon.
const NUMBERS: std::ops::RangeInclusive<u32> = 1..=8;

/// Shows messages beside one icon.
#[derive(Debug, Default)]
pub(super) struct Balloon {
    /// The number of the icon, once it is known.
    number: Option<u32>,
}

impl Balloon {
    /// Shows a message beside `icon`, in place of the one that is there. To be called on the icon's thread.
    ///
    /// # Errors
    /// Why nothing is shown: there may be no taskbar just now.
    pub(super) fn show(&mut self, icon: &TrayIcon, message: &Message) -> Result<(), &'static str> {
        let mut data = NOTIFYICONDATA::default();
        data.hWnd = window(icon).ok_or("the icon's window was not found")?;
        data.uFlags = co::NIF::INFO;
        // No NIF_REALTIME, which is for what is no news a moment later: a board that was lost behind a game in full
        // screen is still lost. No NIIF_RESPECT_QUIET_TIME: it would keep that from somebody who is new to this Windows.
        data.dwInfoFlags = if message.bad { co::NIIF::WARNING } else { co::NIIF::INFO };
        let text = TruncatedMessage::of(message);
        data.set_szInfoTitle(&text.title);
        data.set_szInfo(&text.text);
        // tray-icon keeps the number to itself, but any other than that of this window's one icon is refused.
        let numbers = self.number.map_or(NUMBERS, |number| number..=number);
        let shown = numbers.into_iter().find(|number| {
            data.uID = *number;
            Shell_NotifyIcon(co::NIM::MODIFY, &data).is_ok()
        });
        self.number = shown.or(self.number);
        shown.map(|_| ()).ok_or("the taskbar does not know the icon")
    }
}

/// The window of the icon. tray-icon tells it as a pointer, and to make a window of that would need `unsafe`; but among
/// the windows of this thread, where no other program's are, it is the one with the same pointer.
fn window(icon: &TrayIcon) -> Option<HWND> {
    let wanted = icon.window_handle();
    let found = Cell::new(None);
    let all = EnumThreadWindows(GetCurrentThreadId(), |window| {
        if window.ptr() == wanted {
            found.set(Some(window));
        }
        true
    });
    if let Err(error) = all {
        tracing::debug!(%error, "the windows of the tray");
    }
    found.take()
}
