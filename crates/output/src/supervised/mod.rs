//! Keeps one output going whatever happens to it, so that one failing never stops another.
//!
//! Everything that can happen, and what comes of it. "Refusal" is [`OutputError::ChangeConfig`], "loss"
//! [`OutputError::Reopen`] or [`OutputError::AskUser`], "hitch" [`OutputError::Resend`] or
//! [`OutputError::CarryOn`]; a hitch while opening is a loss.
//!
//! | state | what happens | next state | notice |
//! |---|---|---|---|
//! | New | a frame; it opens and takes the frame | Open | Opened |
//! | New, Open, Failed | a frame; it opens and has to wait for something | Opening | none |
//! | Opening | a frame; it still waits | Opening | none |
//! | Opening | a frame; it takes the frame, or a hitch | Open | Opened, or Recovered if it was open or wanted before |
//! | Opening | a frame; a loss | Failed, waits 1 s or twice as long as the last time | Failed, by rate |
//! | New | a frame; it opens, then a hitch | Open | Opened; the hitch is counted and told with the next |
//! | New | a frame; a loss | Failed, waits 1 s | Failed |
//! | New, Opening, Open, Failed | a frame; a refusal | Refused | Failed |
//! | Open | a frame that it takes | Open | none |
//! | Open | a frame; a hitch | Open | Trouble, by rate |
//! | Open | a frame; a loss, the first since it has held for a minute; it opens again at once | Open | Recovered |
//! | Open | a frame; the same, but it does not open | Failed, waits 1 s | Failed |
//! | Open | a frame; any other loss | Failed, waits twice as long as the last time | Failed |
//! | Failed | a frame before the wait is over | Failed | none |
//! | Failed | a frame after it; it opens | Open | Recovered |
//! | Failed | a frame after it; a loss | Failed, waits twice as long, at most 60 s | Failed, by rate |
//! | Failed | `reopen` | Failed, waits no longer | none |
//! | New, Opening, Open, Refused | `reopen` | the same | none |
//! | Refused | a frame | Refused | none |

use crate::{Epoch, ErrorKind, Frame, Output, OutputError, open_at};
use std::fmt;
use tallywheel_profile::OutputConfig;
use tallywheel_units::{Normalized, Timestamp, TrimIndex};

mod back_off;
mod log_gate;
mod notice;
mod per_kind;
#[cfg(test)]
mod tests;

use back_off::BackOff;
use log_gate::{LogGate, log_every};
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
    /// Made, and waiting for something before anything can go out.
    Opening {
        output: Box<dyn Output>,
        /// What was before, if it was down.
        down: Option<Down>,
    },
    Open {
        output: Box<dyn Output>,
        since: Timestamp,
    },
    /// Open before or wanted to be, and not now.
    Down(Down),
    /// The configuration itself is wrong.
    Refused,
}

/// What is kept of an output that is not open.
struct Down {
    cause: String,
    since: Timestamp,
    /// Attempts to open it that have failed since it went down.
    attempts: u64,
    /// Whether the caller has been told that it is down.
    told: bool,
}

/// Whether frames get out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum State {
    /// Not tried yet: the first frame opens it.
    New,
    /// Waiting for something before anything can go out, such as the address that belongs to a name.
    Opening,
    /// Open.
    Open,
    /// Not open, and tried again by itself.
    Failed,
    /// Not open, and not tried again: the configuration must change.
    Refused,
}

