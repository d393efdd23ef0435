//! The daemon's end of the interface: questions and commands on their way to the one place that knows.

use super::helm::{Answer, Helm, Refused};
use crate::logging::Dial;
use std::sync::Arc;
use tallywheel_engine::commands::{Choice, Command, Commands, Origin, Refusal, Spot, Switch};
use tallywheel_engine::state::status::{Hangar, Losses, Status};
use tallywheel_engine::state::{Changes, Question};
use tokio::sync::{mpsc, oneshot, watch};

/// Hands questions and commands over.
#[derive(Debug, Clone)]
pub struct Pilot {
    commands: Commands,
    questions: mpsc::Sender<Question>,
    changes: Arc<Changes>,
    dial: Dial,
}

impl Pilot {
    /// One who gives orders by `commands`, asks by `questions` and turns the log's `dial`.
    #[must_use]
    pub const fn new(
        commands: Commands,
        questions: mpsc::Sender<Question>,
        changes: Arc<Changes>,
        dial: Dial,
    ) -> Self {
        Self { commands, questions, changes, dial }
    }

    fn ask<T: Send + 'static>(&self, question: impl FnOnce(oneshot::Sender<T>) -> Question) -> Answer<T> {
        let (send, receive) = oneshot::channel();
        let (questions, question) = (self.questions.clone(), question(send));
        Box::pin(async move {
            questions.send(question).await.map_err(|_| ending())?;
            receive.await.map_err(|_| ending())
        })
    }

    fn order(&self, command: Command) -> Answer<()> {
        let (commands, changes) = (self.commands.clone(), Arc::clone(&self.changes));
        Box::pin(async move {
            let outcome = commands.ask(command, Origin::User).await;
            // Not every command makes a note.
            changes.changed();
            outcome.map(drop).map_err(refused)
        })
    }
}

fn ending() -> Refused {
    refused(Refusal::Ending)
}

fn refused(refusal: Refusal) -> Refused {
    let what = refusal.to_string();
    // The words have the choices after a semicolon where there are any.
    let (what, choices) = match what.split_once("; ") {
        Some((what, choices)) => (what.to_owned(), choices.to_owned()),
        None => (what, String::new()),
    };
    let or = |cure: &str| if choices.is_empty() { cure.to_owned() } else { choices.clone() };
    match refusal {
        Refusal::NoSuchTrim { .. } | Refusal::NoSuchWheel { .. } => {
            Refused::unknown(what, or("see `tallywheel status`"))
        }
        Refusal::NoSuchAircraft { .. } => Refused::unknown(what, or("see `tallywheel fly`")),
        Refusal::NoSuchRatio { .. } | Refusal::NoSuchButton => Refused::unknown(what, or("see the files")),
        Refusal::NoSuchPosition { .. } => Refused::senseless(what, or("say neutral, low, high or degrees")),
        Refusal::Unflyable { .. } => {
            Refused::senseless(what, or("correct its file; `tallywheel check` looks at all"))
        }
        Refusal::TooFar { .. } => Refused::senseless(what, or("say fewer")),
        Refusal::Ending => Refused::not_now(what, or("start it again with `tallywheel run`")),
    }
}

impl Helm for Pilot {
    fn status(&self) -> Answer<Status> {
        let (answer, level) = (self.ask(Question::Status), self.dial.level());
        Box::pin(async move { Ok(Status { log_level: level, ..answer.await? }) })
    }

    fn changes(&self) -> watch::Receiver<u64> {
        self.changes.changes()
    }

    fn losses(&self) -> Answer<Losses> {
        self.ask(Question::Losses)
    }

    fn hangar(&self) -> Answer<Hangar> {
        self.ask(Question::Hangar)
    }

    fn align(&self, trim: String, to: String) -> Answer<()> {
        self.order(Command::Align { trim, to: Spot::from_text(&to) })
    }

    fn fly(&self, aircraft: String) -> Answer<()> {
        self.order(Command::Fly(Choice::Named(aircraft)))
    }

    fn hold(&self, on: bool) -> Answer<()> {
        self.order(Command::Hold(if on { Switch::On } else { Switch::Off }))
    }

    fn reload(&self) -> Answer<()> {
        self.order(Command::Reload)
    }

    fn set_log_level(&self, level: &str) -> Result<(), Refused> {
        self.dial.set(level).map_err(|_| {
            let what = format!("there is no log level {level}");
            Refused::senseless(
                what,
                "say error, warn, info, debug or trace, or TARGET=LEVEL pairs with commas",
            )
        })?;
        tracing::info!(level, "the log's level was set");
        self.changes.changed();
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use expect_test::{Expect, expect};

    fn said(refusal: Refusal, expected: &Expect) {
        let refused = refused(refusal);
        expected.assert_eq(&format!("{:?}: {refused}", refused.refusal));
    }

    #[test]
    fn every_refusal_says_what_to_do() {
        let (given, choices) = ("x".to_owned(), vec!["rudder".to_owned(), "elevator".to_owned()]);
        said(
            Refusal::NoSuchTrim { given: given.clone(), choices: choices.clone() },
            &expect!["Unknown: there is no trim or wheel x; there are: rudder, elevator"],
        );
        said(
            Refusal::NoSuchAircraft { given: given.clone(), choices },
            &expect!["Unknown: there is no aircraft x; there are: rudder, elevator"],
        );
        said(
            Refusal::NoSuchPosition {
                trim: "rudder".into(),
                given,
                choices: vec!["low".into(), "take-off".into()],
            },
            &expect!["Senseless: trim rudder has no position x; there are: low, take-off"],
        );
        said(
            Refusal::Unflyable { stem: "heron".into(), reason: "it has no wheel".into() },
            &expect![
                "Senseless: aircraft heron cannot be flown: it has no wheel; correct its file; `tallywheel check` looks at all"
            ],
        );
        said(
            Refusal::Ending,
            &expect!["NotNow: the program is ending; start it again with `tallywheel run`"],
        );
    }
}
