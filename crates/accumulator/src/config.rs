use tallywheel_units::{CountsPerTurn, Degrees, FixedCounts, StopStyle};

/// Why a trim cannot be kept as asked.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ConfigError {
    /// Less than one count lies between the stops, so a single count would throw the trim from one to the
    /// other. Give more travel or more counts a turn.
    #[error("a travel of {travel} is less than one count on a wheel with {per_turn} counts a turn")]
    TravelTooShort {
        /// As asked.
        travel: Degrees,
        /// As asked.
        per_turn: CountsPerTurn,
    },
    /// More than [`Degrees::LONGEST_TRAVEL`]. Give less.
    #[error("a travel of {travel} is more than {}", Degrees::LONGEST_TRAVEL)]
    TravelTooLong {
        /// As asked.
        travel: Degrees,
    },
    /// Neutral lies below the low stop or above the high stop. Give a place within the travel.
    #[error("neutral at {neutral} is not within the travel of {travel}")]
    NeutralOutsideTravel {
        /// As asked.
        neutral: Degrees,
        /// As asked.
        travel: Degrees,
    },
}

/// How one trim behaves: its wheel's resolution, its travel, its neutral, its stops. Always consistent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrimConfig {
    per_turn: CountsPerTurn,
    travel: Degrees,
    neutral: Degrees,
    stops: StopStyle,
    reversed: bool,
    // The two angles as counts, rounded once to the nearest 2^-20 count.
    travel_counts: FixedCounts,
    neutral_counts: FixedCounts,
}

impl TrimConfig {
    /// A trim on a wheel of `per_turn` counts a turn, with `travel` degrees of wheel rotation from the low
    /// stop to the high stop and neutral `neutral` degrees above the low stop. `reversed` makes a positive
    /// count move the trim towards the low stop.
    ///
    /// Neutral may be anywhere in the travel. With neutral at a stop there is nothing on that side: the stop
    /// reads 0 and the trim goes from 0 to the one end that is left.
    ///
    /// # Errors
    /// See [`ConfigError`]. The travel must be at least one count and at most
    /// [`Degrees::LONGEST_TRAVEL`], neutral from 0 to the travel.
    pub fn new(
        per_turn: CountsPerTurn,
        travel: Degrees,
        neutral: Degrees,
        stops: StopStyle,
        reversed: bool,
    ) -> Result<Self, ConfigError> {
        if travel > Degrees::LONGEST_TRAVEL {
            return Err(ConfigError::TravelTooLong { travel });
        }
        let travel_counts = FixedCounts::from_degrees(travel, per_turn);
        if travel_counts < FixedCounts::ONE {
            return Err(ConfigError::TravelTooShort { travel, per_turn });
        }
        if neutral < Degrees::ZERO || neutral > travel {
            return Err(ConfigError::NeutralOutsideTravel { neutral, travel });
        }
        let neutral_counts = FixedCounts::from_degrees(neutral, per_turn);
        Ok(Self { per_turn, travel, neutral, stops, reversed, travel_counts, neutral_counts })
    }

    /// Counts that one turn of the wheel yields.
    #[must_use]
    pub const fn per_turn(&self) -> CountsPerTurn {
        self.per_turn
    }

    /// Degrees of wheel rotation from the low stop to the high stop.
    #[must_use]
    pub const fn travel(&self) -> Degrees {
        self.travel
    }

    /// Degrees from the low stop to neutral.
    #[must_use]
    pub const fn neutral(&self) -> Degrees {
        self.neutral
    }

    /// What happens to counts past a stop.
    #[must_use]
    pub const fn stops(&self) -> StopStyle {
        self.stops
    }

    /// Whether a positive count moves the trim towards the low stop.
    #[must_use]
    pub const fn reversed(&self) -> bool {
        self.reversed
    }

    /// The travel in counts, to the nearest 2^-20 count.
    #[must_use]
    pub const fn travel_counts(&self) -> FixedCounts {
        self.travel_counts
    }

    /// Neutral in counts above the low stop, to the nearest 2^-20 count.
    #[must_use]
    pub const fn neutral_counts(&self) -> FixedCounts {
        self.neutral_counts
    }

    /// The nearest place within the travel.
    pub(crate) fn clamp(&self, position: FixedCounts) -> FixedCounts {
        position.clamp(FixedCounts::ZERO, self.travel_counts)
    }

    /// Degrees above the low stop of a position within the travel. The stops and neutral give the degrees
    /// that were asked for, not their rounding to counts.
    pub(crate) fn degrees(&self, position: FixedCounts) -> Degrees {
        if position == self.travel_counts {
            self.travel
        } else if position == self.neutral_counts {
            self.neutral
        } else {
            position.to_degrees(self.per_turn)
        }
    }
}
