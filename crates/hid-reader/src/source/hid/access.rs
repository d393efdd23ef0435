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
    "install packaging/linux/60-tallywheel.rules, with a line for this board (`tallywheel boards` prints it), as \
     /etc/udev/rules.d/60-tallywheel.rules, run `udevadm control --reload`, then unplug the board and plug it in \
     again"
} else {
    "end the program that keeps the board to itself, then unplug the board and plug it in again"
};

pub(super) fn check(path: &str) -> Access {
    match try_open(path) {
        Ok(()) => Access::Ready,
        Err(error) => access(&error),
    }
}

fn access(error: &io::Error) -> Access {
    let cure = match error.kind() {
        io::ErrorKind::PermissionDenied => CURE,
        _ => "unplug the board and plug it in again",
    };
    Access::Refused { reason: error.to_string(), cure: cure.to_owned() }
}

/// Why hidapi could not open the board at `path`. It says so only in words, so the system is asked again.
pub(super) fn why_not(path: &str, said: &str) -> SourceError {
    match try_open(path) {
        Ok(()) => SourceError::Reopen { reason: said.to_owned() },
        Err(error) => failure(path, &error),
    }
}

fn failure(path: &str, error: &io::Error) -> SourceError {
    let reason = error.to_string();
    match error.kind() {
        io::ErrorKind::PermissionDenied => {
            SourceError::AskPermission { path: path.to_owned(), reason, cure: CURE.to_owned() }
        }
        _ => SourceError::Reopen { reason },
    }
}

/// Opens for reading and writing, as hidapi does.
fn try_open(path: &str) -> io::Result<()> {
    OpenOptions::new().read(true).write(true).open(path).map(drop)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EACCES and EPERM by their numbers: a test that runs as root cannot provoke them.
    #[cfg(target_os = "linux")]
    #[test]
    fn no_permission_names_the_rule_that_gives_it() {
        for number in [13, 1] {
            let denied = io::Error::from_raw_os_error(number);
            let Access::Refused { reason, cure } = access(&denied) else { panic!("{number}") };
            assert!(reason.contains("permi") || reason.contains("Permi"), "{reason}");
            assert!(cure.contains("packaging/linux/60-tallywheel.rules"), "{cure}");
            let error = failure("/dev/hidraw7", &denied);
            assert!(matches!(&error, SourceError::AskPermission { path, .. } if path == "/dev/hidraw7"));
            let said = error.to_string();
            assert!(said.starts_with("/dev/hidraw7 may not be opened: "), "{said}");
            assert!(said.contains("/etc/udev/rules.d/60-tallywheel.rules"), "{said}");
        }
    }

    #[test]
    fn a_board_that_is_not_there_is_opened_again_later() {
        let folder = std::env::temp_dir().join("tallywheel-no-such-board");
        let path = folder.to_string_lossy();
        assert!(matches!(check(&path), Access::Refused { .. }));
        let SourceError::Reopen { reason } = why_not(&path, "hidapi's words") else { panic!() };
        assert_ne!(reason, "hidapi's words");
    }
}
