//! What the tray gets to see of the daemon and may ask of it.

use tallywheel_accumulator::Place;
use tallywheel_units::{Degrees, Margin, Normalized, TrimIndex};

/// The daemon at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Sight {
    /// The aircraft that is flown.
    pub aircraft: String,
    /// All that could be flown, in the order of their files; the one that is flown is among them.
    pub hangar: Vec<String>,
    /// The trims, in the order of the aircraft file.
    pub trims: Vec<TrimSight>,
    /// Boards that are not being read.
    pub boards_away: Vec<String>,
    /// Losses since the program started.
    pub losses: u64,
    /// Whether the output is held.
    pub held: bool,
}

/// One trim.
#[derive(Debug, Clone, PartialEq)]
pub struct TrimSight {
    /// Its name.
    pub name: String,
    /// Degrees from the low stop.
    pub degrees: Degrees,
    /// Degrees from stop to stop.
    pub travel: Degrees,
    /// Neutral, degrees from the low stop.
    pub neutral: Degrees,
    /// The position about neutral.
    pub normalized: Normalized,
    /// How far it may be off.
    pub margin: Margin,
    /// Whether its wheel's board is not being read.
    pub away: bool,
    /// Places that the aircraft file gives a name.
    pub named: Vec<String>,
}

/// What a user may ask for by the menu.
#[derive(Debug, Clone, PartialEq)]
pub enum Wish {
    /// The wheel of a trim is at this place now.
    Align { trim: TrimIndex, spot: Spot },
    /// Fly the aircraft of this name.
    Fly(String),
    /// Hold the output, or let it go again.
    Hold(bool),
    /// The mark for losses was seen.
    Seen,
    /// Show the log.
    OpenLog,
    /// Show the folder with the user's files.
    OpenFolder,
    /// End the program.
    Quit,
}

/// A place that a menu offers.
#[derive(Debug, Clone, PartialEq)]
pub enum Spot {
    /// Neutral or a stop.
    Fixed(Place),
    /// One of [`TrimSight::named`].
    Named(String),
}

/// The daemon, as the tray knows it.
pub trait Cockpit {
    /// Looks.
    fn sight(&self) -> Sight;

    /// Does what a menu entry says: to align, fly or hold. What the tray does by itself never comes here.
    ///
    /// # Errors
    /// Words for the user.
    fn grant(&self, wish: &Wish) -> Result<(), String>;
}
