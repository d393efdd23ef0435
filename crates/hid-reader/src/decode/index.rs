//! The index mark: a button that is pressed once a turn, always at the same place.
//!
//! Where the mark comes on, the tally modulo one turn must be what it was there the last time. The mark has a width,
//! and a wheel that turns forward comes upon its one end, a wheel that turns back upon the other: each direction
//! has a place of its own. N are the counts of a turn, d is the difference modulo N that is nearest to zero.
//!
//! | the mark comes on | means |
//! |---|---|
//! | for the first time in this direction | this is its place; nothing is known to be lost |
//! | at its place | nothing was lost, or whole turns |
//! | d counts off | d counts were lost or made up: they are put right, and told as measured |
//! | one count off, and the next time one count off the other way | it lies between two counts, and both are its place from now on; the doubt of one count stays |
//! | off by the same amount in the sense of turning, four turns running | counts per turn are set wrong: told once, and nothing is put right any more |
//!
//! | what else comes | and does |
//! |---|---|
//! | the mark is on in the first report, or in the first after an unplugging or an unreadable report | nothing: there was no edge |
//! | the mark goes off | nothing, but from here on the wheel has to go an eighth of a turn before it counts that the mark comes on: a contact bounces, a hand trembles, and who reverses on the mark comes upon the same end again |
//! | the mark comes on with several counts in one report, while the board's pulses are late, while the tracker has a doubt open, in a report that waited or follows on lost ones | nothing: at which count it came on is not known |
//! | the mark comes on before the wheel has counted at all | nothing: from which side is not known |
//! | a turn has fewer than eight counts, or nobody knows how many | nothing |
//! | the board is gone | both places are forgotten, as the wheel may be turned by hand meanwhile, and the trim is put right by other means |
//! | a direction's place was first seen since the other's was last borne out, and that one is off | the place is forgotten: whether the loss was before it cannot be told |
//!
//! Not seen here: a loss of half a turn and more is taken for the rest of the turn, or for none; losses that cancel
//! between two marks; a mark whose button comes in another report than the wheel's lines, which is off by what the
//! wheel turns meanwhile; a mark that is on for more than seven eighths of a turn, which never counts; a reversal
//! right before the mark of which no count was seen, after which the mark is judged for the other direction; a board
//! that truly loses the same number every turn, which is named a wrong setting.

use tallywheel_units::{Certainty, Counts, CountsPerTurn, Loss, LossKind, Margin, Timestamp};

/// Turns with fewer counts are not told apart by a mark.
const FEWEST: i64 = 8;
/// The wheel has to be off the mark by one in so many parts of a turn.
const APART: i64 = 8;
/// So many turns that are off alike are no losses.
const ALIKE: u8 = 4;

/// The index mark of a wheel came on where it shows how many counts were lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct IndexMark {
    /// Which end of the mark it was. What is known at one says nothing of the other.
    pub forward: bool,
    /// At this end for the first time: the tally is the reference from here on.
    pub first: bool,
    /// What the tally has to be moved by, forward positive; 0 where it was right.
    pub correction: Counts,
    /// By how much it may be off then, whole turns apart.
    pub doubt: Margin,
    /// Counts of a turn.
    pub per_turn: CountsPerTurn,
    /// What was measured, where [`Self::correction`] is not 0: its bound is just that.
    pub loss: Option<Loss>,
}

impl IndexMark {
    /// The same for a wheel that turns the other way.
    #[must_use]
    pub fn reversed(self) -> Self {
        let loss = self.loss.map(|loss| Loss { bound: -loss.bound, ..loss });
        Self { forward: !self.forward, correction: -self.correction, doubt: -self.doubt, loss, ..self }
    }
}

/// What a report may tell the mark.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    pub(super) at: Timestamp,
    /// What the wheel counted since the last report that was shown.
    pub(super) counts: Counts,
    /// Whether the mark is on; `None` while no report has told.
    pub(super) on: Option<bool>,
    /// The wheel's counts are those of this moment, and will stay.
    pub(super) live: bool,
}

/// What comes of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Told {
    Mark(IndexMark),
    /// The setting is wrong, or so it seems.
    Loss(Loss),
}

/// Follows one wheel's mark.
#[derive(Debug, Clone)]
pub(super) struct Index {
    button: u128,
    per_turn: Option<CountsPerTurn>,
    tally: i64,
    /// Which way the last count went.
    forward: Option<bool>,
    on: Option<bool>,
    /// The tally where the mark went off.
    left: i64,
    /// The wheel has been an eighth of a turn from there.
    apart: bool,
    /// Where the mark comes on: turning forward, turning back.
    places: [Option<Place>; 2],
    /// Where it last counted that the mark came on, and when.
    last: (i64, Timestamp),
    /// By how much the last turns were off in the sense of turning, and how many were so.
    alike: (i64, u8),
    wrong: bool,
}

#[derive(Debug, Clone, Copy)]
struct Place {
    tally: i64,
    /// The other count that is its place too, seen from here: -1, 1, or 0 for none.
    beside: i64,
    /// What was put right the last time, if it was one count.
    by_one: i64,
    /// First seen since the other direction's place was last borne out.
    fresh: bool,
}

impl Index {
    pub(super) const fn new(button: u128) -> Self {
        Self {
            button,
            per_turn: None,
            tally: 0,
            forward: None,
            on: None,
            left: 0,
            apart: false,
            places: [None; 2],
            last: (0, Timestamp::START),
            alike: (0, 0),
            wrong: false,
        }
    }

