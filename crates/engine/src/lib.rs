//! The running bridge from boards to simulators, without any screen.
//!
//! Reports go from a board's reader thread through decoder, tally and outputs ([`runtime_config`], [`tally`],
//! [`shared`]); everything else hangs off events ([`events`], [`event_log`]). [`device_manager`] keeps the boards
//! open, [`control`] does what is asked, [`state`] is what others see of all this.

#![allow(missing_docs, reason = "fields whose variant's or type's own text says all stay without one here")]

pub mod clock;
pub mod commands;
pub mod config_files;
pub mod control;
pub mod device_manager;
#[cfg(target_os = "linux")]
pub mod devwatch;
#[cfg(not(target_os = "linux"))]
#[path = "devwatch_none.rs"]
pub mod devwatch;
pub mod event_log;
pub mod events;
pub mod failure;
pub mod files;
pub mod folders;
pub mod inbound;
pub mod notifications;
pub mod orders;
pub mod player;
pub mod presses;
pub mod recorder;
pub mod replay_device;
pub mod runtime_config;
pub mod saved;
pub mod shared;
pub mod signals;
pub mod state;
pub mod tally;
