//! Finds what a board lost although its reports look in order.
//!
//! A board that decodes by itself shows pulses only, so what it swallowed has to be read from their rhythm.
//! Each wheel has a [`Watch`] beside its decoder. It sees the changes of the wheel's two lines and the counts
//! made of them, with their times, and nothing else; it has no clock, allocates nothing and keeps a few
//! hundred bytes.
//!
//! | what it looks at | where | what it names |
//! |---|---|---|
//! | how long a line is pressed | `width`, `pulse` | merged, clipped and too short pulses, a stuck input |
//! | times between presses | `pace` | top rate, late pulses, gaps in a spin |
//! | which line moved last | `dead` | a line that does not move |
//! | counts from rest to rest | `detents` | counts per cycle that do not fit the detents |
//! | counts of a turn that the user confirms | `confirm` | exchanged lines, wrong counts per cycle |
//!
//! What no report can tell: whether A and B are exchanged (the reports are those of a wheel turned the other
//! way), and whether one of two pulse lines is dead (they are those of a wheel never turned that way). For
//! the first there is [`BoardDecoder::confirm`](crate::BoardDecoder::confirm).

mod confirm;
mod cycle;
mod dead;
mod detents;
mod facts;
mod grain;
mod hand;
mod pace;
mod pulse;
mod rate;
mod span;
mod width;

pub use cycle::free_of_loss;
pub use facts::WheelFacts;

use confirm::Tally;
use dead::DeadLine;
use detents::DetentRhythm;
use hand::Hand;
use pulse::PulseWatch;
use std::time::Duration;
use tallywheel_units::{Certainty, Counts, Loss, LossKind, Margin, Timestamp};

/// A length of time or a moment in nanoseconds; `Duration` costs more and says no more here.
type Nanos = u64;

const MILLISECOND: Nanos = 1_000_000;
const SECOND: Nanos = 1_000_000_000;
/// Longer than anything that is measured here; times are cut to it, so that sums of them fit.
const HOUR: Nanos = 3600 * SECOND;

/// Watches one wheel.
#[derive(Debug, Clone)]
pub(crate) struct Watch {
    lines: Lines,
    hand: Hand,
    detents: DetentRhythm,
    tally: Tally,
}

#[derive(Debug, Clone)]
enum Lines {
    // Boxed, so that a board of quadrature wheels does not carry it through its cache.
    Pulses(Box<PulseWatch>),
    Quadrature(DeadLine),
}

impl Watch {
    pub(crate) fn pulses() -> Self {
        Self::new(Lines::Pulses(Box::default()))
    }

    pub(crate) fn quadrature() -> Self {
        Self::new(Lines::Quadrature(DeadLine::default()))
    }

    fn new(lines: Lines) -> Self {
        let (hand, detents, tally) = (Hand::default(), DetentRhythm::default(), Tally::default());
        Self { lines, hand, detents, tally }
    }

    pub(crate) fn know(&mut self, facts: &WheelFacts) {
        self.hand = Hand::new(facts.counts_per_turn);
        self.detents = DetentRhythm::new(facts.counts_per_detent);
        if let Lines::Pulses(pulses) = &mut self.lines {
            pulses.know(facts);
        }
    }

    /// The lines stand so since `at`; called when at least one of them changed. `interval` is the board's
    /// report interval, where it is known.
    #[inline]
    pub(crate) fn lines(
        &mut self,
        at: Timestamp,
        lines: (bool, bool),
        interval: Option<Nanos>,
        sink: &mut impl FnMut(Loss),
    ) {
        match &mut self.lines {
            Lines::Pulses(pulses) => {
                pulses.lines(at.nanos(), lines, interval.map(|nanos| nanos.min(HOUR)), self.hand, sink);
            }
            Lines::Quadrature(dead) => dead.lines(at.nanos(), lines, self.hand, sink),
        }
    }

    /// The decoder made `counts` of the lines.
    #[inline]
    pub(crate) fn counts(&mut self, at: Timestamp, counts: Counts, sink: &mut impl FnMut(Loss)) {
        self.tally.count(counts);
        self.detents.count(at.nanos(), counts, sink);
    }

    /// How far the counts so far may be off, as long as that is being found out; it takes the place of what was said before.
    pub(crate) fn pending(&self) -> Margin {
        match &self.lines {
            Lines::Pulses(pulses) => pulses.pending(),
            Lines::Quadrature(_) => Margin::CERTAIN,
        }
    }