    pub(super) const fn button(&self) -> u128 {
        self.button
    }

    /// How many counts a turn has. If that is news, all that was found out is forgotten.
    pub(super) fn know(&mut self, per_turn: Option<CountsPerTurn>) {
        if self.per_turn != per_turn {
            *self = Self { per_turn, on: self.on, ..Self::new(self.button) };
        }
    }

    /// Whether the mark is on has to be learned anew.
    pub(super) fn interrupt(&mut self) {
        self.on = None;
    }

    /// The board is gone. A wrong setting is as wrong when it comes back.
    pub(super) fn forget(&mut self) {
        *self = Self { per_turn: self.per_turn, wrong: self.wrong, ..Self::new(self.button) };
    }

    /// Takes a report in which something of the board has changed.
    pub(super) fn report(&mut self, seen: Seen) -> Option<Told> {
        let per_turn = self.per_turn.filter(|turn| i64::from(turn.get()) >= FEWEST && !self.wrong)?;
        let turn = i64::from(per_turn.get());
        if !seen.counts.is_zero() {
            self.tally = self.tally.saturating_add(seen.counts.get());
            self.forward = Some(seen.counts > Counts::ZERO);
        }
        self.apart |= self.tally.saturating_sub(self.left).saturating_abs() >= turn / APART;
        let on = seen.on?;
        match (self.on.replace(on), on) {
            (Some(true), false) => {
                (self.left, self.apart) = (self.tally, false);
                None
            }
            (Some(false), true) => {
                let apart = std::mem::take(&mut self.apart);
                let forward =
                    self.forward.filter(|_| apart && seen.live && seen.counts.abs() <= Counts::ONE)?;
                self.came_on(seen.at, forward, per_turn)
            }
            _ => None,
        }
    }

    fn came_on(&mut self, at: Timestamp, forward: bool, per_turn: CountsPerTurn) -> Option<Told> {
        let (tally, since) = std::mem::replace(&mut self.last, (self.tally, at));
        let turned = self.tally.saturating_sub(tally).saturating_abs();
        let [ahead, back] = &mut self.places;
        let (own, other) = if forward { (ahead, back) } else { (back, ahead) };
        let mut mark = IndexMark {
            forward,
            first: false,
            correction: Counts::ZERO,
            doubt: Margin::CERTAIN,
            per_turn,
            loss: None,
        };
        let Some(place) = own else {
            *own = Some(Place { tally: self.tally, beside: 0, by_one: 0, fresh: other.is_some() });
            return Some(Told::Mark(IndexMark { first: true, ..mark }));
        };
        let turn = i64::from(per_turn.get());
        let off = place.off(self.tally, turn, forward);
        let in_sense = if forward { off } else { -off };
        // What is put right within a turn says nothing of whole ones.
        if turned >= turn / 2 {
            self.alike = match self.alike {
                (alike, times) if alike == in_sense && off != 0 => (alike, times.saturating_add(1)),
                _ => (in_sense, u8::from(off != 0)),
            };
        }
        let loss = |kind| Loss {
            kind,
            certainty: Certainty::Observed,
            at,
            lasted: at.since(since),
            reports: 2,
            bound: Margin::new(Counts::new(off.min(0)), Counts::new(off.max(0))),
        };
        if self.alike.1 >= ALIKE {
            self.wrong = true;
            return Some(Told::Loss(loss(LossKind::WrongCountsPerTurn)));
        }
        if off == 0 {
            if let Some(other) = other {
                other.fresh = false;
            }
        } else {
            other.take_if(|other| other.fresh);
            mark.correction = Counts::new(off);
            mark.loss = Some(loss(LossKind::OffAtIndex));
            self.tally = self.tally.saturating_add(off);
            // Distances from where the mark went off and came on are the wheel's, and it did not move.
            self.left = self.left.saturating_add(off);
            self.last.0 = self.tally;
        }
        mark.doubt = place.doubt(off);
        Some(Told::Mark(mark))
    }
}

impl Place {
    /// By how many counts the tally is short of the place, modulo a turn; half a turn either way is taken as
    /// missing.
    fn off(&self, tally: i64, turn: i64, forward: bool) -> i64 {
        let short = |place: i64| {
            let short = place.saturating_sub(tally).rem_euclid(turn);
            let half = if forward { 2 * short > turn } else { 2 * short >= turn };
            if half { short - turn } else { short }
        };
        let (one, other) = (short(self.tally), short(self.tally.saturating_add(self.beside)));
        if other.abs() < one.abs() { other } else { one }
    }

    /// Takes note that the mark was off by so much, and says what stays in doubt when that is put right.
    fn doubt(&mut self, off: i64) -> Margin {
        if self.beside == 0 && off.abs() == 1 && self.by_one == -off {
            // Before the last correction, which was wrong, it came that much beside.
            self.beside = off;
        }
        self.by_one = if off.abs() == 1 { off } else { 0 };
        if self.beside != 0 {
            return Margin::both(Counts::ONE);
        }
        match off {
            // The next time will tell whether it was the mark.
            1 => Margin::new(Counts::ONE, Counts::ZERO),
            -1 => Margin::new(Counts::ZERO, Counts::ONE),
            _ => Margin::CERTAIN,
        }
    }
}

#[cfg(test)]
mod tests;
