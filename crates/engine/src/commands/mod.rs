//! What a user can ask of the running program, wherever from: a board's button, the simulator, the control
//! plane. One place does it all, [`crate::control`].

mod outcome;

pub use outcome::{Outcome, Refusal, RefusalKind};

use std::fmt;
use tallywheel_units::{BoardIndex, ButtonNumber, Degrees};
use tokio::sync::{mpsc, oneshot};

/// The most requests that wait to be done; a user makes one at a time.
const QUEUE_REQUESTS: usize = 64;

/// One thing to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Command {
    /// Say where a trim is: a reference. `trim` is the name of a trim or of its wheel.
    Align {
        /// The name of a trim or of its wheel.
        trim: String,
        /// Where the trim is.
        to: Spot,
    },
    /// Fly another aircraft.
    Fly(Choice),
    /// Let the outputs stay where they are, or follow the trims again.
    Hold(Switch),
    /// Change a trim to another of its ratios. `trim` is the name of a trim or of its wheel.
    Ratio {
        /// The name of a trim or of its wheel.
        trim: String,
        /// Which of its ratios.
        ratio: Shift,
    },
    /// Do what the rig file gives a board's button to do.
    Press {
        /// The board.
        board: BoardIndex,
        /// Its button.
        button: ButtonNumber,
    },
    /// Read all files again, as after every save.
    Reload,
    /// The wheel was turned by so many whole turns, forward positive, since the last time this was said.
    Confirm {
        /// The name of the wheel.
        wheel: String,
        /// Whole turns, forward positive, at most 1000 either way.
        turns: i32,
    },
}

/// Which of the ratios.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shift {
    /// The next one of the aircraft file; after the last the first.
    Next,
    /// By its place in the aircraft file, counted from 0.
    To(usize),
}

/// Where a trim is.
#[derive(Debug, Clone, PartialEq)]
pub enum Spot {
    /// The low stop.
    Low,
    /// Neutral.
    Neutral,
    /// The high stop.
    High,
    /// A position that the aircraft file gives a name.
    Named(String),
    /// So many degrees from the low stop.
    At(Degrees),
}

/// Which aircraft.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Choice {
    /// The one of this name, or whose file is called so without `.toml`.
    Named(String),
    /// The next one in the order of the files' names; after the last the first.
    Next,
}

/// On or off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Switch {
    /// On.
    On,
    /// Off.
    Off,
    /// The other of the two.
    Toggle,
}

/// Who asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origin {
    /// A person or a program at the control plane.
    User,
    /// A button of a board.
    Button,
    /// The simulator.
    Simulator,
    /// A file that was saved.
    File,
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::User => "user",
            Self::Button => "button",
            Self::Simulator => "simulator",
            Self::File => "file",
        })
    }
}

impl Spot {
    /// From what a user writes: `neutral`, `low`, `high`, degrees from the low stop, or else a name.
    #[must_use]
    pub fn from_text(text: &str) -> Self {
        match text {
            "low" => Self::Low,
            "neutral" => Self::Neutral,
            "high" => Self::High,
            other => match other.parse().ok().and_then(Degrees::new) {
                Some(degrees) => Self::At(degrees),
                None => Self::Named(other.to_owned()),
            },
        }
    }
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Low => f.write_str("the low stop"),
            Self::Neutral => f.write_str("neutral"),
            Self::High => f.write_str("the high stop"),
            Self::Named(name) => f.write_str(name),
            Self::At(degrees) => degrees.fmt(f),
        }
    }
}

/// A command on its way.
#[derive(Debug)]
pub struct Request {
    /// What is to be done.
    pub command: Command,
    /// Who asked.
    pub origin: Origin,
    /// Who waits for the outcome, if anybody does.
    pub reply: Option<oneshot::Sender<Answer>>,
}

/// What became of a command.
pub type Answer = Result<Outcome, Refusal>;

/// Hands commands to the one place where they are done. Any thread may have one.
#[derive(Debug, Clone)]
pub struct Commands(mpsc::Sender<Request>);

/// Where requests come out.
pub type Requests = mpsc::Receiver<Request>;

/// Both ends of a new queue.
#[must_use]
pub fn channel() -> (Commands, Requests) {
    let (send, receive) = mpsc::channel(QUEUE_REQUESTS);
    (Commands(send), receive)
}

impl Commands {
    /// Asks without waiting for an answer, which goes to the log. False where too many wait already.
    pub fn post(&self, command: Command, origin: Origin) -> bool {
        self.0.try_send(Request { command, origin, reply: None }).is_ok()
    }

    /// Asks and waits for what becomes of it.
    ///
    /// # Errors
    /// [`Refusal`]; [`Refusal::ending`] where nobody is left to do it.
    pub async fn ask(&self, command: Command, origin: Origin) -> Answer {
        let (send, receive) = oneshot::channel();
        let request = Request { command, origin, reply: Some(send) };
        self.0.send(request).await.map_err(|_| Refusal::ending())?;
        receive.await.unwrap_or_else(|_| Err(Refusal::ending()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spot_is_read_as_users_write_it() {
        for (text, spot) in [
            ("low", Spot::Low),
            ("neutral", Spot::Neutral),
            ("high", Spot::High),
            ("take-off", Spot::Named("take-off".into())),
            ("12.5", Spot::At(Degrees::new(12.5).unwrap())),
            ("nan", Spot::Named("nan".into())),
        ] {
            assert_eq!(Spot::from_text(text), spot, "{text}");
        }
    }

    #[test]
    fn a_full_queue_and_an_ended_program_are_answers() {
        let (commands, requests) = channel();
        let taken = (0..100).filter(|_| commands.post(Command::Reload, Origin::Button)).count();
        assert_eq!(taken, QUEUE_REQUESTS);
        drop(requests);
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        assert_eq!(runtime.block_on(commands.ask(Command::Reload, Origin::User)), Err(Refusal::ending()));
    }
}
