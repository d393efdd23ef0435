use crate::TrimConfig;
use tallywheel_units::{Degrees, FixedCounts};

/// A place in the travel that a trim can be put to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    /// The low stop.
    Low,
    /// Neutral.
    Neutral,
    /// The high stop.
    High,
    /// So many degrees above the low stop; outside the travel it is the nearer stop.
    At(Degrees),
}

impl Place {
    pub(crate) fn in_counts(self, config: &TrimConfig) -> FixedCounts {
        match self {
            Self::Low => FixedCounts::ZERO,
            Self::Neutral => config.neutral_counts(),
            Self::High => config.travel_counts(),
            Self::At(degrees) => config.clamp(config.counts(degrees)),
        }
    }
}

/// One of the two end stops.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Stop {
    /// Where the axis is at its lower end.
    Low,
    /// Where the axis is at its upper end.
    High,
}
