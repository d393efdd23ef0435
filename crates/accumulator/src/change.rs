use crate::Reading;
use std::fmt;
use tallywheel_units::Degrees;

/// What putting a trim somewhere, or giving it another configuration, did to its reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// The reading just before.
    pub before: Reading,
    /// The reading just after. Its counts need not be of the same size: the wheel's counts a turn may have
    /// changed with it. Degrees compare.
    pub after: Reading,
}

impl Change {
    /// How far the trim moved, in degrees of wheel rotation, positive towards the high stop.
    #[must_use]
    pub fn moved(&self) -> Degrees {
        Degrees::new(self.after.degrees.get() - self.before.degrees.get()).unwrap_or(Degrees::ZERO)
    }

    /// Whether anybody who watches the trim or its axis sees a difference. Degrees count from a thousandth: the
    /// coarsest wheel there is (one count a turn) resolves 2^-20 of a turn, 0.00034 degrees, so less is the
    /// rounding of the same place to other counts.
    #[must_use]
    pub fn is_visible(&self) -> bool {
        self.moved().get().abs() >= 0.001 || self.before.axis != self.after.axis
    }
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} to {}, axis {} to {}",
            self.before.degrees, self.after.degrees, self.before.axis, self.after.axis
        )
    }
}
