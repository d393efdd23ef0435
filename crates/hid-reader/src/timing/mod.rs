//! When a report was sampled, as far as the times at which reports were read tell.

mod clock;

pub use clock::Reporting;
pub(crate) use clock::{Clock, Gap, SILENCE};
