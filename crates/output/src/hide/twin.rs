use super::codes;
use super::sieve::{Passed, Sieve};
use crate::OutputError;
use crate::axis::device::{Step, not_opened};
use crate::axis::event::encode;
use evdev::raw_stream::RawDevice;
use evdev::uinput::VirtualDevice;
use evdev::{
    AbsInfo, AttributeSet, AttributeSetRef, EventType, KeyCode, MiscCode, SynchronizationCode, UinputAbsSetup,
};
use std::fs::File;
use std::io::{self, Write};
use std::os::fd::{AsFd, OwnedFd};
use std::path::Path;
use tallywheel_profile::DeviceName;
use tallywheel_units::Buttons;

/// What the twin's name ends with.
const NAME_END: &str = " without its wheels";

/// One event device of a board, grabbed, and what stands in for it.
pub(super) struct Twin {
    name: String,
    board: RawDevice,
    node: File,
    sieve: Sieve,
}

/// How passing events on came to an end.
#[derive(Debug)]
pub(super) enum Ended {
    /// The board is gone, or its event device is.
    BoardGone,
    /// The twin takes no more.
    TwinGone(io::Error),
}

impl Twin {
    /// Makes the twin of the event device at `path`, then grabs that; nothing if no wheel is on it.
    pub(super) fn of(path: &Path, wheels: Buttons) -> Result<Option<Self>, OutputError> {
        let board = RawDevice::open(path).map_err(not_taken)?;
        let keys = board.supported_keys();
        let mut hidden = codes::of_buttons(wheels, |place| board.get_scancode_by_index(place).ok());
        // The kernel tells the keys of the whole board, of which each event device may have a part.
        hidden.retain(|code| keys.is_some_and(|keys| keys.contains(KeyCode(*code))));
        if hidden.is_empty() {
            return Ok(None);
        }
        let name = name_of(board.name().unwrap_or("Board"));
        let builder = VirtualDevice::builder().map_err(|error| not_opened(error, Step::Open))?;
        let node = create(builder, &name, &board).map_err(|error| not_opened(error, Step::Create))?;
        let mut twin = Self { name, board, node, sieve: Sieve::new(hidden) };
        // First the twin, then the grab: whoever fails leaves the board as it was.
        twin.board.grab().map_err(not_taken)?;
        twin.copy_state().map_err(not_taken)?;
        Ok(Some(twin))
    }

    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// To wait for the board with.
    pub(super) fn descriptor(&self) -> io::Result<OwnedFd> {
        self.board.as_fd().try_clone_to_owned()
    }

    /// Passes on what the board has said; waits if it has said nothing.
    pub(super) fn pass(&mut self) -> Result<(), Ended> {
        let mut ask = false;
        let events = match self.board.fetch_events() {
            Ok(events) => events,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => return Ok(()),
            Err(_) => return Err(Ended::BoardGone),
        };
        for event in events {
            match self.sieve.event(event.event_type().0, event.code(), event.value()) {
                Passed::Nothing => {}
                Passed::Report(bytes) => self.node.write_all(bytes).map_err(Ended::TwinGone)?,
                Passed::AskState => ask = true,
            }
        }
        if ask { self.copy_state().map_err(|_| Ended::BoardGone) } else { Ok(()) }
    }

    /// Brings the twin to the board's present state; what it has already, the kernel passes over.
    fn copy_state(&mut self) -> io::Result<()> {
        let mut batch = vec![];
        if let Some(keys) = self.board.supported_keys() {
            let pressed = self.board.get_key_state()?;
            for key in keys.iter().filter(|key| !self.sieve.hides(key.0)) {
                batch.extend(encode(EventType::KEY.0, key.0, i32::from(pressed.contains(key))));
            }
        }
        for (axis, info) in self.board.get_absinfo()? {
            batch.extend(encode(EventType::ABSOLUTE.0, axis.0, info.value()));
        }
        if let Some(switches) = self.board.supported_switches() {
            let on = self.board.get_switch_state()?;
            for switch in switches.iter() {
                batch.extend(encode(EventType::SWITCH.0, switch.0, i32::from(on.contains(switch))));
            }
        }
        batch.extend(encode(EventType::SYNCHRONIZATION.0, SynchronizationCode::SYN_REPORT.0, 0));
        self.node.write_all(&batch)
    }
}

