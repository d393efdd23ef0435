//! The daemon's end of the interface: it carries questions and commands to the main loop.

use super::daemon_api::{ApiFuture, DaemonApi};
use crate::logging::LogLevelHandle;
use std::sync::Arc;
use tallywheel_engine::commands::{Choice, Command, Commands, Origin, Refusal, Spot, Switch};
use tallywheel_engine::state::status::{Hangar, Losses, Status};
use tallywheel_engine::state::{Changes, Question};
use tokio::sync::{mpsc, oneshot, watch};

/// Hands questions and commands of the interface to the main loop.
#[derive(Debug, Clone)]
pub struct ApiHandle {
    commands: Commands,
    questions: mpsc::Sender<Question>,
    changes: Arc<Changes>,
    log_level: LogLevelHandle,
}

impl ApiHandle {
    /// Makes a handle that sends commands by `commands` and questions by `questions`, learns of changes from `changes`
    /// and sets the level of the log with `log_level`.
    #[must_use]
    pub const fn new(
        commands: Commands,
        questions: mpsc::Sender<Question>,
        changes: Arc<Changes>,
        log_level: LogLevelHandle,
    ) -> Self {
        Self { commands, questions, changes, log_level }
    }

    fn question<T: Send + 'static>(
        &self,
        question: impl FnOnce(oneshot::Sender<T>) -> Question,
    ) -> ApiFuture<T> {
        let (send, receive) = oneshot::channel();
        let (questions, question) = (self.questions.clone(), question(send));
        Box::pin(async move {
            questions.send(question).await.map_err(|_| Refusal::ending())?;
            receive.await.map_err(|_| Refusal::ending())
        })
    }

    fn command(&self, command: Command) -> ApiFuture<()> {
        let (commands, changes) = (self.commands.clone(), Arc::clone(&self.changes));
        Box::pin(async move {
            let outcome = commands.ask(command, Origin::User).await;
            // Not every command makes a note.
            changes.changed();
            outcome.map(drop)
        })
    }
}

impl DaemonApi for ApiHandle {
    fn status(&self) -> ApiFuture<Status> {
        let (answer, level) = (self.question(Question::Status), self.log_level.level());
        Box::pin(async move { Ok(Status { log_level: level, ..answer.await? }) })
    }

    fn changes(&self) -> watch::Receiver<u64> {
        self.changes.changes()
    }

    fn losses(&self) -> ApiFuture<Losses> {
        self.question(Question::Losses)
    }

    fn aircraft(&self) -> ApiFuture<Hangar> {
        self.question(Question::Hangar)
    }

    fn align(&self, trim: String, to: String) -> ApiFuture<()> {
        self.command(Command::Align { trim, to: Spot::from_text(&to) })
    }

    fn set_aircraft(&self, aircraft: String) -> ApiFuture<()> {
        self.command(Command::Fly(Choice::Named(aircraft)))
    }

    fn hold(&self, on: bool) -> ApiFuture<()> {
        self.command(Command::Hold(if on { Switch::On } else { Switch::Off }))
    }

    fn reload(&self) -> ApiFuture<()> {
        self.command(Command::Reload)
    }

    fn set_log_level(&self, level: &str) -> Result<(), Refusal> {
        self.log_level.set(level).map_err(|_| {
            let cure = "say error, warn, info, debug or trace, or TARGET=LEVEL pairs with commas";
            Refusal::not_valid(format!("there is no log level {level}"), cure)
        })?;
        tracing::info!(level, "the log's level was set");
        self.changes.changed();
        Ok(())
    }
}
