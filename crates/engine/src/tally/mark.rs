//! What an index mark makes of margins.
//!
//! The mark says how far the tally went wrong since it last came on in this direction, and nothing of before. So each
//! direction keeps the margin of when its reference began, and what was stated since.
//!
//! | since the last mark | the wheel's counts | a trim on it |
//! |---|---|---|
//! | nothing else happened | put right; certain but for what was in doubt before the reference and for whole turns | likewise |
//! | the trim, or the truth, met a stop that slips, or it was aligned, given another ratio or other limits | likewise | stays: it was put right meanwhile by something newer, and whether the loss was before that cannot be told. Its margin grows by the correction |

use tallywheel_accumulator::{Accumulator, Applied};
use tallywheel_hid_reader::IndexMark;
use tallywheel_units::{Counts, FixedCounts, Margin, StopStyle};

/// A wheel's margin seen from one end of its mark.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct WheelMark {
    /// When the reference began.
    at: Margin,
    /// What may be off since the mark last came on.
    since: Margin,
}

/// A trim's margin seen from one end of the mark, in its wheel's direction.
#[derive(Debug, Clone, Copy)]
pub(super) struct TrimMark {
    at: Margin,
    /// The trim did not follow its wheel's counts all the way since.
    apart: bool,
    /// Between which counts above the low stop it was since.
    lowest: FixedCounts,
    highest: FixedCounts,
}

impl TrimMark {
    /// No mark has come on.
    pub(super) const NONE: Self =
        Self { at: Margin::CERTAIN, apart: true, lowest: FixedCounts::ZERO, highest: FixedCounts::ZERO };

    fn new(at: Margin, trim: &Accumulator) -> Self {
        let position = trim.reading().position;
        Self { at, apart: false, lowest: position, highest: position }
    }

    pub(super) fn part(&mut self) {
        self.apart = true;
    }

    pub(super) fn visit(&mut self, position: FixedCounts) {
        self.lowest = self.lowest.min(position);
        self.highest = self.highest.max(position);
    }

    /// Whether the trim, or the truth that was off by up to `missing` counts from it, met a stop that slips.
    fn met_a_stop(&self, trim: &Accumulator, missing: Counts) -> bool {
        let config = trim.config();
        let missing = FixedCounts::from_counts(if config.reversed() { -missing } else { missing });
        config.stops() == StopStyle::Slip
            && (self.lowest + missing.min(FixedCounts::ZERO) <= FixedCounts::ZERO
                || self.highest + missing.max(FixedCounts::ZERO) >= config.travel_counts())
    }
}

impl WheelMark {
    pub(super) fn lose(&mut self, bound: Margin) {
        self.since += bound;
    }
}

/// What is left of `margin`, of a wheel that `marks` belong to, after `mark`; and of that what is newer than the
/// reference. `mark` is in the rig's direction.
pub(super) fn of_wheel(marks: &mut [WheelMark; 2], mark: &IndexMark, margin: Margin) -> (Margin, Margin) {
    let [ahead, back] = marks;
    let (own, other) = if mark.forward { (ahead, back) } else { (back, ahead) };
    if mark.first {
        *own = WheelMark { at: margin, since: Margin::CERTAIN };
        return (margin, Margin::CERTAIN);
    }
    own.since = own.since.whole_turns(mark.correction, mark.per_turn) + mark.doubt;
    other.since = corrected(other.since, mark.correction);
    (agreed(margin, own.at + own.since, mark), own.since)
}

/// Does to a trim what `mark` says, after which `left` is what its wheel may be off since the last one. Answers what
/// became of the correction; `None` where the trim stays.
pub(super) fn of_trim(
    marks: &mut [TrimMark; 2],
    trim: &mut Accumulator,
    mark: &IndexMark,
    left: Margin,
) -> Option<Applied> {
    let [ahead, back] = marks;
    let (own, other) = if mark.forward { (ahead, back) } else { (back, ahead) };
    let apart = own.apart || !mark.correction.is_zero() && own.met_a_stop(trim, mark.correction);
    if !mark.first && !apart {
        let margin = agreed(trim.margin(), own.at + left, mark);
        let applied = trim.measured(mark.correction, margin);
        *own = TrimMark::new(own.at, trim);
        return Some(applied);
    }
    if !mark.correction.is_zero() {
        trim.lose(Margin::new(mark.correction.min(Counts::ZERO), mark.correction.max(Counts::ZERO)));
        other.apart = true;
    }
    // The mark's own doubt of now and then adds up.
    *own = TrimMark::new(trim.margin() + -left, trim);
    None
}

/// A margin after the mark that was `before` and of which the mark says that it is `known`. Where the mark was off, what
/// was known before was not true.
fn agreed(before: Margin, known: Margin, mark: &IndexMark) -> Margin {
    if !mark.correction.is_zero() {
        return known;
    }
    Margin::new(before.low().min(known.low()), before.high().min(known.high()))
}

/// How far a tally may be off after `by` was added to it, whether its margin held what that puts right or not.
fn corrected(margin: Margin, by: Counts) -> Margin {
    let side = |side: Counts, by: Counts| {
        if side == Margin::UNKNOWN.low() { side } else { side + by.max(Counts::ZERO) }
    };
    Margin::new(side(margin.low(), by), side(margin.high(), -by))
}
