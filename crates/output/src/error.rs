use std::io;
use std::net::SocketAddr;
use tallywheel_units::TrimIndex;

/// Why an output did not take a frame, by what the caller does next.
#[derive(Debug, thiserror::Error)]
pub enum OutputError {
    /// Stop using this output until its configuration has changed: the same one fails again.
    #[error("{0}")]
    ChangeConfig(ConfigProblem),
    /// Show reason and cure to the user. Opening again may work once something on the machine has changed.
    #[error("{reason}: {cure}")]
    AskUser {
        /// What is wrong on this machine.
        reason: &'static str,
        /// What the user can do about it.
        cure: &'static str,
    },
    /// Drop the output and open it again a little later: it has gone, or never came.
    #[error("{reason} ({source}): {cure}")]
    Reopen {
        /// What could not be done.
        reason: &'static str,
        /// What the user can look at if it stays so.
        cure: &'static str,
        /// What the operating system says.
        source: io::Error,
    },
    /// Keep the output and publish the newest frame again a little later: this one did not go out.
    #[error("{reason} ({source}): {cure}")]
    Resend {
        /// What could not be done.
        reason: &'static str,
        /// What the user can look at if it stays so.
        cure: &'static str,
        /// What the operating system says.
        source: io::Error,
    },
    /// Carry on: the frame went out, but nobody took the one before.
    #[error("nobody listens at {to}: start the simulator, or correct the port in the aircraft file")]
    CarryOn {
        /// Where the datagrams go.
        to: SocketAddr,
    },
}

/// What is wrong with an [`OutputConfig`](tallywheel_profile::OutputConfig).
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ConfigProblem {
    /// The operating system has no way to make a joystick without a driver.
    #[error(
        "virtual axes and buttons need a kernel driver, and this system has none: use a datagram output, or steps with keys"
    )]
    NoKernelDriver,
    /// Only Windows has keys pressed.
    #[error("keys are pressed on Windows only: use `low_buttons` and `high_buttons`, or a datagram output")]
    NoKeys,
    /// The frame has no trim at that place.
    #[error("the aircraft has no trim at place {0} (counted from 0): name one of its trims")]
    NoSuchTrim(TrimIndex),
    /// A name with blanks or control characters would break the line apart.
    #[error("a trim called `{}` cannot stand in a text line: use a name without blanks", .0.escape_debug())]
    NameInLine(String),
    /// A name with blanks or signs that OSC addresses use for something else.
    #[error("a trim called `{}` cannot stand in an OSC address: use letters and digits", .0.escape_debug())]
    NameInOsc(String),
    /// What stands before the padding may already be longer.
    #[error("the datagram may have {bytes} bytes before it is padded to {to}: pad it to at least {bytes}")]
    PadTooShort {
        /// Bytes to pad to.
        to: usize,
        /// Bytes that may stand before.
        bytes: usize,
    },
    /// The largest datagram that these trims may need is above the limit.
    #[error(
        "a datagram with these trims may need {bytes} bytes, the limit is {limit}: \
         use shorter names or spread the trims over several outputs"
    )]
    TooLarge {
        /// Bytes that the largest datagram would need.
        bytes: usize,
        /// Bytes that a datagram may have.
        limit: usize,
    },
    /// Not the address of one receiver.
    #[error("{0} is no receiver's address: give the address and port of one, such as 127.0.0.1:47811")]
    Address(SocketAddr),
}

/// The kinds of [`OutputError`], to count by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ErrorKind {
    /// [`OutputError::ChangeConfig`]
    ChangeConfig,
    /// [`OutputError::AskUser`]
    AskUser,
    /// [`OutputError::Reopen`]
    Reopen,
    /// [`OutputError::Resend`]
    Resend,
    /// [`OutputError::CarryOn`]
    CarryOn,
}

impl ErrorKind {
    /// Every kind, in the order of declaration.
    pub const ALL: [Self; 5] = [Self::ChangeConfig, Self::AskUser, Self::Reopen, Self::Resend, Self::CarryOn];

    /// The word used in logs and files; it never changes between versions.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ChangeConfig => "change-config",
            Self::AskUser => "ask-user",
            Self::Reopen => "reopen",
            Self::Resend => "resend",
            Self::CarryOn => "carry-on",
        }
    }
}

