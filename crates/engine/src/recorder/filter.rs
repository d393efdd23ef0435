//! On the reader's thread: which reports are worth keeping.

use std::time::Duration;
use tallywheel_units::{Buttons, Timestamp};

/// Bytes kept of a report; boards with 128 buttons and eight axes send fewer.
const BYTES: usize = 64;
/// How long reports that change nothing are kept after one that did: they show that the wheel rests.
const TAIL: Duration = Duration::from_millis(200);

/// A report as it is noted, of fixed size.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RecordedSample {
    /// When it was read.
    pub at: Timestamp,
    /// Rises by one with every sample of a board, so that those that got lost on the way show.
    pub number: u32,
    length: u8,
    bytes: [u8; BYTES],
}

impl RecordedSample {
    fn new(at: Timestamp, report: &[u8]) -> Self {
        let mut bytes = [0; BYTES];
        bytes.iter_mut().zip(report).for_each(|(to, from)| *to = *from);
        let length = u8::try_from(report.len().min(BYTES)).unwrap_or(0);
        Self { at, number: 0, length, bytes }
    }

    /// The report, or its first 64 bytes.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        self.bytes.get(..usize::from(self.length)).unwrap_or_default()
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
    /// tally. `post` gets what is worth keeping, in the order of time.
    pub fn report(
        &mut self,
        at: Timestamp,
        report: &[u8],
        buttons: Buttons,
        happened: bool,
        post: &mut impl FnMut(RecordedSample),
    ) {
        let lines = Buttons::from_bits(buttons.bits() & self.lines.bits());
        let sample = RecordedSample::new(at, report);
        if happened || self.seen != Some(lines) {
            self.seen = Some(lines);
            self.moved = at;
            if let Some(held) = self.held.take() {
                self.post(held, post);
            }
            self.post(sample, post);
        } else if at.since(self.moved) <= TAIL {
            self.post(sample, post);
        } else {
            self.held = Some(sample);
        }
    }

    fn post(&mut self, sample: RecordedSample, post: &mut impl FnMut(RecordedSample)) {
        post(RecordedSample { number: self.number, ..sample });
        self.number = self.number.wrapping_add(1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn posted(reports: &[(u64, u8)]) -> Vec<(u64, u32, u8)> {
        let mut tap = RecordingFilter::new(Buttons::from_bits(0b11));
        let mut posted = Vec::new();
        for (ms, byte) in reports {
            let at = Timestamp::from_micros(ms * 1000);
            let buttons = Buttons::from_bits(u128::from(*byte));
            let mut post = |sample: RecordedSample| {
                posted.push((sample.at.micros() / 1000, sample.number, sample.bytes()[0]));
            };
            tap.report(at, &[*byte], buttons, false, &mut post);
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
