//! The socket at which the simulator's reports come in.

use super::Control;
use crate::inbound::Socket;
use std::time::Duration;
use tallywheel_profile::Simulator;
use tallywheel_units::Timestamp;

/// How often a port that is in use is tried again.
const LISTEN_STEP: Duration = Duration::from_secs(10);

/// Listens for the simulator's reports, as far as the socket can be had.
#[derive(Debug, Default)]
pub(crate) struct SimulatorListener {
    socket: Option<Socket>,
    /// What could not be opened, and when it is tried again.
    failed: Option<(Simulator, Timestamp)>,
}

impl SimulatorListener {
    /// Listens where the rig file says at `now`, which may be another place than before, or none.
    pub(crate) fn open(&mut self, control: &mut Control, now: Timestamp) {
        let Some(wanted) = control.simulator() else {
            if std::mem::take(self).socket.is_some() {
                tracing::info!("no longer listening to the simulator");
            }
            return;
        };
        if self.socket.as_ref().is_some_and(|socket| socket.simulator() == wanted) {
            return;
        }
        let again = match &self.failed {
            Some((failed, retry)) if failed == wanted => {
                if *retry > now {
                    return;
                }
                true
            }
            _ => false,
        };
        // The old one first: the new one may want its address.
        self.socket = None;
        self.failed = None;
        let wanted = wanted.clone();
        match Socket::open(&wanted) {
            Ok(socket) => {
                tracing::info!(address = %wanted.listen, "listening to the simulator");
                self.socket = Some(socket);
                control.set_deaf(None);
            }
            Err(error) => {
                if !again {
                    let cure = "end what uses the port, or name another one in the rig file";
                    tracing::error!(address = %wanted.listen, cure, "the simulator cannot be listened to: {error}");
                }
                control.set_deaf(Some(error.to_string()));
                self.failed = Some((wanted, now.after(LISTEN_STEP)));
            }
        }
    }

    pub(crate) fn deadline(&self) -> Option<Timestamp> {
        self.failed.as_ref().map(|(_, retry)| *retry)
    }

    pub(crate) async fn readable(&self) {
        match &self.socket {
            Some(socket) => socket.readable().await,
            None => std::future::pending().await,
        }
    }

    pub(crate) fn read(&mut self, control: &mut Control, now: Timestamp) {
        if let Some(socket) = &mut self.socket {
            socket.read(now, |arrival| control.hear(arrival));
        }
    }
}
