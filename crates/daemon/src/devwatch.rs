//! Tells when a device node appears or changes its permissions, without polling.
//!
//! A general file watcher also listens for writes, and on /dev every write to any device, our own to uinput
//! among them, would wake it. So this asks the kernel's inotify for exactly three kinds of event.

use nix::sys::inotify::{AddWatchFlags, InitFlags, Inotify};
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

/// Calls `changed` from a thread of its own for every change of a node that matters, until it answers false.
///
/// # Errors
/// Where the kernel gives no watch, or no thread; the caller then has to look from time to time.
pub fn watch(mut changed: impl FnMut(Node) -> bool + Send + 'static) -> std::io::Result<()> {
    let inotify = Inotify::init(InitFlags::IN_CLOEXEC)?;
    inotify
        .add_watch("/dev", AddWatchFlags::IN_CREATE | AddWatchFlags::IN_ATTRIB | AddWatchFlags::IN_DELETE)?;
    thread::Builder::new().name("dev-watch".into()).stack_size(128 * 1024).spawn(move || {
        loop {
            match inotify.read_events() {
                Ok(events) => {
                    for event in events {
                        // After an overflow nobody knows what was missed, so both are looked at.
                        if event.mask.contains(AddWatchFlags::IN_Q_OVERFLOW)
                            && !(changed(Node::Hidraw) && changed(Node::Uinput))
                        {
                            return;
                        }
                        let name = event.name.unwrap_or_default();
                        if let Some(node) = name.to_str().and_then(Node::from_name)
                            && !changed(node)
                        {
                            return;
                        }
                    }
                }
                Err(nix::errno::Errno::EINTR) => {}
                Err(_) => return,
            }
        }
    })?;
    Ok(())
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
