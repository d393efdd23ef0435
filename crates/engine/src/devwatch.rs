//! Tells when a device node appears or changes its permissions, without polling.
//!
//! A general file watcher also listens for writes, and on /dev every write to any device, our own to uinput
//! among them, would wake it. So this asks the kernel's inotify for exactly three kinds of event.

use nix::errno::Errno;
use nix::sys::inotify::{AddWatchFlags, InitFlags, Inotify, InotifyEvent, WatchDescriptor};
use std::ffi::OsStr;
use std::io;
use std::sync::Arc;
use std::thread;

/// Which node changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Node {
    /// A HID device.
    Hidraw,
    /// The kernel's door for virtual input devices.
    Uinput,
}

impl Node {
    fn from_name(name: &str) -> Option<Self> {
        match name {
            "uinput" => Some(Self::Uinput),
            _ if name.starts_with("hidraw") => Some(Self::Hidraw),
            _ => None,
        }
    }
}

/// A watch on /dev that can be switched on and off.
///
/// While it is on, the kernel looks at it on every read and write of every device: about 900 instructions on
/// the way of each report (measured in the guest of `tests/kernel/bench`). So it is on only while something is
/// awaited.
#[derive(Debug)]
pub struct DevWatch {
    inotify: Arc<Inotify>,
    on: Option<WatchDescriptor>,
}

impl DevWatch {
    /// A watch that is off. It will call `changed` from a thread of its own for every change of a node that
    /// matters, until that answers false.
    ///
    /// # Errors
    /// Where the kernel gives no watch, or no thread; the caller then has to look from time to time.
    pub fn new(mut changed: impl FnMut(Node) -> bool + Send + 'static) -> io::Result<Self> {
        let inotify = Arc::new(Inotify::init(InitFlags::IN_CLOEXEC)?);
        let reading = Arc::clone(&inotify);
        thread::Builder::new().name("dev-watch".into()).stack_size(128 * 1024).spawn(move || {
            loop {
                match reading.read_events() {
                    Ok(events) => {
                        for event in events {
                            if !tell(&event, &mut changed) {
                                return;
                            }
                        }
                    }
                    Err(Errno::EINTR) => {}
                    Err(_) => return,
                }
            }
        })?;
        Ok(Self { inotify, on: None })
    }

    /// Switches it on or off; true if it was switched on just now, so that what happened before has to be
    /// looked for.
    pub fn switch(&mut self, on: bool) -> bool {
        match (on, self.on.take()) {
            (true, None) => {
                let kinds = AddWatchFlags::IN_CREATE | AddWatchFlags::IN_ATTRIB | AddWatchFlags::IN_DELETE;
                self.on = self.inotify.add_watch("/dev", kinds).ok();
                self.on.is_some()
            }
            (false, Some(watch)) => {
                // It is gone already where /dev was mounted anew.
                let _ = self.inotify.rm_watch(watch);
                false
            }
            (_, unchanged) => {
                self.on = unchanged;
                false
            }
        }
    }

    /// Whether changes are told of.
    #[must_use]
    pub const fn is_on(&self) -> bool {
        self.on.is_some()
    }
}

fn tell(event: &InotifyEvent, changed: &mut impl FnMut(Node) -> bool) -> bool {
    // After an overflow nobody knows what was missed, so both are looked at.
    if event.mask.contains(AddWatchFlags::IN_Q_OVERFLOW) {
        return changed(Node::Hidraw) && changed(Node::Uinput);
    }
    let name = event.name.as_deref().and_then(OsStr::to_str);
    name.and_then(Node::from_name).is_none_or(changed)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_hidraw_and_uinput_matter() {
        assert_eq!(Node::from_name("hidraw12"), Some(Node::Hidraw));
        assert_eq!(Node::from_name("uinput"), Some(Node::Uinput));
        assert_eq!(Node::from_name("null"), None);
        assert_eq!(Node::from_name("input"), None);
    }
}
