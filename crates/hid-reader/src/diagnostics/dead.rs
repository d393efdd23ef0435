//! A line that does not move.
//!
//! Raw lines: A and B change in turn, whichever way the wheel turns, and a wheel that goes to and fro over
//! one edge changes one line only a few times. So [`CHANGES`] changes of one line in a row, each after the
//! line stood longer than a contact bounces, and the other line has no wire.
//!
//! | last change \ this one | of the same line | of the other | of both |
//! |---|---|---|---|
//! | none, both | 1 in a row | 1 | 0 |
//! | a line's nth in a row | n + 1; n - 1 where it bounced | 1 | 0 |
//!
//! A board that decodes such an encoder sees it tremble over one edge and pulses forward and backward in
//! turn: [`Seesaw`].

use super::{Doubt, Evidence, Hand, MILLISECOND, Nanos, SECOND, loss};
use tallywheel_units::{Certainty, Loss, LossKind};

/// So many changes of one line alone.
const CHANGES: u32 = 24;
/// A contact bounces for 2 to 5 ms at 15 rpm (data sheets), and less when turned faster. Slower,
/// it may go on for longer, but seldom stands still in between.
const BOUNCE: Nanos = 6 * MILLISECOND;
/// So many pulses forward and backward in turn, none of them later after the last than [`IN_TURN`].
const SEESAW: u32 = 14;
const IN_TURN: Nanos = 3 * SECOND;

/// Watches raw lines.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct DeadLine {
    was: Option<(bool, bool)>,
    first_changed: bool,
    in_a_row: u32,
    last: Nanos,
    since: Nanos,
    doubt: Option<Doubt>,
}

impl DeadLine {
    #[inline]
    pub(super) fn lines(&mut self, at: Nanos, lines: (bool, bool), hand: Hand, sink: &mut impl FnMut(Loss)) {
        let Some(was) = self.was.replace(lines) else { return };
        let (first, second) = (was.0 != lines.0, was.1 != lines.1);
        let stood = at.saturating_sub(self.last);
        self.last = at;
        if first && second {
            (self.in_a_row, self.doubt) = (0, None);
        } else if first != self.first_changed || self.in_a_row == 0 {
            (self.first_changed, self.in_a_row, self.since, self.doubt) = (first, 1, at, None);
        } else if stood >= BOUNCE {
            self.in_a_row = self.in_a_row.saturating_add(1);
            if self.in_a_row >= CHANGES {
                tell(
                    &mut self.doubt,
                    Evidence { from: self.since, to: at, reports: self.in_a_row },
                    hand,
                    sink,
                );
            }
        } else {
            self.in_a_row = self.in_a_row.saturating_sub(1).max(1);
        }
    }
}

/// Watches pulses.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Seesaw {
    forward: bool,
    in_turn: u32,
    last: Nanos,
    since: Nanos,
    doubt: Option<Doubt>,
}

impl Seesaw {
    pub(super) fn press(&mut self, at: Nanos, forward: bool, hand: Hand, sink: &mut impl FnMut(Loss)) {
        let soon = at.saturating_sub(self.last) < IN_TURN;
        if self.in_turn == 0 || forward == self.forward || !soon {
            (self.in_turn, self.since, self.doubt) = (1, at, None);
        } else {
            self.in_turn = self.in_turn.saturating_add(1);
        }
        (self.forward, self.last) = (forward, at);
        if self.in_turn >= SEESAW {
            let evidence = Evidence { from: self.since, to: at, reports: self.in_turn.saturating_mul(2) };
            tell(&mut self.doubt, evidence, hand, sink);
        }
    }
}

#[cold]
fn tell(doubt: &mut Option<Doubt>, evidence: Evidence, hand: Hand, sink: &mut impl FnMut(Loss)) {
    let doubt = doubt.get_or_insert(Doubt::since(evidence.from));
    if let Some(bound) = doubt.grow(evidence.to, hand) {
        sink(loss(LossKind::LineDead, Certainty::Inferred, evidence, bound));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(changes: &[(Nanos, (bool, bool))]) -> usize {
        let (mut dead, mut losses) = (DeadLine::default(), 0);
        for (at, lines) in changes {
            dead.lines(at * MILLISECOND, *lines, Hand::default(), &mut |_| losses += 1);
        }
        losses
    }

    /// The table above, each row as a sequence that ends one change before or at the limit.
    #[test]
    fn only_one_line_alone_and_for_long() {
        let alone =
            |n: u64, every: u64| -> Vec<_> { (0..=n).map(|i| (i * every, (i % 2 == 1, false))).collect() };
        assert_eq!(told(&alone(23, 10)), 0);
        assert_eq!(told(&alone(24, 10)), 1);
        assert_eq!(told(&alone(400, 3)), 0, "bounce");
        // 24, 47, 93, 185: stated ahead for as long again each time.
        assert_eq!(told(&alone(200, 10)), 4);
        let mut other = alone(23, 10);
        other.push((240, (true, true)));
        other.extend((25..=47).map(|i| (i * 10, (i % 2 == 1, true))));
        assert_eq!(told(&other), 0, "the other line moved");
        let mut both = alone(23, 10);
        both.push((240, (false, true)));
        both.extend((25..=47).map(|i| (i * 10, (i % 2 == 1, true))));
        assert_eq!(told(&both), 0, "both lines moved");
    }

    #[test]
    fn pulses_in_turn_are_a_dead_line_unless_slow_or_few() {
        let told = |n: u64, every: Nanos, forward: fn(u64) -> bool| {
            let (mut seesaw, mut losses) = (Seesaw::default(), 0);
            (0..n).for_each(|i| seesaw.press(i * every, forward(i), Hand::default(), &mut |_| losses += 1));
            losses
        };
        assert_eq!(told(14, SECOND / 10, |i| i % 2 == 0), 1);
        assert_eq!(told(13, SECOND / 10, |i| i % 2 == 0), 0);
        assert_eq!(told(100, 3 * SECOND, |i| i % 2 == 0), 0);
        assert_eq!(told(100, SECOND / 10, |i| i % 3 == 0), 0);
    }
}
