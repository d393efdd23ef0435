//! The tray's icon: a board of slots, one for each of the first three trims, with a block in each where the trim
//! is on its travel. A red corner says that counts may be missing, hollow blocks in a rim of their colour that the
//! output is held, grey that the wheel's board is not read.
//!
//! What is drawn is first rounded to a [`Glance`]: equal glances give equal pictures, so a picture is drawn only
//! when it would change.

mod draw;
#[cfg(test)]
mod tests;

use arrayvec::ArrayVec;

pub use draw::draw;

/// Width and height in pixels that hosts ask for.
pub const SIZES_PX: [u8; 6] = [16, 22, 24, 32, 48, 64];
/// The most trims that an icon has room for.
pub const SLOTS_MAX: usize = 3;
/// How many steps the travel has in a picture; about one pixel each in the largest.
pub const STEPS: u8 = 46;

/// All that a picture depends on.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Glance {
    /// The first trims, from left to right.
    pub slots: ArrayVec<Slot, SLOTS_MAX>,
    /// Whether counts may be missing that nobody was told of yet.
    pub lost: bool,
    /// Whether the output is held.
    pub held: bool,
}

/// One trim in the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Slot {
    /// Where it is.
    pub place: Step,
    /// Where its neutral is.
    pub neutral: Step,
    /// Whether its wheel's board is not being read.
    pub away: bool,
}

/// A place on the travel, from 0 at the low stop to [`STEPS`] at the high stop. The two ends are the stops
/// and nothing else.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Step(u8);

impl Step {
    /// The step nearest to `part` of `whole`; a place between the stops is never shown at one.
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

    /// The share of the travel, 0 to 1.
    fn share(self) -> f32 {
        f32::from(self.0) / f32::from(STEPS)
    }
}
