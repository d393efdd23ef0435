use tallywheel_units::{Counts, Loss, Margin};

/// What one sample of a wheel's lines yields.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Step {
    pub(crate) counts: Counts,
    pub(crate) loss: Option<Loss>,
    /// The doubt about all counts so far that may yet be put right, where that has changed.
    pub(crate) doubt: Option<Margin>,
}