impl OutputError {
    /// The kind to count it by.
    #[must_use]
    pub const fn kind(&self) -> ErrorKind {
        match self {
            Self::ChangeConfig(_) => ErrorKind::ChangeConfig,
            Self::AskUser { .. } => ErrorKind::AskUser,
            Self::Reopen { .. } => ErrorKind::Reopen,
            Self::Resend { .. } => ErrorKind::Resend,
            Self::CarryOn { .. } => ErrorKind::CarryOn,
        }
    }

    /// The reason alone, for where there is nothing to cure any more.
    pub(crate) fn reason(&self) -> String {
        match self {
            Self::AskUser { reason, .. } => (*reason).to_owned(),
            Self::Reopen { reason, source, .. } | Self::Resend { reason, source, .. } => {
                format!("{reason} ({source})")
            }
            Self::ChangeConfig(_) | Self::CarryOn { .. } => self.to_string(),
        }
    }
}

impl From<ConfigProblem> for OutputError {
    fn from(problem: ConfigProblem) -> Self {
        Self::ChangeConfig(problem)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use expect_test::expect;
    use std::fmt::Write;

    /// Each line must stand on its own in a log: what is wrong, then what to do.
    #[test]
    fn every_error_gives_its_reason_and_its_cure() {
        let to: SocketAddr = "127.0.0.1:47811".parse().unwrap();
        let source = || io::Error::new(io::ErrorKind::NetworkDown, "network is down");
        let (reason, cure) = ("no datagram gets out", "check the network");
        let errors: Vec<OutputError> = vec![
            OutputError::AskUser { reason: "no joystick", cure: "load the module" },
            OutputError::Reopen { reason, cure, source: source() },
            OutputError::Resend { reason, cure, source: source() },
            OutputError::CarryOn { to },
            ConfigProblem::NoKernelDriver.into(),
            ConfigProblem::NoKeys.into(),
            ConfigProblem::NoSuchTrim(TrimIndex::new(3)).into(),
            ConfigProblem::NameInLine("nose\tup".to_owned()).into(),
            ConfigProblem::NameInOsc("nose up".to_owned()).into(),
            ConfigProblem::PadTooShort { to: 11, bytes: 12 }.into(),
            ConfigProblem::TooLarge { bytes: 1401, limit: 1400 }.into(),
            ConfigProblem::Address("0.0.0.0:0".parse().unwrap()).into(),
        ];
        let mut lines = String::new();
        for error in &errors {
            writeln!(lines, "{}: {error}", error.kind().name()).unwrap();
        }
        expect![[r#"
            ask-user: no joystick: load the module
            reopen: no datagram gets out (network is down): check the network
            resend: no datagram gets out (network is down): check the network
            carry-on: nobody listens at 127.0.0.1:47811: start the simulator, or correct the port in the aircraft file
            change-config: virtual axes and buttons need a kernel driver, and this system has none: use a datagram output, or steps with keys
            change-config: keys are pressed on Windows only: use `low_buttons` and `high_buttons`, or a datagram output
            change-config: the aircraft has no trim at place 3 (counted from 0): name one of its trims
            change-config: a trim called `nose\tup` cannot stand in a text line: use a name without blanks
            change-config: a trim called `nose up` cannot stand in an OSC address: use letters and digits
            change-config: the datagram may have 12 bytes before it is padded to 11: pad it to at least 12
            change-config: a datagram with these trims may need 1401 bytes, the limit is 1400: use shorter names or spread the trims over several outputs
            change-config: 0.0.0.0:0 is no receiver's address: give the address and port of one, such as 127.0.0.1:47811
        "#]]
        .assert_eq(&lines);
    }

    #[test]
    fn the_reason_alone_leaves_the_cure_out() {
        let error = OutputError::Reopen {
            reason: "gone",
            cure: "look",
            source: io::Error::new(io::ErrorKind::NotFound, "no such device"),
        };
        assert_eq!(error.reason(), "gone (no such device)");
        assert_eq!(OutputError::AskUser { reason: "gone", cure: "look" }.reason(), "gone");
        let config = OutputError::from(ConfigProblem::NoKeys);
        assert_eq!(config.reason(), config.to_string());
    }
}
