//! What the tray gets to see of the daemon and may ask of it.

use tallywheel_engine::commands::Command;
use tallywheel_engine::control::Control;
use tallywheel_units::{Degrees, Margin, Normalized};

/// The daemon at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Sight {
    /// The aircraft that is flown.
    pub aircraft: String,
    /// All that could be flown, in the order of their files.
    pub hangar: Vec<Parked>,
    /// The trims, in the order of the aircraft file.
    pub trims: Vec<TrimSight>,
    /// Boards that are not being read.
    pub boards_away: Vec<String>,
    /// Losses since the program started.
    pub losses: u64,
    /// Whether the output is held.
    pub held: bool,
}

/// An aircraft that could be flown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parked {
    /// Its file's name without `.toml`.
    pub stem: String,
    /// Its name.
    pub name: String,
    /// Whether it is the one that is flown.
    pub flown: bool,
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
    /// Something that the daemon does.
    Do(Command),
    /// The mark for losses was seen.
    Seen,
    /// Show the log.
    OpenLog,
    /// Show the folder with the user's files.
    OpenFolder,
    /// End the program.
    Quit,
}

impl Sight {
    /// How everything stands.
    #[must_use]
    pub fn of(control: &Control) -> Self {
        let flying = control.flying();
        let (names, boards) = (control.names(), control.state().slots());
        let shared = control.shared();
        let (trims, losses) = shared.look(|tally| {
            let trims = tally.trims().iter().zip(tally.readings()).zip(&flying.aircraft.trims);
            let trims = trims.map(|((trim, reading), said)| TrimSight {
                name: said.name.clone(),
                degrees: reading.degrees,
                travel: trim.accumulator.config().travel(),
                neutral: trim.accumulator.config().neutral(),
                normalized: reading.normalized,
                margin: reading.margin,
                away: names.board_index(trim.wheel).is_none_or(|board| !boards.reads(board)),
                named: said.positions.iter().map(|position| position.name.clone()).collect(),
            });
            (trims.collect(), tally.losses().map(|(_, losses)| losses).sum())
        });
        let away = names.boards().filter(|(board, _)| !boards.reads(*board));
        Self {
            aircraft: flying.aircraft.name.clone(),
            hangar: control
                .config()
                .to_fly()
                .map(|(stem, aircraft)| Parked {
                    stem: stem.to_owned(),
                    name: aircraft.name.clone(),
                    flown: stem == flying.stem,
                })
                .collect(),
            trims,
            boards_away: away.map(|(_, name)| name.to_owned()).collect(),
            losses,
            held: shared.is_held(),
        }
    }
}
