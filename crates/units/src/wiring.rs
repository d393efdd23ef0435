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

/// How an encoder's turning reaches the board's report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Wiring {
    /// The board decodes the encoder itself and presses one button per count and direction.
    Pulses,
    /// The encoder's lines A and B arrive raw as two buttons and are decoded here.
    Quadrature(CountsPerCycle),
}
