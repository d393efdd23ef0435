//! One board of the rig, as the device manager has it.

use super::channel::ReaderId;
use crate::events::EventSender;
use crate::pipeline::{ReaderCommand, ReaderCommands};
use crate::runtime_config::BoardConfig;
use crate::slots::BoardChange;
use std::sync::Arc;
use tallywheel_hid_reader::OpenRetry;
use tallywheel_output::{HiddenBoard, OutputError};
use tallywheel_units::Timestamp;

/// One board of the rig: how it stands, and how it is read.
pub(super) struct DeviceSlot {
    pub(super) config: BoardConfig,
    pub(super) state: SlotState,
    pub(super) hiding: Option<Hiding>,
}

/// A board whose wheels are hidden, or shall be when the rig file says so.
pub(super) struct Hiding {
    path: String,
    board: Option<HiddenBoard>,
}

#[derive(Debug, Clone)]
pub(super) enum SlotState {
    /// Not here; to be looked for when something changes.
    Disconnected,
    /// Refused; udev may still be at work.
    RetryingPermission { retry: OpenRetry, next: Timestamp },
    /// A thread reads it.
    Reading { id: ReaderId, commands: Arc<ReaderCommands>, descriptor: Vec<u8>, path: String },
}

impl DeviceSlot {
    pub(super) const fn new(config: BoardConfig) -> Self {
        Self { config, state: SlotState::Disconnected, hiding: None }
    }

    /// The same board, decoded by another configuration.
    pub(super) fn refitted(mut self, config: BoardConfig, events: &EventSender) -> Self {
        if config == self.config {
            return self;
        }
        let hidden = self.config.hidden();
        self.config = config;
        if hidden != self.config.hidden()
            && let Some(Hiding { path, board }) = self.hiding.take()
        {
            // It can be taken again only once it has been given back.
            drop(board);
            self.hide(path, events);
        }
        match &self.state {
            SlotState::Reading { commands, descriptor, .. } => match self.config.pipeline(descriptor) {
                Ok(pipeline) => commands.give(ReaderCommand::Exchange(Box::new(pipeline))),
                Err(error) => {
                    self.end();
                    self.refuse(events, error.to_string(), "correct the rig file");
                }
            },
            // What was wrong with the old configuration may not be with the new.
            SlotState::Disconnected | SlotState::RetryingPermission { .. } => {
                self.state = SlotState::Disconnected
            }
        }
        self
    }

    /// Its reader goes with the board's next report.
    pub(super) fn end(&self) {
        if let SlotState::Reading { commands, .. } = &self.state {
            commands.give(ReaderCommand::End);
        }
    }

    /// Tries again what failed: a twin cannot be made without uinput.
    pub(super) fn hide_again(&mut self, events: &EventSender) {
        let failed = |hiding: &mut Hiding| hiding.board.as_ref().is_some_and(HiddenBoard::has_ended);
        if let Some(Hiding { path, .. }) = self.hiding.take_if(failed) {
            self.hide(path, events);
        }
    }

    /// Hides its wheels if the rig file asks for that.
    pub(super) fn hide(&mut self, path: String, events: &EventSender) {
        let (board, events) = (self.config.board(), events.clone());
        let tell = move |what: Result<String, OutputError>| {
            let change = match what {
                Ok(twin) => BoardChange::Hidden { twin },
                Err(error) => BoardChange::NotHidden { reason: error.to_string() },
            };
            events.board(board, change);
        };
        let hidden = self.config.hidden().map(|wheels| HiddenBoard::start(&path, wheels, tell.clone()));
        let hidden = hidden.transpose().unwrap_or_else(|error| {
            tell.clone()(Err(OutputError::Reopen {
                reason: "the system gives no thread",
                cure: "close other programs",
                source: error,
            }));
            None
        });
        self.hiding = Some(Hiding { path, board: hidden });
    }

    pub(super) fn refuse(&mut self, events: &EventSender, reason: String, cure: &str) {
        self.state = SlotState::Disconnected;
        self.hiding = None;
        events.board(self.config.board(), BoardChange::Refused { reason, cure: cure.to_owned() });
    }
}
