use tallywheel_units::{ButtonNumber, CountsPerCycle};
use thiserror::Error;

/// Which buttons of the board a wheel's lines are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WheelInputs {
    /// The board decodes the encoder and presses one button per count.
    Pulses {
        /// Pressed once per count forward.
        forward: ButtonNumber,
        /// Pressed once per count backward.
        backward: ButtonNumber,
    },
    /// The encoder's lines arrive raw.
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
    pub(crate) fn lines(self) -> [ButtonNumber; 2] {
        match self {
            Self::Pulses { forward, backward } => [forward, backward],
            Self::Quadrature { a, b, .. } => [a, b],
        }
    }
}

/// One wheel of a board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WheelConfig {
    /// Its inputs.
    pub inputs: WheelInputs,
    /// The lines are pressed when idle.
    pub inverted: bool,
}

/// Why the wheels do not fit the board; the rig file has to change. Wheels go by their place in the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum ConfigError {
    /// The board has no such button.
    #[error("wheel {wheel} uses button {button}, which the board does not have")]
    NoSuchButton {
        /// The wheel.
        wheel: usize,
        /// The button.
        button: ButtonNumber,
    },
    /// One button is two lines, of one wheel or of two.
    #[error("button {button} is two lines at once, of wheel {first} and of wheel {second}")]
    ButtonTwice {
        /// The button.
        button: ButtonNumber,
        /// The first wheel that uses it.
        first: usize,
        /// The second, maybe the same.
        second: usize,
    },
}
