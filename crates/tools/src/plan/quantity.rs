//! Quantities that only planning needs. All are finite and above 0.

use std::fmt;
use std::time::Duration;
use tallywheel_units::CountsPerCycle;

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            /// `None` unless the number is finite and above 0.
            #[must_use]
            pub fn new(number: f64) -> Option<Self> {
                (number.is_finite() && number > 0.0).then_some(Self(number))
            }

            /// The number.
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }
        }
    };
}

quantity!(
    /// Cycles of lines A and B in one turn of whatever the encoder is on: what the trade calls pulses per
    /// revolution (PPR) or lines. A gear may make it a fraction.
    CyclesPerTurn
);
quantity!(
    /// How many times the encoder turns while the wheel in the hand turns once; 4 for a gear of 1:4.
    EncoderRatio
);
quantity!(
    /// Edges of lines A and B, or counts, in one turn of the wheel in the hand.
    StepsPerTurn
);
quantity!(
    /// Steps (edges, counts, pulses) in a second.
    Rate
);
quantity!(
    /// Turns of the wheel in a second.
    Turning
);
quantity!(
    /// Turns of the wheel in a second, gained or lost in a second.
    TurningUp
);
quantity!(
    /// The length of a stretch of the encoder as a part of a whole cycle T of its lines.
    PartOfCycle
);

impl EncoderRatio {
    /// The encoder sits on the wheel's own shaft.
    pub const DIRECT: Self = Self(1.0);
}

impl PartOfCycle {
    /// A state of A and B when every edge is in its place: 0.25 T.
    pub const IDEAL: Self = Self(0.25);
    /// The shortest state that a phase difference of 0.25 T +- 0.1 T allows: 0.15 T (data sheet of the EC16
    /// encoder family; Tallywheel's simulated encoders keep to the same figure).
    pub const UNEVEN: Self = Self(0.15);
    /// A whole cycle: from one edge of a line to the next edge of the same kind, however uneven A and B are.
    pub const WHOLE: Self = Self(1.0);
}

impl CyclesPerTurn {
    /// Cycles in one turn of the wheel when a gear turns the encoder.
    #[must_use]
    pub fn with_ratio(self, ratio: EncoderRatio) -> Self {
        Self(self.0 * ratio.0)
    }

    /// Counts in one turn at `per_cycle` counts a cycle. Kuebler, Basics - incremental encoders, p. 23: 5000
    /// pulses a turn evaluated four times make 20000.
    #[must_use]
    pub fn steps(self, per_cycle: CountsPerCycle) -> StepsPerTurn {
        StepsPerTurn(self.0 * f64::from(per_cycle.get()))
    }
}

impl Turning {
    /// Turns in a minute.
    #[must_use]
    pub fn rpm(self) -> f64 {
        self.0 * 60.0
    }

    /// From turns in a minute.
    #[must_use]
    pub fn from_rpm(rpm: f64) -> Option<Self> {
        Self::new(rpm / 60.0)
    }
}

impl fmt::Display for Turning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let places = if self.0 < 0.1 { 3 } else { 2 };
        write!(f, "{:.places$} turns/s", self.0)
    }
}

/// A time in milliseconds as typed by a user; `None` unless it is finite, above 0 and at most a minute.
#[must_use]
pub fn milliseconds(number: f64) -> Option<Duration> {
    (number > 0.0 && number <= 60_000.0).then(|| Duration::from_secs_f64(number / 1000.0))
}
