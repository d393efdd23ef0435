//! The running bridge from boards to simulators, without any screen.
//!
//! [`pipeline`] shows a report's whole way on its board's thread; everything else hangs off events ([`events`],
//! [`event_log`]). [`device_manager`] keeps the boards open, [`control`] does what is asked, [`state`] is what others see
//! of all this.

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
pub mod invariants;
pub mod main_loop;
pub mod notifications;
pub mod pipeline;
pub mod player;
pub mod presses;
mod reader;
pub mod recorder;
pub mod recording_filter;
pub mod replay_device;
pub mod runtime_config;
pub mod saved;
pub mod shared;
pub mod signals;
pub mod slots;
pub mod state;
pub mod tally;
