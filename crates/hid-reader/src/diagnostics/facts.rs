use std::time::Duration;
use tallywheel_units::CountsPerTurn;

/// What is known about a wheel beside its buttons. Each makes losses clearer; none is needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct WheelFacts {
    /// Counts in one turn of the wheel in the hand: bounds what a hand can have turned meanwhile.
    pub counts_per_turn: Option<CountsPerTurn>,
    /// How long the board presses a button for a count; learned from the pulses otherwise.
    pub pulse_on: Option<Duration>,
    /// How long it releases it before the next; learned from runs at the top rate otherwise, and presumed to
    /// be about as long as `pulse_on` until the pulses disprove it.
    pub pulse_off: Option<Duration>,
    /// Counts from detent to detent as the rig file has it. Without it nothing is said about detents.
    pub counts_per_detent: Option<u32>,
}
