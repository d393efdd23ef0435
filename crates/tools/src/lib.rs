//! The commands that work beside the running bridge: they look at wheels, boards, files and recordings.

pub mod args;
pub mod boards;
pub mod capture;
pub mod check;
pub mod demo;
pub mod doctor;
pub mod fold;
pub mod learn;
pub mod plan;
pub mod replay;
pub mod report;
#[cfg(target_os = "linux")]
pub mod session_bus;
