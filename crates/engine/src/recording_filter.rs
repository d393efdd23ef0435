//! On the reader's thread: which reports are worth keeping.

use crate::tally::{TRIMS_MAX, Tally};
use arrayvec::ArrayVec;
use std::time::Duration;
use tallywheel_units::{Buttons, Degrees, Margin, Timestamp, WheelIndex};

/// Bytes kept of a report; boards with 128 buttons and eight axes send fewer.
const BYTES: usize = 64;
/// How long reports that change nothing are kept after one that did: they show that the wheel rests.
const TAIL: Duration = Duration::from_millis(200);
/// A file of the recording is as long as this, or as long as it takes until something moves again.
pub(crate) const SEGMENT: Duration = Duration::from_secs(600);

/// A report as it is noted, of fixed size.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RecordedSample {
    /// When it was read.
    pub at: Timestamp,
    /// Rises by one with every sample of a board, so that those that got lost on the way show.
    pub number: u32,
    /// How many [`RecordedPosition`]s come just before it, where it says where the trims are.
    pub positions: Option<u8>,
    length: u8,
    bytes: [u8; BYTES],
}

impl RecordedSample {
    fn new(at: Timestamp, report: &[u8]) -> Self {
        let mut bytes = [0; BYTES];
        bytes.iter_mut().zip(report).for_each(|(to, from)| *to = *from);
        let length = u8::try_from(report.len().min(BYTES)).unwrap_or(0);
        Self { at, number: 0, positions: None, length, bytes }
    }

    /// The report, or its first 64 bytes.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        self.bytes.get(..usize::from(self.length)).unwrap_or_default()
    }
}

/// Where a trim was just before a sample, the truth as the bridge knows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RecordedPosition {
    /// The trim's place in the aircraft file.
    pub trim: u8,
    /// Degrees from the low stop.
    pub degrees: Degrees,
    /// How many counts that may be off.
    pub margin: Margin,
}

/// What is worth keeping of one report: the sample of it, and before that the one held back, if there was one.
pub(crate) type Samples = ArrayVec<RecordedSample, 2>;

/// Knows when the recording has to be told where the trims of one board are: at its begin, whenever somebody put a trim
/// elsewhere, and every ten minutes, so that each of its files can be replayed by itself.
#[derive(Debug, Clone, Default)]
pub struct PositionWatch {
    /// The number of placements that was told last.
    told: Option<u64>,
    /// When a file could begin last.
    began: Option<Timestamp>,
    /// The positions before the running report, and the tally's sequence that they belong to.
    before: ArrayVec<RecordedPosition, TRIMS_MAX>,
    sequence: Option<u64>,
}

impl PositionWatch {
    /// Remembers where the trims on `wheels` are before a report is decoded, if that is to be told with it. Costs two
    /// comparisons where it is not, and one more while nothing moves.
    #[inline]
    pub fn look(&mut self, at: Timestamp, placements: u64, tally: &Tally, wheels: &[WheelIndex]) {
        if self.is_due(at, placements) && self.sequence != Some(tally.sequence()) {
            self.remember(tally, wheels);
        }
    }

    #[inline]
    fn is_due(&self, at: Timestamp, placements: u64) -> bool {
        self.told != Some(placements) || self.began.is_none_or(|began| at.since(began) >= SEGMENT)
    }

    #[cold]
    fn remember(&mut self, tally: &Tally, wheels: &[WheelIndex]) {
        self.sequence = Some(tally.sequence());
        let trims = (0_u8..).zip(tally.trims()).filter(|(_, trim)| wheels.contains(&trim.wheel));
        let positions = trims.map(|(place, trim)| {
            let reading = trim.reading();
            RecordedPosition { trim: place, degrees: reading.degrees, margin: reading.margin }
        });
        self.before = positions.take(TRIMS_MAX).collect();
    }

