//! The running bridge from boards to simulators, without any screen.
//!
//! Reports go from a board's reader thread through decoder, tally and outputs ([`plan`], [`tally`],
//! [`station`]); everything else hangs off notes ([`note`], [`journal`]). [`dock`] keeps the boards open,
//! [`control`] does what is asked, [`state`] is what others see of all this.

#![allow(missing_docs, reason = "fields whose variant's or type's own text says all stay without one here")]

pub mod clock;
pub mod commands;
pub mod config;
pub mod control;
#[cfg(target_os = "linux")]
pub mod devwatch;
#[cfg(not(target_os = "linux"))]
#[path = "devwatch_none.rs"]
pub mod devwatch;
pub mod dock;
pub mod ear;
pub mod failure;
pub mod files;
pub mod folders;
pub mod inbound;
pub mod journal;
pub mod last_hour;
pub mod note;
pub mod orders;
pub mod plan;
pub mod player;
pub mod playing;
pub mod presses;
pub mod saved;
pub mod signals;
pub mod state;
pub mod station;
pub mod tally;
