//! The `[[output]]` tables of the aircraft file.

pub(super) mod check;
pub(super) mod file;
mod layout;
mod limits;
mod scale;
mod steps;