    /// The positions to be told before a sample that is kept now; `None` where none are due.
    #[inline]
    pub fn take(&mut self, at: Timestamp, placements: u64) -> Option<&[RecordedPosition]> {
        if !self.is_due(at, placements) {
            return None;
        }
        if self.began.is_none_or(|began| at.since(began) >= SEGMENT) {
            self.began = Some(at);
        }
        self.told = Some(placements);
        self.sequence = None;
        Some(&self.before)
    }
}

/// Picks the reports of one board.
///
/// | report | lately moved | at rest |
/// |---|---|---|
/// | changes a wheel's line or the tally | post | post the one before, then this |
/// | changes neither | post | hold, in the place of the one held |
#[derive(Debug, Clone)]
pub struct RecordingFilter {
    lines: Buttons,
    seen: Option<Buttons>,
    moved: Timestamp,
    held: Option<RecordedSample>,
    number: u32,
}

impl RecordingFilter {
    /// For a board whose wheels use `lines`.
    #[must_use]
    pub const fn new(lines: Buttons) -> Self {
        Self { lines, seen: None, moved: Timestamp::START, held: None, number: 0 }
    }

    /// Goes on where `before` stood, with the same board.
    pub fn take_over(&mut self, before: &Self) {
        self.number = before.number;
        self.moved = before.moved;
        self.held = before.held;
    }

    /// Takes a report after which the board's buttons are `buttons`; `happened` says whether it changed the
    /// tally. Answers what is worth keeping, in the order of time.
    pub fn report(&mut self, at: Timestamp, report: &[u8], buttons: Buttons, happened: bool) -> Samples {
        let mut kept = Samples::new();
        let lines = Buttons::from_bits(buttons.bits() & self.lines.bits());
        let sample = RecordedSample::new(at, report);
        if happened || self.seen != Some(lines) {
            self.seen = Some(lines);
            self.moved = at;
            kept.extend(self.held.take());
            kept.push(sample);
        } else if at.since(self.moved) <= TAIL {
            kept.push(sample);
        } else {
            self.held = Some(sample);
        }
        for sample in &mut kept {
            sample.number = self.number;
            self.number = self.number.wrapping_add(1);
        }
        kept
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn posted(reports: &[(u64, u8)]) -> Vec<(u64, u32, u8)> {
        let mut filter = RecordingFilter::new(Buttons::from_bits(0b11));
        let mut posted = Vec::new();
        for (ms, byte) in reports {
            let at = Timestamp::from_micros(ms * 1000);
            let kept = filter.report(at, &[*byte], Buttons::from_bits(u128::from(*byte)), false);
            posted.extend(kept.iter().map(|kept| (kept.at.micros() / 1000, kept.number, kept.bytes()[0])));
        }
        posted
    }

    #[test]
    fn a_resting_wheel_posts_nothing() {
        let reports: Vec<_> = (0..10_000).map(|n| (n, 0)).collect();
        assert_eq!(posted(&reports).len(), 201);
    }

    #[test]
    fn the_report_before_a_change_is_kept_too() {
        let seen = posted(&[(0, 0), (500, 0), (900, 0), (904, 1), (908, 1), (2000, 1)]);
        assert_eq!(seen, [(0, 0, 0), (900, 1, 0), (904, 2, 1), (908, 3, 1)]);
    }

    /// Bit 2 is a button of no wheel.
    #[test]
    fn other_buttons_are_no_reason() {
        let seen = posted(&[(0, 0), (500, 0b100), (1000, 0), (1500, 0b101)]);
        assert_eq!(seen, [(0, 0, 0), (1000, 1, 0), (1500, 2, 0b101)]);
    }

    #[test]
    fn long_reports_keep_their_first_64_bytes() {
        let report: Vec<u8> = (0..100).collect();
        assert_eq!(RecordedSample::new(Timestamp::START, &report).bytes(), &report[..64]);
        assert!(RecordedSample::new(Timestamp::START, &[]).bytes().is_empty());
    }
}
