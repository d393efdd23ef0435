//! What outlives the program: where each trim of each aircraft was last, and which aircraft was flown.
//!
//! Written while something moves, at most a few times a second, by a thread of its own, so that a slow disk delays
//! nothing. Whatever ends the program at whatever instant, the last position or the one before is on disk.

mod format;
mod store;
mod writer;

pub use format::{Damage, Place, Positions};
pub use store::{Found, Store};
use writer::Writer;

use crate::tally::Tally;
use std::collections::BTreeMap;
use tallywheel_profile::Aircraft;
use tallywheel_units::Degrees;

/// Keeps the positions on disk up to date.
#[derive(Debug)]
pub struct Saved {
    store: Store,
    writer: Option<Writer>,
    /// What was read or written last of each aircraft.
    known: BTreeMap<String, Positions>,
    /// The tally's number when it was looked at last.
    seen: Option<u64>,
    /// The aircraft that the writer was told last; what is on disk may still be an earlier one.
    flown: Option<String>,
}

impl Saved {
    /// What is saved in `store`.
    #[must_use]
    pub const fn new(store: Store) -> Self {
        Self { store, writer: None, known: BTreeMap::new(), seen: None, flown: None }
    }

    /// The aircraft that was flown last.
    #[must_use]
    pub fn last_aircraft(&self) -> Option<String> {
        self.store.last_aircraft()
    }

    /// Where a trim of an aircraft was last, if that is known. What is damaged on disk is logged.
    pub fn place(&mut self, stem: &str, trim: &str) -> Option<Degrees> {
        let Self { store, known, .. } = self;
        if !known.contains_key(stem) {
            let Found { positions, damage } = store.read(stem);
            for (path, damage) in &damage {
                let instead = if positions.is_some() { "the one before it is used" } else { "none is known" };
                tracing::warn!(file = %path.display(), "a saved position is damaged ({damage}); {instead}");
            }
            known.insert(stem.to_owned(), positions.unwrap_or_default());
        }
        known.get(stem)?.trims.get(trim).map(|place| place.degrees)
    }

    /// What is known to be saved of an aircraft, or on its way to the disk.
    #[must_use]
    pub fn positions(&self, stem: &str) -> Option<&Positions> {
        self.known.get(stem)
    }

    /// An aircraft is flown from now on, and nothing moved since the tally had this number.
    pub fn flies(&mut self, stem: &str, sequence: u64) {
        self.seen = Some(sequence);
        let flown = self.flown.take().or_else(|| self.last_aircraft());
        if flown.as_deref() != Some(stem) {
            self.writer().last_aircraft(stem);
        }
        self.flown = Some(stem.to_owned());
    }

    /// Takes note of where the trims are; costs next to nothing where nothing moved.
    pub fn take(&mut self, stem: &str, aircraft: &Aircraft, tally: (u64, Vec<Place>)) {
        let (sequence, places) = tally;
        if self.seen == Some(sequence) {
            return;
        }
        self.seen = Some(sequence);
        // What is on disk has to be known before it is overwritten: its number goes on.
        for trim in &aircraft.trims {
            self.place(stem, &trim.name);
        }
        let trims: BTreeMap<_, _> = aircraft.trims.iter().map(|trim| trim.name.clone()).zip(places).collect();
        let known = self.known.entry(stem.to_owned()).or_default();
        if trims.iter().all(|(name, place)| known.trims.get(name) == Some(place)) {
            return;
        }
        // A trim that the file does not have any more may come back.
        known.trims.extend(trims);
        known.sequence = known.sequence.saturating_add(1);
        let positions = known.clone();
        self.writer().positions(stem, positions);
    }

    /// Writes what is not written yet, and ends.
    pub fn close(self) {
        if let Some(writer) = self.writer {
            writer.close();
        }
    }

    /// The thread is there from the first thing to write on.
    fn writer(&mut self) -> &Writer {
        let store = &self.store;
        self.writer.get_or_insert_with(|| Writer::start(store.clone()))
    }
}

/// The tally's number and its trims' places, for [`Saved::take`].
#[must_use]
pub fn places(tally: &Tally) -> (u64, Vec<Place>) {
    let places = tally.trims().iter().map(|trim| {
        let reading = trim.accumulator.reading();
        Place { degrees: reading.degrees, margin: reading.margin }
    });
    (tally.sequence(), places.collect())
}
