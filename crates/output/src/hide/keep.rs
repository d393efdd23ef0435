use super::nodes;
use super::twin::{Ended, Twin};
use crate::OutputError;
use nix::errno::Errno;
use nix::poll::{PollFd, PollFlags, PollTimeout, poll};
use std::io;
use std::os::fd::{AsFd, OwnedFd};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::thread::{self, JoinHandle};
use tallywheel_units::Buttons;

/// udev sets rights a moment after a device appears, and the event device may come after the hidraw device.
const ATTEMPTS: u32 = 20;
const BETWEEN_ATTEMPTS_MS: u16 = 100;

/// A board whose wheels nobody else sees, for as long as this value lives and the board is plugged in.
#[derive(Debug)]
pub struct HiddenBoard {
    /// Closed to end the thread.
    stop: Option<UnixStream>,
    thread: Option<JoinHandle<()>>,
}

impl HiddenBoard {
    /// Begins to hide the buttons `wheels` of the board with that hidraw device, such as `/dev/hidraw3`, on a
    /// thread of its own. `tell` gets the twin's name once it stands, or why it does not, or no longer does.
    ///
    /// # Errors
    /// Where the system gives no thread or no descriptors.
    pub fn start(
        hidraw: &str,
        wheels: Buttons,
        tell: impl FnMut(Result<String, OutputError>) + Send + 'static,
    ) -> io::Result<Self> {
        let (stop, stopped) = UnixStream::pair()?;
        let hidraw = hidraw.to_owned();
        let run = move || keep(&hidraw, wheels, &stopped, tell);
        let thread = thread::Builder::new().name("hide".into()).stack_size(128 * 1024).spawn(run)?;
        Ok(Self { stop: Some(stop), thread: Some(thread) })
    }

    /// Whether it has ended by itself: it has told why, or the board is gone.
    #[must_use]
    pub fn has_ended(&self) -> bool {
        self.thread.as_ref().is_none_or(JoinHandle::is_finished)
    }
}

impl Drop for HiddenBoard {
    /// Gives the board back before it returns.
    fn drop(&mut self) {
        drop(self.stop.take());
        if let Some(thread) = self.thread.take() {
            // It does nothing that could panic, and there is nothing to do about it here.
            let _ = thread.join();
        }
    }
}

fn keep(
    hidraw: &str,
    wheels: Buttons,
    stopped: &UnixStream,
    mut tell: impl FnMut(Result<String, OutputError>),
) {
    let mut attempts = 0;
    let mut twins = loop {
        attempts += 1;
        match take(hidraw, wheels) {
            Ok(twins) => break twins,
            Err(error) if attempts >= ATTEMPTS => return tell(Err(error)),
            Err(_) if wait(stopped, &[], BETWEEN_ATTEMPTS_MS.into()) == Woken::Stop => return,
            Err(_) => {}
        }
    };
    let names: Vec<_> = twins.iter().map(Twin::name).collect();
    tell(Ok(names.join(", ")));
    let descriptors: Result<Vec<_>, _> = twins.iter().map(Twin::descriptor).collect();
    let Ok(descriptors) = descriptors else { return };
    while let Woken::Boards(ready) = wait(stopped, &descriptors, PollTimeout::NONE) {
        for (twin, _) in twins.iter_mut().zip(ready).filter(|(_, ready)| *ready) {
            match twin.pass() {
                Ok(()) => {}
                Err(Ended::BoardGone) => return,
                Err(Ended::TwinGone(source)) => {
                    return tell(Err(OutputError::Reopen {
                        reason: "the twin of the board takes nothing any more",
                        cure: "unplug the board and plug it in again",
                        source,
                    }));
                }
            }
        }
    }
}

fn take(hidraw: &str, wheels: Buttons) -> Result<Vec<Twin>, OutputError> {
    let mut twins = vec![];
    for path in nodes::of_hidraw(Path::new("/sys"), hidraw) {
        twins.extend(Twin::of(&path, wheels)?);
    }
    if twins.is_empty() {
        return Err(OutputError::Reopen {
            reason: "the kernel has no event device with their buttons",
            cure: "if nothing else sees them either, set hide = false in the rig file",
            source: io::ErrorKind::NotFound.into(),
        });
    }
    Ok(twins)
}

#[derive(Debug, PartialEq, Eq)]
enum Woken {
    /// There is no more to do.
    Stop,
    /// Which boards have something to say.
    Boards(Vec<bool>),
}

/// Sleeps until a board has something to say or is gone, or there is no more to do, or the time is over.
fn wait(stopped: &UnixStream, boards: &[OwnedFd], time: PollTimeout) -> Woken {
    let mut fds: Vec<_> = boards.iter().map(|fd| PollFd::new(fd.as_fd(), PollFlags::POLLIN)).collect();
    fds.push(PollFd::new(stopped.as_fd(), PollFlags::POLLIN));
    match poll(&mut fds, time) {
        Ok(_) => {}
        Err(Errno::EINTR) => return Woken::Boards(vec![]),
        Err(_) => return Woken::Stop,
    }
    let mut ready: Vec<_> = fds.iter().map(|fd| fd.any().unwrap_or(true)).collect();
    if ready.pop() == Some(false) { Woken::Boards(ready) } else { Woken::Stop }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc;
    use std::time::Duration;

    #[test]
    fn a_board_that_is_not_there_is_told_of_in_the_end() {
        let (send, told) = mpsc::channel();
        let hidden = HiddenBoard::start("/dev/hidraw-none", Buttons::NONE, move |what| {
            send.send(what).unwrap();
        });
        let error = told.recv_timeout(Duration::from_secs(120)).unwrap().unwrap_err();
        assert!(error.to_string().contains("no event device"), "{error}");
        let hidden = hidden.unwrap();
        // It tells before it ends.
        while !hidden.has_ended() {
            thread::yield_now();
        }
    }

    #[test]
    fn it_ends_at_once_when_it_is_told_to() {
        let (send, told) = mpsc::channel();
        let hidden = HiddenBoard::start("/dev/hidraw-none", Buttons::NONE, move |what| {
            send.send(what).unwrap();
        })
        .unwrap();
        assert!(!hidden.has_ended());
        drop(hidden);
        assert!(told.recv().is_err(), "it went on to its last attempt");
    }

    #[test]
    fn it_wakes_for_the_one_who_says_something() {
        let (stop, stopped) = UnixStream::pair().unwrap();
        let (quiet, _quiet_end) = UnixStream::pair().unwrap();
        let (loud, loud_end) = UnixStream::pair().unwrap();
        drop(loud_end);
        let boards = [OwnedFd::from(quiet), OwnedFd::from(loud)];
        assert_eq!(wait(&stopped, &boards, PollTimeout::NONE), Woken::Boards(vec![false, true]));
        assert_eq!(wait(&stopped, &boards[..1], PollTimeout::ZERO), Woken::Boards(vec![false]));
        drop(stop);
        assert_eq!(wait(&stopped, &boards, PollTimeout::NONE), Woken::Stop);
    }
}