fn create(
    builder: evdev::uinput::VirtualDeviceBuilder<'_>,
    name: &str,
    board: &RawDevice,
) -> io::Result<File> {
    let mut builder = builder.name(name).input_id(board.input_id()).with_properties(board.properties())?;
    if let Some(keys) = board.supported_keys() {
        builder = builder.with_keys(keys)?;
    }
    for (axis, info) in board.get_absinfo()? {
        // The board's own node has applied the fuzz already.
        let info =
            AbsInfo::new(info.value(), info.minimum(), info.maximum(), 0, info.flat(), info.resolution());
        builder = builder.with_absolute_axis(&UinputAbsSetup::new(axis, info))?;
    }
    if let Some(axes) = board.supported_relative_axes() {
        builder = builder.with_relative_axes(axes)?;
    }
    if let Some(switches) = board.supported_switches() {
        builder = builder.with_switches(switches)?;
    }
    if let Some(codes) = board.misc_properties() {
        builder = builder.with_msc(&known(codes))?;
    }
    builder.build()?.as_fd().try_clone_to_owned().map(File::from)
}

/// Codes that uinput takes; it refuses those past its own last one.
fn known(codes: &AttributeSetRef<MiscCode>) -> AttributeSet<MiscCode> {
    codes.iter().filter(|code| code.0 <= MiscCode::MSC_TIMESTAMP.0).collect()
}

/// The board's name and what it is now, cut to what the kernel takes.
fn name_of(board: &str) -> String {
    let plain: String = board.chars().filter(|c| !c.is_control()).collect();
    DeviceName::cut(&plain, NAME_END).to_string()
}

fn not_taken(error: io::Error) -> OutputError {
    match error.raw_os_error() {
        Some(libc::EACCES | libc::EPERM) => OutputError::AskUser {
            reason: "this user may not open the board's event device",
            cure: "run it as the user who is logged in at this machine, to whom systemd's udev rules give the \
                   joysticks, or set hide = false in the rig file",
        },
        Some(libc::EBUSY) => OutputError::AskUser {
            reason: "another program has taken the board for itself",
            cure: "close that program, or set hide = false in the rig file",
        },
        _ => OutputError::Reopen {
            reason: "the board's event device cannot be taken",
            cure: "unplug the board and plug it in again",
            source: error,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ErrorKind;

    #[test]
    fn the_name_says_whose_twin_it_is_and_fits() {
        assert_eq!(name_of("Bench 32"), "Bench 32 without its wheels");
        assert_eq!(name_of("Bench\n32"), "Bench32 without its wheels");
        assert_eq!(name_of(""), " without its wheels");
        let long = name_of(&"\u{e9}".repeat(100));
        assert!(
            long.len() <= DeviceName::LONGEST_BYTES && long.len() > DeviceName::LONGEST_BYTES - 2,
            "{}",
            long.len()
        );
        assert!(long.ends_with("\u{e9} without its wheels"));
    }

    #[test]
    fn errors_name_the_cure() {
        let error = |number| not_taken(io::Error::from_raw_os_error(number));
        assert_eq!(error(libc::EACCES).kind(), ErrorKind::AskUser);
        assert!(error(libc::EBUSY).to_string().contains("close that program"));
        assert_eq!(error(libc::ENODEV).kind(), ErrorKind::Reopen);
    }

    #[test]
    fn a_board_that_is_not_there_is_told() {
        let error = Twin::of(Path::new("/dev/input/no such board"), Buttons::NONE).map(|_| ()).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::Reopen);
    }
}
