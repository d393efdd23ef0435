//! The tray's icon: a board of slots, one for each of the first three trims, with a block in each where the trim
//! is on its travel. A red corner says that counts may be missing, hollow blocks in a rim of their colour that the
//! output is held, grey that the wheel's board is not read.
//!
//! What is drawn is first rounded to a [`IconState`]: equal icon states give equal pictures, so a picture is drawn only
//! when it would change.

mod draw;
#[cfg(test)]
mod tests;

use arrayvec::ArrayVec;

pub use draw::draw;

/// The sizes of the picture, width and height in pixels, that hosts ask for.
pub const SIZES_PX: [u8; 6] = [16, 22, 24, 32, 48, 64];
/// The most trims that the icon has room for.
pub const SLOTS_MAX: usize = 3;
/// The number of steps of the travel in a picture; about one pixel each in the largest.
pub const STEPS: u8 = 46;

/// Everything that the picture depends on.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct IconState {
    /// The first trims, from left to right.
    pub slots: ArrayVec<IconSlot, SLOTS_MAX>,
    /// Whether the mark for losses is shown.
    pub lost: bool,
    /// Whether the outputs are held.
    pub held: bool,
}

/// One trim in the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct IconSlot {
    /// The position on the travel.
    pub position: TravelStep,
    /// The place of neutral on the travel.
    pub neutral: TravelStep,
    /// Whether the wheel's board is not being read.
    pub disconnected: bool,
}

/// A place on the travel, from 0 at the low stop to [`STEPS`] at the high stop. The two ends are the stops
/// and nothing else.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct TravelStep(u8);

impl TravelStep {
    /// Returns the step nearest to `part` of `whole` (both in the same unit); a place between the stops never gives one of
    /// the two ends.
    #[must_use]
    pub fn of(part: f64, whole: f64) -> Self {
        if part <= 0.0 || whole <= 0.0 {
            return Self(0);
        }
        if part >= whole {
            return Self(STEPS);
        }
        let share = part / whole * f64::from(STEPS);
        Self((1..STEPS).find(|step| f64::from(*step) + 0.5 > share).unwrap_or(STEPS - 1))
    }

    /// Returns the share of the travel, 0 to 1.
    fn share(self) -> f32 {
        f32::from(self.0) / f32::from(STEPS)
    }
}
