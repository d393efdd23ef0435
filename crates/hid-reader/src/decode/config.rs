use tallywheel_units::{ButtonNumber, WheelInputs};
use thiserror::Error;

/// One wheel of a board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WheelConfig {
    /// Its inputs.
    pub inputs: WheelInputs,
    /// The lines are pressed when idle.
    pub pressed_at_rest: bool,
    /// A button that is pressed once a turn, at the same place, whatever [`Self::pressed_at_rest`] says.
    pub index: Option<ButtonNumber>,
}

impl WheelConfig {
    /// All buttons that the wheel needs: its two lines and its index mark.
    pub fn buttons(&self) -> impl Iterator<Item = ButtonNumber> + use<> {
        self.inputs.buttons().into_iter().chain(self.index)
    }
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
    /// One button is two lines, of one wheel or of two; an index mark is one too.
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
