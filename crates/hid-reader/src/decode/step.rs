use tallywheel_units::{Counts, Loss};

/// What one sample of a wheel's lines yields.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Step {
    pub(crate) counts: Counts,
    pub(crate) loss: Option<Loss>,
}