impl Supervised {
    /// Opens nothing yet: the first [`Self::publish`] does, in the position of its frame. `epoch` is when the
    /// clock of the frames started; one program has one.
    #[must_use]
    pub fn new(config: OutputConfig, epoch: Epoch) -> Self {
        Self::with_opener(config, move |config, frame| open_at(config, epoch, frame))
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
            Phase::Opening { .. } => State::Opening,
            Phase::Open { .. } => State::Open,
            Phase::Down(_) => State::Failed,
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
            Phase::Opening { output, .. } | Phase::Open { output, .. } => output.deadline(),
            Phase::Down(_) => Some(self.back_off.due()),
            Phase::Refused => None,
        }
    }

    /// Does what `config` says from the next frame on without closing or opening anything; false where that cannot
    /// be, and then nothing changes.
    pub fn remap(&mut self, config: &OutputConfig) -> bool {
        if self.config == *config {
            return true;
        }
        let done = match &mut self.phase {
            _ if self.name != config.name() => false,
            Phase::Open { output, .. } => output.remap(config),
            Phase::New | Phase::Down { .. } => true,
            Phase::Opening { .. } | Phase::Refused => false,
        };
        if done {
            self.config = config.clone();
        }
        done
    }

    /// Hands on what the simulator itself says of a trim: at `at` its trim was at `value`. An output that has no
    /// use for it, or is not open, ignores it. [`Self::deadline`] may have changed afterwards.
    pub fn told(&mut self, at: Timestamp, trim: TrimIndex, value: Normalized) {
        if let Phase::Open { output, .. } = &mut self.phase {
            output.told(at, trim, value);
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
            Phase::Down(_) if !self.back_off.is_due(frame.at) => return None,
            Phase::New | Phase::Down(_) => return self.try_open(frame),
            Phase::Opening { .. } => return self.go_on_opening(frame),
        };
        if keeps_open(&error) {
            self.errors.add(error.kind());
            let held_back = self.pass(error.kind(), frame.at)?;
            return Some(Notice::Trouble { error, held_back });
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
        self.phase = Phase::Down(Down { cause: error.reason(), since: frame.at, attempts: 0, told: false });
        self.try_open(frame)
    }

    fn try_open(&mut self, frame: &Frame<'_>) -> Option<Notice> {
        match (self.opener)(&self.config, frame) {
            Ok(output) => {
                let down = match std::mem::replace(&mut self.phase, Phase::New) {
                    Phase::Down(down) => Some(down),
                    _ => None,
                };
                self.phase = Phase::Opening { output, down };
                self.go_on_opening(frame)
            }
            Err(error) => self.fail(error, frame.at),
        }
    }

    /// Gives the frame to an output that has been made and is not known to be open.
    fn go_on_opening(&mut self, frame: &Frame<'_>) -> Option<Notice> {
        let Phase::Opening { output, .. } = &mut self.phase else { return None };
        match output.publish(frame) {
            Ok(()) if output.is_opening() => return None,
            Ok(()) => self.published = self.published.saturating_add(1),
            Err(error) if keeps_open(&error) => {
                self.errors.add(error.kind());
                self.gate(error.kind()).hold_back();
            }
            Err(error) => return self.fail(error, frame.at),
        }
        let Phase::Opening { output, down } = std::mem::replace(&mut self.phase, Phase::New) else {
            return None;
        };
        self.phase = Phase::Open { output, since: frame.at };
        match down {
            Some(Down { cause, since, attempts, .. }) => Some(Notice::Recovered {
                cause,
                down: frame.at.since(since),
                attempts: attempts.saturating_add(1),
            }),
            None => Some(Notice::Opened),
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
        let (since, attempts, told) = match &self.phase {
            Phase::Down(down) | Phase::Opening { down: Some(down), .. } => {
                (down.since, down.attempts.saturating_add(1), down.told)
            }
            Phase::Open { .. } => (at, 0, false),
            Phase::New | Phase::Opening { down: None, .. } | Phase::Refused => (at, 1, false),
        };
        self.phase = Phase::Down(Down { cause: error.reason(), since, attempts, told: true });
        // A change of state is always told.
        let held_back =
            if told { self.pass(error.kind(), at)? } else { self.gate(error.kind()).pass_always(at) };
        Some(Notice::Failed { error, held_back, retry_in: Some(retry_in) })
    }

    fn pass(&mut self, kind: ErrorKind, at: Timestamp) -> Option<u64> {
        self.gate(kind).pass(at, log_every(kind))
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
