use tallywheel_units::{CountsPerTurn, Degrees, FixedCounts, Normalized, Ratio, StopStyle};

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
    /// More than [`Degrees::LONGEST_TRAVEL`] of the trim or of the wheel. Give less, or a larger ratio.
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
    ratio: Ratio,
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
        let ratio = Ratio::DIRECT;
        Ok(Self { per_turn, travel, neutral, stops, reversed, ratio, travel_counts, neutral_counts })
    }

    /// The same trim with a ratio between the wheel in the hand and the aircraft's own: the trim moves `ratio`
    /// degrees for each degree that the wheel turns. All degrees stay the trim's; counts are the wheel's.
    ///
    /// # Errors
    /// See [`ConfigError`]. The wheel must turn by at least one count for the travel, and by at most
    /// [`Degrees::LONGEST_TRAVEL`].
    pub fn with_ratio(self, ratio: Ratio) -> Result<Self, ConfigError> {
        let Self { per_turn, travel, neutral, .. } = self;
        let wheel = |trim: Degrees| Degrees::new(trim.get() / ratio.get());
        let wheel_travel = wheel(travel).filter(|turned| *turned <= Degrees::LONGEST_TRAVEL);
        let (Some(wheel_travel), Some(wheel_neutral)) = (wheel_travel, wheel(neutral)) else {
            return Err(ConfigError::TravelTooLong { travel });
        };
        let travel_counts = FixedCounts::from_degrees(wheel_travel, per_turn);
        if travel_counts < FixedCounts::ONE {
            return Err(ConfigError::TravelTooShort { travel, per_turn });
        }
        let neutral_counts = FixedCounts::from_degrees(wheel_neutral, per_turn);
        Ok(Self { ratio, travel_counts, neutral_counts, ..self })
    }

    /// Degrees of the trim for a degree of the wheel.
    #[must_use]
    pub const fn ratio(&self) -> Ratio {
        self.ratio
    }

    /// Where straight lines from each stop to neutral have the output `normalized`: the inverse of
    /// [`Reading::normalized`](crate::Reading::normalized), exact at the stops and at neutral. With neutral at
    /// a stop, that stop for everything beyond.
    #[must_use]
    pub fn degrees_at(&self, normalized: Normalized) -> Degrees {
        let (travel, neutral, output) = (self.travel.get(), self.neutral.get(), normalized.get());
        if output == 1.0 {
            return self.travel;
        }
        let side = if output < 0.0 { neutral } else { travel - neutral };
        Degrees::new((neutral + output * side).clamp(0.0, travel)).unwrap_or(self.neutral)
    }

    /// Counts that one turn of the wheel yields.
    #[must_use]
    pub const fn per_turn(&self) -> CountsPerTurn {
        self.per_turn
    }

    /// Degrees from the low stop to the high stop, of the aircraft's own wheel.
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
    #[inline]
    pub(crate) fn clamp(&self, position: FixedCounts) -> FixedCounts {
        // Not `clamp`, which asks each time whether the travel is below zero.
        position.min(self.travel_counts).max(FixedCounts::ZERO)
    }

    /// Degrees above the low stop of a position within the travel. The stops and neutral give the degrees
    /// that were asked for, not their rounding to counts.
    pub(crate) fn degrees(&self, position: FixedCounts) -> Degrees {
        if position == self.travel_counts {
            self.travel
        } else if position == self.neutral_counts {
            self.neutral
        } else {
            self.unclamped_degrees(position)
        }
    }

    /// Degrees of the trim that so many counts are.
    pub(crate) fn unclamped_degrees(&self, counts: FixedCounts) -> Degrees {
        let wheel = counts.to_degrees(self.per_turn);
        Degrees::new(wheel.get() * self.ratio.get()).unwrap_or(wheel)
    }

    /// The counts that so many degrees of the trim are, to the nearest 2^-20 count.
    pub(crate) fn counts(&self, degrees: Degrees) -> FixedCounts {
        let wheel = Degrees::new(degrees.get() / self.ratio.get()).unwrap_or(degrees);
        FixedCounts::from_degrees(wheel, self.per_turn)
    }
}
