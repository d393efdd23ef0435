//! What the tray shows of the daemon, and what its menu can ask for.

use tallywheel_engine::commands::Command;
use tallywheel_engine::control::Control;
use tallywheel_units::{Degrees, Margin, Normalized};

/// The part of the daemon's state that the tray shows, at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct TraySnapshot {
    /// The name of the active aircraft.
    pub aircraft: String,
    /// All aircraft whose files are valid, in the order of the files' names.
    pub all_aircraft: Vec<TrayAircraft>,
    /// The trims, in the order of the aircraft file.
    pub trims: Vec<TrayTrim>,
    /// The names of boards that are not being read.
    pub disconnected_boards: Vec<String>,
    /// The number of losses since the program started.
    pub losses: u64,
    /// Whether the outputs are held.
    pub held: bool,
}

/// One aircraft of the menu's list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrayAircraft {
    /// The file's name without `.toml`.
    pub file_name: String,
    /// The aircraft's name.
    pub name: String,
    /// Whether it is the active one.
    pub is_active: bool,
}

/// One trim of the active aircraft.
#[derive(Debug, Clone, PartialEq)]
pub struct TrayTrim {
    /// The trim's name.
    pub name: String,
    /// The position in degrees from the low stop, 0 to `travel`.
    pub degrees: Degrees,
    /// The degrees from the low stop to the high stop.
    pub travel: Degrees,
    /// Neutral, in degrees from the low stop.
    pub neutral: Degrees,
    /// The position about neutral, -1 to 1.
    pub normalized: Normalized,
    /// How many counts the position may be off.
    pub margin: Margin,
    /// Whether the wheel's board is not being read.
    pub disconnected: bool,
    /// The names of the positions in the aircraft file.
    pub positions: Vec<String>,
}

/// What a user can ask for by the menu.
#[derive(Debug, Clone, PartialEq)]
pub enum MenuAction {
    /// Carry out a command.
    Command(Command),
    /// Clear the mark for losses.
    ClearMark,
    /// Open the log file.
    OpenLog,
    /// Open the folder with the user's files.
    OpenFolder,
    /// End the program.
    Quit,
}

impl TraySnapshot {
    /// Takes a snapshot of the present state.
    #[must_use]
    pub fn of(control: &Control) -> Self {
        let flying = control.flying();
        let (names, boards) = (control.names(), control.state().slots());
        let shared = control.shared();
        let (trims, losses) = shared.look(|tally| {
            let trims = tally.trims().iter().zip(tally.readings()).zip(&flying.aircraft.trims);
            let trims = trims.map(|((trim, reading), said)| TrayTrim {
                name: said.name.clone(),
                degrees: reading.degrees,
                travel: trim.accumulator.config().travel(),
                neutral: trim.accumulator.config().neutral(),
                normalized: reading.normalized,
                margin: reading.margin,
                disconnected: names.board_index(trim.wheel).is_none_or(|board| !boards.reads(board)),
                positions: said.positions.iter().map(|position| position.name.clone()).collect(),
            });
            (trims.collect(), tally.losses().map(|(_, losses)| losses).sum())
        });
        let disconnected = names.boards().filter(|(board, _)| !boards.reads(*board));
        Self {
            aircraft: flying.aircraft.name.clone(),
            all_aircraft: control
                .config()
                .to_fly()
                .map(|(file_name, aircraft)| TrayAircraft {
                    file_name: file_name.to_owned(),
                    name: aircraft.name.clone(),
                    is_active: file_name == flying.stem,
                })
                .collect(),
            trims,
            disconnected_boards: disconnected.map(|(_, name)| name.to_owned()).collect(),
            losses,
            held: shared.is_held(),
        }
    }
}
