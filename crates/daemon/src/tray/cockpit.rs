//! The running daemon, as the tray sees it.

use super::ear::Ear;
use super::sight::{Cockpit, Sight, Spot, TrimSight, Wish};
use crate::clock::Clock;
use crate::plan::Names;
use crate::station::Station;

/// What the tray looks at and acts on.
#[derive(Clone, Copy)]
pub struct Daemon<'a> {
    /// The trims.
    pub station: &'a Station,
    /// What things are called.
    pub names: &'a Names,
    /// Which boards are read.
    pub ear: &'a Ear,
    /// The time.
    pub clock: Clock,
}

impl Cockpit for Daemon<'_> {
    fn sight(&self) -> Sight {
        let away = |board| !self.ear.reads(board);
        self.station.look(|tally| {
            let trims = tally.trims().iter().zip(tally.readings()).zip(self.names.trims());
            Sight {
                aircraft: self.names.aircraft.clone(),
                hangar: vec![self.names.aircraft.clone()],
                trims: trims
                    .map(|((trim, reading), name)| TrimSight {
                        name: name.to_owned(),
                        degrees: reading.degrees,
                        travel: trim.accumulator.config().travel(),
                        neutral: trim.accumulator.config().neutral(),
                        normalized: reading.normalized,
                        margin: reading.margin,
                        away: self.names.board_index(trim.wheel).is_none_or(away),
                        named: Vec::new(),
                    })
                    .collect(),
                boards_away: self
                    .names
                    .boards()
                    .filter(|(board, _)| away(*board))
                    .map(|(_, name)| name.to_owned())
                    .collect(),
                losses: tally.losses().map(|(_, losses)| losses).sum(),
                held: false,
            }
        })
    }

    fn grant(&self, wish: &Wish) -> Result<(), String> {
        match wish {
            Wish::Align { trim, spot: Spot::Fixed(place) } => {
                self.station.align(self.clock.now(), *trim, *place);
                Ok(())
            }
            other => Err(format!("{other:?}")),
        }
    }
}
