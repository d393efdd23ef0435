//! Faults one by one, each alone and from one seed, through the reader's decoder: is it named, and does the
//! truth lie within the margin? And hours of clean turning: is nothing named?
//!
//! A run is a bench drawn from its seed: board settings, encoder, hand. [`Fault`] documents how severe each
//! one is; [`clean`] documents what counts as clean.

mod bench;
pub mod clean;
pub mod conditions;
mod severity;
pub mod table;

pub use bench::{Kinds, Outcome};
pub use severity::Fault;