    /// When a silence tells more about [`Self::pending`].
    pub(crate) fn rests(&self) -> Option<Nanos> {
        match &self.lines {
            Lines::Pulses(pulses) => pulses.rests(),
            Lines::Quadrature(_) => None,
        }
    }

    /// No report came until `at`.
    pub(crate) fn rest(&mut self, at: Timestamp) {
        if let Lines::Pulses(pulses) = &mut self.lines {
            pulses.rest(at.nanos(), self.hand);
        }
    }

    /// When [`Self::due`] has something to look at, although no line changed.
    pub(crate) fn deadline(&self) -> Nanos {
        match &self.lines {
            Lines::Pulses(pulses) => pulses.deadline(),
            Lines::Quadrature(_) => Nanos::MAX,
        }
    }

    pub(crate) fn due(&mut self, at: Timestamp, sink: &mut impl FnMut(Loss)) {
        if let Lines::Pulses(pulses) = &mut self.lines {
            pulses.due(at.nanos(), self.hand, sink);
        }
    }

    /// Whether a line hangs, so that the other one's pulses overlap with it by no fault of theirs.
    pub(crate) fn stuck(&self) -> bool {
        match &self.lines {
            Lines::Pulses(pulses) => pulses.stuck(),
            Lines::Quadrature(_) => false,
        }
    }

    /// Whether the counts so far are all that the wheel has made by `at`, as it is before the report of that moment is
    /// shown to [`Self::lines`]: a board that is asked for more pulses than it can give out shows them late.
    pub(crate) fn in_time(&self, at: Timestamp) -> bool {
        match &self.lines {
            Lines::Pulses(pulses) => pulses.in_time(at.nanos()),
            Lines::Quadrature(_) => true,
        }
    }

    /// The reader is behind, and reads reports faster than the board sends them: their times mean nothing.
    #[cold]
    pub(crate) fn blur(&mut self) {
        match &mut self.lines {
            Lines::Pulses(pulses) => pulses.blur(),
            Lines::Quadrature(dead) => *dead = DeadLine::default(),
        }
        self.detents.forget();
    }

    pub(crate) fn confirm(&mut self, at: Timestamp, turned: Counts, sink: &mut impl FnMut(Loss)) {
        self.tally.confirm(at.nanos(), turned, sink);
    }

    /// The board is gone: what was being watched is over. What was learned of the board stays true.
    pub(crate) fn forget(&mut self) {
        match &mut self.lines {
            Lines::Pulses(pulses) => pulses.forget(),
            Lines::Quadrature(dead) => *dead = DeadLine::default(),
        }
        self.detents.forget();
        self.tally = Tally::default();
    }
}

/// What speaks for a loss.
#[derive(Debug, Clone, Copy)]
struct Evidence {
    from: Nanos,
    to: Nanos,
    reports: u32,
}

fn loss(kind: LossKind, certainty: Certainty, evidence: Evidence, bound: Margin) -> Loss {
    let Evidence { from, to, reports } = evidence;
    let lasted = Duration::from_nanos(to.saturating_sub(from));
    Loss { kind, certainty, at: Timestamp::from_nanos(to), lasted, reports, bound }
}

/// A doubt on the side to which the wheel turned: counts are missing there, not on the other.
fn missing(forward: bool, counts: u64) -> Margin {
    let counts = Counts::new(i64::try_from(counts).unwrap_or(i64::MAX));
    if forward { Margin::new(Counts::ZERO, counts) } else { Margin::new(counts, Counts::ZERO) }
}

/// A doubt that lasts. It is stated ahead, each time for as long again as it has lasted, so that the margin
/// holds at every moment and still only a handful of losses is told.
#[derive(Debug, Clone, Copy)]
struct Doubt {
    since: Nanos,
    covered: Nanos,
}

impl Doubt {
    fn since(since: Nanos) -> Self {
        Self { since, covered: since }
    }

    /// The counts to add to the margin now, where the doubt has outlasted what was stated.
    fn grow(&mut self, at: Nanos, hand: Hand) -> Option<Margin> {
        if at < self.covered {
            return None;
        }
        let until = at.saturating_add(at.saturating_sub(self.since));
        let counts = hand.most(until.saturating_sub(self.covered));
        self.covered = until;
        // Either way: a board that is behind may drop a count of a reversal while it pulses out the stroke
        // before it.
        Some(Margin::both(counts))
    }
}

#[cfg(test)]
mod tests;
