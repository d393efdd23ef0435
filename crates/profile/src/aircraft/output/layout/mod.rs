//! The `layout` of a datagram output.

pub(super) mod check;
pub(super) mod file;
