//! The last hour from its segments.

use super::segments::{FOLDER, board_of};
use crate::failure::Failure;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::time::Duration;
use tallywheel_hid_reader::{Mark, RecordedReport, Recording};
use tallywheel_units::{BoardIndex, Counts, Degrees, Margin, Timestamp};

/// What is older than this at the end is left out, by whole segments.
const HOUR: Duration = Duration::from_secs(3600);

/// Where a trim stood when its board's first segment began.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Start {
    /// The trim's place in the aircraft file.
    pub trim: usize,
    /// Degrees from the low stop.
    pub degrees: Degrees,
    /// How many counts that may be off.
    pub margin: Margin,
}

/// The last hour of all boards.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// The reports and marks of all boards, in the order of time.
    pub recording: Recording,
    /// Which board of the rig each device of the recording is.
    pub boards: Vec<BoardIndex>,
    /// Where the trims stood when the first segment of their board began.
    pub starts: Vec<Start>,
    /// Where trims were put on the way, and when the next report was read.
    pub placed: Vec<(Timestamp, Start)>,
}

/// Reads the last hour that a daemon kept below `logs`.
///
/// # Errors
/// Where there is none, or a file cannot be read.
pub fn find(logs: &Path) -> Result<Found, Failure> {
    let folder = logs.join(FOLDER);
    let none = || {
        Failure::Choice(format!(
            "there is no last hour in {}: it is kept while `tallywheel run` runs and a wheel is turned; if its log files \
             are elsewhere, name their folder with --log-dir",
            folder.display()
        ))
    };
    let mut boards: BTreeMap<_, Vec<_>> = BTreeMap::new();
    for entry in fs::read_dir(&folder).map_err(|_| none())?.flatten() {
        if let Some((board, number)) = entry.file_name().to_str().and_then(board_of) {
            boards.entry(board).or_default().push((number, entry.path()));
        }
    }
    let mut texts = Vec::new();
    for (index, mut segments) in boards {
        segments.sort();
        let mut board = Vec::new();
        for (_, path) in segments {
            match fs::read(&path) {
                Ok(bytes) => board.push(String::from_utf8_lossy(&bytes).into_owned()),
                // Thrown away by the daemon between looking and reading.
                Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
                Err(source) => return Err(Failure::File { path, source }),
            }
        }
        texts.push((index, board));
    }
    merge(&texts).ok_or_else(none)
}

/// Puts the segments of several boards together, each board's in their order. `None` where they hold nothing.
#[must_use]
pub fn merge(boards: &[(BoardIndex, Vec<String>)]) -> Option<Found> {
    let last = |segment: &String| {
        let recording = Recording::parse(segment).ok()?;
        let mark = recording.marks.last().map(|mark| mark.at);
        recording.reports.last().map(|report| report.at).max(mark)
    };
    let ends: Vec<Vec<Option<Timestamp>>> =
        boards.iter().map(|(_, board)| board.iter().map(last).collect()).collect();
    let end = ends.iter().flatten().flatten().max()?;
    let mut found =
        Found { recording: Recording::default(), boards: Vec::new(), starts: Vec::new(), placed: Vec::new() };
    let mut lines = Vec::new();
    for ((index, board), ends) in boards.iter().zip(&ends) {
        let recent = |of: &Option<Timestamp>| of.is_some_and(|of| end.since(of) <= HOUR);
        let kept: Vec<_> =
            board.iter().zip(ends).filter(|(_, of)| recent(of)).map(|(text, _)| text.as_str()).collect();
        // Each segment describes the same board again, which changes nothing.
        let Ok(recording) = Recording::parse(&kept.concat()) else { continue };
        let device = found.recording.devices.len();
        found.recording.devices.extend(recording.devices.into_iter().take(1));
        found.boards.push(*index);
        found.recording.bad_lines.extend(recording.bad_lines);
        found.starts.extend(kept.first().into_iter().flat_map(|text| starts(text)));
        let at = |(before, start): (usize, Start)| Some((recording.reports.get(before)?.at, start));
        found.placed.extend(placed(&kept).into_iter().filter_map(at));
        let mut marks = recording.marks.into_iter().peekable();
        for (place, report) in recording.reports.into_iter().enumerate() {
            while let Some(mark) = marks.next_if(|mark| mark.before <= place) {
                lines.push((mark.at, device, Line::Mark(mark)));
            }
            lines.push((report.at, device, Line::Report(report)));
        }
        lines.extend(marks.map(|mark| (mark.at, device, Line::Mark(mark))));
    }
    lines.sort_by_key(|(at, _, _)| *at);
    found.placed.sort_by_key(|(at, _)| *at);
    for (_, device, line) in lines {
        match line {
            Line::Report(report) => found.recording.reports.push(RecordedReport { device, ..report }),
            Line::Mark(mark) => {
                let before = found.recording.reports.len();
                found.recording.marks.push(Mark { device, before, ..mark });
            }
        }
    }
    Some(found)
}

enum Line {
    Report(RecordedReport),
    Mark(Mark),
}

/// What the segments say of where trims are on the way, each with the number of reports before it.
fn placed(segments: &[&str]) -> Vec<(usize, Start)> {
    let mut reports = 0;
    let mut placed = Vec::new();
    for (place, segment) in segments.iter().enumerate() {
        for line in segment.lines() {
            // What the first file begins with is where all begins.
            let begin = line.strip_prefix("# position ").filter(|_| place > 0);
            if line.starts_with("E:") {
                reports += 1;
            } else if let Some(start) = line.strip_prefix("# placed ").or(begin).and_then(start) {
                placed.push((reports, start));
            }
        }
    }
    placed
}

/// What the head of a segment says of the trims.
fn starts(segment: &str) -> Vec<Start> {
    let head = segment.lines().take_while(|line| !line.starts_with("E:"));
    let said = head.filter_map(|line| line.strip_prefix("# position "));
    said.filter_map(start).collect()
}

fn start(said: &str) -> Option<Start> {
    let mut words = said.split(' ');
    let trim = words.next()?.parse().ok()?;
    let degrees = Degrees::new(words.next()?.parse().ok()?)?;
    let (low, high) = (words.next()?.parse().ok()?, words.next()?.parse().ok()?);
    let margin = Margin::new(Counts::new(low), Counts::new(high));
    words.next().is_none().then_some(Start { trim, degrees, margin })
}
