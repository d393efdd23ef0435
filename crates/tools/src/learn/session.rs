//! A session: the samples of a wheel that was turned as asked, and the marks between them. No I/O.
//!
//! A session is reports and marks. A turn mark says that the wheel stands at its mark: from one to the next is
//! one whole turn, forward first, then back, and so on; the first [`SLOW_TURNS`] slowly, the rest briskly. A click
//! mark, after all turn marks, says that the wheel was moved on by one click (detent) since the mark before it.
//!
//! In a recording the marks are comment lines, so every reader of the format passes over them:
//!
//! | line | mark |
//! |---|---|
//! | `# mark` | turn mark; what follows the word is for people |
//! | `# mark click` | click mark |
//!
//! A mark stands between the reports before and after it, and has no time of its own.

use std::time::Duration;
use tallywheel_hid_reader::{Layout, Recording};
use tallywheel_units::{Buttons, Timestamp};

/// The number of slow turns: three each way.
pub const SLOW_TURNS: usize = 6;
/// The number of brisk turns, after the slow ones.
pub const BRISK_TURNS: usize = 6;
/// The number of clicks.
pub const CLICKS: usize = 8;
/// More marks than any session has; what follows is left out.
const MARKS_MAX: usize = 200;
/// The shortest pause that is taken for a mark when a recording has none.
const PAUSE: Duration = Duration::from_secs(2);

/// The buttons of a board after one report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ButtonSample {
    /// The board, by its place in the recording.
    pub device: usize,
    /// When the report was read.
    pub at: Timestamp,
    /// The state of the board's buttons after the report.
    pub buttons: Buttons,
}

/// The kind of a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SessionMarkKind {
    /// The wheel stands at its mark.
    Turn,
    /// The wheel was moved on by one click.
    Click,
}

/// A mark between two samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SessionMark {
    /// The number of samples before it.
    pub after: usize,
    /// Its kind.
    pub kind: SessionMarkKind,
}

/// Where a session's marks come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkedBy {
    /// Comment lines of the recording, or Enter.
    Hand,
    /// They are the pauses of the recording.
    Pauses,
}

/// The samples and marks of a session.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Session {
    /// The reports, in the order in which they were read.
    pub samples: Vec<ButtonSample>,
    /// The marks, in their order.
    pub marks: Vec<SessionMark>,
    /// Where the marks come from.
    pub marked_by: MarkedBy,
}

impl Session {
    /// Makes the session of a recording; `text` is the recording's text, which holds the marks.
    #[must_use]
    pub fn from_recording(recording: &Recording, text: &str) -> Self {
        let layouts: Vec<_> =
            recording.devices.iter().map(|device| Layout::from_descriptor(&device.descriptor).ok()).collect();
        let mut states = vec![Buttons::NONE; layouts.len()];
        let mut samples = Vec::new();
        // How many of `samples` come from the first n reports: unreadable reports are not in it.
        let mut places = vec![0];
        for report in &recording.reports {
            if let (Some(Some(layout)), Some(state)) =
                (layouts.get(report.device), states.get_mut(report.device))
                && layout.apply(&report.bytes, state).is_ok()
            {
                samples.push(ButtonSample { device: report.device, at: report.at, buttons: *state });
            }
            places.push(samples.len());
        }
        let marks: Vec<_> = marks(text)
            .filter_map(|(reports, kind)| Some(SessionMark { after: *places.get(reports)?, kind }))
            .collect();
        if marks.is_empty() {
            let marks = pauses(&samples);
            return Self { samples, marks, marked_by: MarkedBy::Pauses };
        }
        Self { samples, marks, marked_by: MarkedBy::Hand }
    }
}

/// Every mark with the number of reports that the recording has before it.
fn marks(text: &str) -> impl Iterator<Item = (usize, SessionMarkKind)> {
    let mut start = 0;
    let places = text.split_inclusive('\n').filter_map(move |line| {
        let before = text.get(..start);
        start += line.len();
        let comment = line.strip_prefix('#')?.trim();
        let words = comment.strip_prefix("mark")?;
        let kind = match words.split_whitespace().next() {
            Some("click") => SessionMarkKind::Click,
            _ if words.is_empty() || words.starts_with(char::is_whitespace) => SessionMarkKind::Turn,
            _ => return None,
        };
        // The recording's own reader decides which lines are reports; a session is short, so it may read anew.
        let reports = Recording::parse(before?).map_or(0, |recording| recording.reports.len());
        Some((reports, kind))
    });
    places.take(MARKS_MAX)
}

/// The beginning, the end, and every pause in which no button changed.
fn pauses(samples: &[ButtonSample]) -> Vec<SessionMark> {
    let mut changes = Vec::new();
    let mut states: Vec<(usize, Buttons)> = Vec::new();
    for (place, report) in samples.iter().enumerate() {
        match states.iter_mut().find(|(device, _)| *device == report.device) {
            None => states.push((report.device, report.buttons)),
            Some((_, buttons)) if *buttons != report.buttons => {
                *buttons = report.buttons;
                changes.push((place, report.at));
            }
            Some(_) => {}
        }
    }
    let Some((first, _)) = changes.first() else { return Vec::new() };
    let turn = |after| SessionMark { after, kind: SessionMarkKind::Turn };
    let between = changes.iter().zip(changes.iter().skip(1));
    std::iter::once(turn(*first))
        .chain(between.filter(|(one, next)| next.1.since(one.1) >= PAUSE).map(|(_, next)| turn(next.0)))
        .chain(std::iter::once(turn(samples.len())))
        .take(MARKS_MAX)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str =
        "I: 3 1209 7a11\nR: 23 05 01 09 04 a1 01 05 09 19 01 29 08 15 00 25 01 75 01 95 08 81 02 c0\n";

    #[test]
    fn marks_stand_between_reports() {
        let text = format!(
            "{HEAD}# mark slow\nE: 000000.100000 1 01\n# markings are something else\n# mark\nE: 000000.200000 9 01\n\
             E: 000000.300000 1 00\n#mark click\n# truth a=1\n"
        );
        let session = Session::from_recording(&Recording::parse(&text).unwrap(), &text);
        let places: Vec<_> = session.marks.iter().map(|mark| (mark.after, mark.kind)).collect();
        // The report of line 6 is no report: its length is wrong.
        assert_eq!(
            places,
            [(0, SessionMarkKind::Turn), (1, SessionMarkKind::Turn), (2, SessionMarkKind::Click)]
        );
        assert_eq!((session.samples.len(), session.marked_by), (2, MarkedBy::Hand));
    }

    #[test]
    fn without_marks_pauses_are_marks() {
        let text = format!(
            "{HEAD}E: 000000.000000 1 00\nE: 000000.100000 1 01\nE: 000000.900000 1 00\nE: 000002.900000 1 00\n\
             E: 000003.000000 1 01\nE: 000003.100000 1 00\n"
        );
        let session = Session::from_recording(&Recording::parse(&text).unwrap(), &text);
        let places: Vec<_> = session.marks.iter().map(|mark| mark.after).collect();
        assert_eq!((places.as_slice(), session.marked_by), ([1, 4, 6].as_slice(), MarkedBy::Pauses));
    }

    #[test]
    fn noise_gives_no_marks_and_no_panic() {
        for text in ["", "# mark", "\u{fffd}# mark\n#", "E: 1 \n# mark click"] {
            assert!(marks(text).all(|(reports, _)| reports == 0), "{text}");
        }
    }
}
