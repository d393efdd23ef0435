//! Keeps one output going whatever happens to it, so that one failing never stops another.

use crate::{ErrorKind, Frame, Output, OutputConfig, OutputError, open_at};
use std::fmt;
use tallywheel_units::Timestamp;

mod back_off;
mod log_gate;
mod notice;
mod per_kind;

use back_off::BackOff;
use log_gate::LogGate;
pub use notice::Notice;
pub use per_kind::ErrorCounts;
use per_kind::PerKind;

type Opener = Box<dyn FnMut(&OutputConfig, &Frame<'_>) -> Result<Box<dyn Output>, OutputError> + Send>;

/// One output with everything that keeps it going.
pub struct Supervised {
    config: OutputConfig,
    opener: Opener,
    name: String,
    phase: Phase,
    back_off: BackOff,
    gates: PerKind<LogGate>,
    errors: ErrorCounts,
    published: u64,
}

enum Phase {
    /// Not tried yet.
    New,
    Open {
        output: Box<dyn Output>,
        since: Timestamp,
    },
    /// `attempts` to open it have failed since it went down.
    Down {
        cause: String,
        since: Timestamp,
        attempts: u64,
    },
    /// The configuration itself is wrong.
    Refused,
}

/// Whether frames get out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum State {
    /// Not tried yet: the first frame opens it.
    New,
    /// Open.
    Open,
    /// Not open, and tried again by itself.
    Failed,
    /// Not open, and not tried again: the configuration must change.
    Refused,
}

impl Supervised {
    /// Opens nothing yet: the first [`Self::publish`] does, in the position of its frame.
    #[must_use]
    pub fn new(config: OutputConfig) -> Self {
        Self::with_opener(config, open_at)
    }

    /// With another way to open, for tests that need an output to fail.
    #[must_use]
    pub fn with_opener(
        config: OutputConfig,
        opener: impl FnMut(&OutputConfig, &Frame<'_>) -> Result<Box<dyn Output>, OutputError> + Send + 'static,
    ) -> Self {
        Self {
            name: config.name(),
            config,
            opener: Box::new(opener),
            phase: Phase::New,
            back_off: BackOff::default(),
            gates: PerKind::default(),
            errors: ErrorCounts::default(),
            published: 0,
        }
    }

    /// What it is and where it leads, for people; also while it is not open.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What it was made from.
    #[must_use]
    pub const fn config(&self) -> &OutputConfig {
        &self.config
    }

    /// Whether frames get out.
    #[must_use]
    pub const fn state(&self) -> State {
        match self.phase {
            Phase::New => State::New,
            Phase::Open { .. } => State::Open,
            Phase::Down { .. } => State::Failed,
            Phase::Refused => State::Refused,
        }
    }

    /// Errors since the start, by kind.
    #[must_use]
    pub const fn errors(&self) -> ErrorCounts {
        self.errors
    }

    /// Frames that the output took, those without a change included.
    #[must_use]
    pub const fn published(&self) -> u64 {
        self.published
    }

    /// Makes the next [`Self::publish`] try to open a failed output at once, whatever its wait: for when
    /// something on the machine has changed. Nothing happens to an output that is open.
    pub fn reopen(&mut self) {
        self.back_off.hurry();
    }

    /// When [`Self::publish`] wants the newest frame again although nothing moved; `None` while all is well
    /// and nothing is left to send.
    #[must_use]
    pub fn deadline(&self) -> Option<Timestamp> {
        match &self.phase {
            Phase::New => Some(Timestamp::START),
            Phase::Open { output, .. } => output.deadline(),
            Phase::Down { .. } => Some(self.back_off.due()),
            Phase::Refused => None,
        }
    }

    /// Gives the frame to the output, opening it first if it is not open and its wait is over. Time is
    /// `frame.at`. Returns what is worth a log line.
    pub fn publish(&mut self, frame: &Frame<'_>) -> Option<Notice> {
        let error = match &mut self.phase {
            Phase::Open { output, .. } => match output.publish(frame) {
                Ok(()) => {
                    self.published = self.published.saturating_add(1);
                    return None;
                }
                Err(error) => error,
            },
            Phase::Refused => return None,
            Phase::Down { .. } if !self.back_off.is_due(frame.at) => return None,
            Phase::New | Phase::Down { .. } => return self.try_open(frame),
        };
        if keeps_open(&error) {
            self.errors.add(error.kind());
            return self
                .gate(error.kind())
                .pass(frame.at)
                .map(|held_back| Notice::Trouble { error, held_back });
        }
        self.lost(error, frame)
    }

    /// The output was open and is of no use any more.
    fn lost(&mut self, error: OutputError, frame: &Frame<'_>) -> Option<Notice> {
        if let Phase::Open { since, .. } = self.phase {
            self.back_off.held(frame.at.since(since));
        }
        if matches!(error, OutputError::ChangeConfig(_)) || !self.back_off.try_at_once() {
            return self.fail(error, frame.at);
        }
        self.errors.add(error.kind());
        self.gate(error.kind()).hold_back();
        // Dropping the old one first: the new joystick must not appear beside it.
        self.phase = Phase::Down { cause: error.to_string(), since: frame.at, attempts: 0 };
        self.try_open(frame)
    }

    fn try_open(&mut self, frame: &Frame<'_>) -> Option<Notice> {
        let mut output = match (self.opener)(&self.config, frame) {
            Ok(output) => output,
            Err(error) => return self.fail(error, frame.at),
        };
        match output.publish(frame) {
            Ok(()) => self.published = self.published.saturating_add(1),
            Err(error) if keeps_open(&error) => {
                self.errors.add(error.kind());
                self.gate(error.kind()).hold_back();
            }
            Err(error) => return self.fail(error, frame.at),
        }
        match std::mem::replace(&mut self.phase, Phase::Open { output, since: frame.at }) {
            Phase::Down { cause, since, attempts } => Some(Notice::Recovered {
                cause,
                down: frame.at.since(since),
                attempts: attempts.saturating_add(1),
            }),
            _ => Some(Notice::Opened),
        }
    }

    /// The output is not open after this frame.
    fn fail(&mut self, error: OutputError, at: Timestamp) -> Option<Notice> {
        self.errors.add(error.kind());
        if matches!(error, OutputError::ChangeConfig(_)) {
            self.phase = Phase::Refused;
            let held_back = self.gate(error.kind()).pass_always(at);
            return Some(Notice::Failed { error, held_back, retry_in: None });
        }
        let retry_in = self.back_off.failed(at);
        let (since, attempts) = match self.phase {
            Phase::Down { since, attempts, .. } => (since, attempts),
            _ => (at, 0),
        };
        self.phase = Phase::Down { cause: error.to_string(), since, attempts: attempts.saturating_add(1) };
        // The first failure is a change of state and always told.
        let gate = self.gate(error.kind());
        let held_back = if attempts == 0 { Some(gate.pass_always(at)) } else { gate.pass(at) }?;
        Some(Notice::Failed { error, held_back, retry_in: Some(retry_in) })
    }

    fn gate(&mut self, kind: ErrorKind) -> &mut LogGate {
        self.gates.get_mut(kind)
    }
}

/// Whether the output stays open after `error`.
const fn keeps_open(error: &OutputError) -> bool {
    matches!(error, OutputError::Resend { .. } | OutputError::CarryOn { .. })
}

impl fmt::Debug for Supervised {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Supervised")
            .field("name", &self.name)
            .field("state", &self.state())
            .field("errors", &self.errors)
            .finish_non_exhaustive()
    }
}
