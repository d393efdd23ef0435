use crate::ButtonNumber;

/// How many counts one cycle of an encoder's two lines yields.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CountsPerCycle {
    /// One: A rising while going forward, A falling while going back.
    X1,
    /// Two: both edges of A.
    X2,
    /// Four: both edges of A and B.
    X4,
}

impl CountsPerCycle {
    /// 1, 2 or 4.
    #[must_use]
    pub const fn get(self) -> u32 {
        match self {
            Self::X1 => 1,
            Self::X2 => 2,
            Self::X4 => 4,
        }
    }
}

/// Which buttons of the board a wheel's two lines are, and how its turning reaches them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum WheelInputs {
    /// The board decodes the encoder itself and presses one button per count and direction.
    Pulses {
        /// Pressed once per count forward.
        forward: ButtonNumber,
        /// Pressed once per count backward.
        backward: ButtonNumber,
    },
    /// The encoder's lines A and B arrive raw as two buttons and are decoded here.
    Quadrature {
        /// Line A, which leads when the wheel turns forward.
        a: ButtonNumber,
        /// Line B.
        b: ButtonNumber,
        /// How many counts a cycle of the lines yields.
        per_cycle: CountsPerCycle,
    },
}

impl WheelInputs {
    /// The two buttons: forward and backward, or A and B.
    #[must_use]
    pub const fn buttons(&self) -> [ButtonNumber; 2] {
        match *self {
            Self::Pulses { forward, backward } => [forward, backward],
            Self::Quadrature { a, b, .. } => [a, b],
        }
    }
}
