use crate::source::SourceError;
use std::fs::OpenOptions;
use std::io;

/// Whether a board can be opened by this user.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Access {
    /// It can.
    Ready,
    /// It cannot.
    Refused {
        /// What the system said.
        reason: String,
        /// What the user has to do, one clause.
        cure: String,
    },
}

/// The rule that lets the user who sits at the machine open boards.
const CURE: &str = if cfg!(target_os = "linux") {
    "install packaging/linux/60-tallywheel.rules as /etc/udev/rules.d/60-tallywheel.rules, run `udevadm control \
     --reload`, then unplug the board and plug it in again"
} else {
    "end the program that keeps the board to itself, then unplug the board and plug it in again"
};

pub(super) fn check(path: &str) -> Access {
    match try_open(path) {
        Ok(()) => Access::Ready,
        Err(error) if error.kind() == io::ErrorKind::PermissionDenied => {
            Access::Refused { reason: error.to_string(), cure: CURE.to_owned() }
        }
        Err(error) => Access::Refused {
            reason: error.to_string(),
            cure: "unplug the board and plug it in again".to_owned(),
        },
    }
}

/// Why hidapi could not open the board at `path`. It says so only in words, so the system is asked again.
pub(super) fn why_not(path: &str, said: &str) -> SourceError {
    match try_open(path) {
        Err(error) if error.kind() == io::ErrorKind::PermissionDenied => SourceError::AskPermission {
            path: path.to_owned(),
            reason: error.to_string(),
            cure: CURE.to_owned(),
        },
        Err(error) => SourceError::Reopen { reason: error.to_string() },
        Ok(()) => SourceError::Reopen { reason: said.to_owned() },
    }
}

/// Opens for reading and writing, as hidapi does.
fn try_open(path: &str) -> io::Result<()> {
    OpenOptions::new().read(true).write(true).open(path).map(drop)
}
