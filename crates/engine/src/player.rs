//! Works through a recording in virtual time: the recording's clock is the only one, so the same files give
//! the same output, to the byte.

use crate::failure::Failure;
use crate::pipeline::{Pipeline, WheelEvent};
use crate::runtime_config::{BoardConfig, Names, RuntimeConfig};
use crate::tally::{Effect, Tally};
use std::collections::VecDeque;
use std::io::Read;
use std::path::Path;
use tallywheel_accumulator::Place;
use tallywheel_hid_reader::{MarkKind, RecordedDevice, Recording};
use tallywheel_units::{BoardIndex, Buttons, Margin, Timestamp, WheelIndex};

/// Reads a recording from a file, or from standard input for "-".
///
/// # Errors
/// Where it cannot be read or is no recording.
pub fn read(path: &Path) -> Result<Recording, Failure> {
    let mut bytes = Vec::new();
    let result = if path == Path::new("-") {
        std::io::stdin().lock().read_to_end(&mut bytes)
    } else {
        std::fs::File::open(path).and_then(|mut file| file.read_to_end(&mut bytes))
    };
    result.map_err(|source| Failure::File { path: path.to_owned(), source })?;
    // A byte that is no UTF-8 spoils its own line, not the recording.
    Recording::parse(&String::from_utf8_lossy(&bytes))
        .map_err(|source| Failure::Recording { path: path.to_owned(), source })
}

/// What came of a report.
#[derive(Debug, Clone, Copy)]
pub struct ReplayEvent {
    /// When the report was read.
    pub at: Timestamp,
    /// Which board sent it.
    pub board: BoardIndex,
    /// Which wheel it is about.
    pub wheel: WheelIndex,
    /// What it did.
    pub effect: Effect,
}

/// A recording on its way through decoders and tally.
#[derive(Debug)]
pub struct Player {
    names: Names,
    tally: Tally,
    /// One for each device of the recording; none where the rig has no such board.
    pipelines: Vec<Option<Pipeline>>,
    recording: Recording,
    next: usize,
    next_mark: usize,
    placed: VecDeque<(Timestamp, usize, Place, Margin)>,
    happened: Vec<ReplayEvent>,
}

impl Player {
    /// Finds for each recorded device its board in the rig: by vendor and product, or the only one.
    ///
    /// # Errors
    /// Where no board of the rig was recorded, or one cannot be decoded.
    pub fn new(plan: RuntimeConfig, recording: Recording) -> Result<Self, Failure> {
        let alone = plan.boards.len() == 1 && recording.devices.len() == 1;
        let fits = |device: &RecordedDevice, _, board: &BoardConfig| {
            let find = board.find();
            alone || (find.vendor == Some(device.vendor) && find.product == Some(device.product))
        };
        Self::matched(plan, recording, fits)
    }

    /// The same where it is known that the recorded device `n` is the rig's board `boards[n]`.
    ///
    /// # Errors
    /// As above.
    pub fn assigned(
        plan: RuntimeConfig,
        recording: Recording,
        boards: &[BoardIndex],
    ) -> Result<Self, Failure> {
        let fits =
            |_: &RecordedDevice, device, board: &BoardConfig| boards.get(device) == Some(&board.board());
        Self::matched(plan, recording, fits)
    }

    fn matched(
        plan: RuntimeConfig,
        recording: Recording,
        fits: impl Fn(&RecordedDevice, usize, &BoardConfig) -> bool,
    ) -> Result<Self, Failure> {
        let mut free = plan.boards;
        let mut pipelines = Vec::new();
        for (place, device) in recording.devices.iter().enumerate() {
            let fits = free.iter().position(|board| fits(device, place, board));
            let path = fits.map(|place| free.remove(place)).map(|board| {
                board.pipeline(&device.descriptor).map_err(|error| {
                    Failure::Choice(format!("board {}: {error}", plan.names.board(board.board())))
                })
            });
            pipelines.push(path.transpose()?);
        }
        if pipelines.iter().all(Option::is_none) {
            let recorded: Vec<_> =
                recording.devices.iter().map(|d| format!("{:04x}:{:04x}", d.vendor, d.product)).collect();
            let wanted: Vec<_> = free.iter().map(|board| plan.names.board(board.board())).collect();
            return Err(Failure::NoCommonBoard { recorded: recorded.join(", "), wanted: wanted.join(", ") });
        }
        Ok(Self {
            names: plan.names,
            tally: plan.tally,
            pipelines,
            recording,
            next: 0,
            next_mark: 0,
            placed: VecDeque::new(),
            happened: Vec::new(),
        })
    }

    /// What things are called.
    #[must_use]
    pub const fn names(&self) -> &Names {
        &self.names
    }

    /// The tally so far.
    #[must_use]
    pub const fn tally(&self) -> &Tally {
        &self.tally
    }

    /// The recording.
    #[must_use]
    pub const fn recording(&self) -> &Recording {
        &self.recording
    }

    /// When something happens next: a report was read, or silence has lasted long enough to tell something;
    /// `None` at the end.
    #[must_use]
    pub fn due(&self) -> Option<Timestamp> {
        let report = self.recording.reports.get(self.next).map(|report| report.at);
        let rest = resting(&self.pipelines).map(|(_, at)| at);
        [report, rest].into_iter().flatten().min()
    }

    /// The rig's board that the recorded device at `device` is, if it is one.
    #[must_use]
    pub fn board(&self, device: usize) -> Option<BoardIndex> {
        self.pipelines.get(device)?.as_ref().map(Pipeline::board)
    }

    /// The buttons of a recorded device as last reported.
    #[must_use]
    pub fn buttons(&self, device: usize) -> Buttons {
        self.pipelines.get(device).and_then(Option::as_ref).map_or(Buttons::NONE, Pipeline::buttons)
    }

    /// The place of the next report in the recording.
    #[must_use]
    pub const fn next(&self) -> usize {
        self.next
    }

    /// Changes the tally before anything is counted.
    pub fn tally_mut(&mut self) -> &mut Tally {
        &mut self.tally
    }

    /// Puts trims somewhere just before the report that is read at these times or later, in the order of time.
    pub fn place(&mut self, placed: impl IntoIterator<Item = (Timestamp, usize, Place, Margin)>) {
        self.placed.extend(placed);
    }

    /// When the last report was read.
    #[must_use]
    pub fn end(&self) -> Timestamp {
        self.recording.reports.last().map_or(Timestamp::START, |report| report.at)
    }

    /// Takes the next report, mark or silence and answers what came of it; `None` at the end.
    pub fn step(&mut self) -> Option<&[ReplayEvent]> {
        self.happened.clear();
        let Self { pipelines, recording, tally, happened, .. } = self;
        let report = recording.reports.get(self.next);
        let mark = recording.marks.get(self.next_mark).filter(|mark| mark.before <= self.next);
        let next = mark.map(|mark| mark.at).or(report.map(|report| report.at));
        if let Some((place, at)) = resting(pipelines).filter(|(_, at)| next.is_none_or(|next| *at < next)) {
            if let Some(pipeline) = pipelines.get_mut(place).and_then(Option::as_mut) {
                note(happened, at, pipeline.board(), pipeline.rest(at, tally));
            }
            return Some(happened);
        }
        if let Some(mark) = mark {
            self.next_mark += 1;
            if let Some(pipeline) = pipelines.get_mut(mark.device).and_then(Option::as_mut) {
                match mark.kind {
                    MarkKind::Unplugged => {
                        note(happened, mark.at, pipeline.board(), pipeline.unplugged(mark.at, tally));
                    }
                    MarkKind::Gap { .. } => pipeline.gap(mark.at, tally),
                }
            }
            return Some(happened);
        }
        let report = report?;
        self.next += 1;
        while let Some((_, trim, place, margin)) = self.placed.pop_front_if(|(at, ..)| *at <= report.at) {
            tally.resume(trim, place, margin);
        }
        if let Some(pipeline) = pipelines.get_mut(report.device).and_then(Option::as_mut) {
            note(happened, report.at, pipeline.board(), pipeline.report(report.at, &report.bytes, tally));
        }
        Some(happened)
    }
}

/// The board whose silence tells something next, and when.
fn resting(pipelines: &[Option<Pipeline>]) -> Option<(usize, Timestamp)> {
    let boards = pipelines.iter().enumerate();
    boards
        .filter_map(|(place, pipeline)| Some((place, pipeline.as_ref()?.deadline()?)))
        .min_by_key(|(_, at)| *at)
}

fn note(happened: &mut Vec<ReplayEvent>, at: Timestamp, board: BoardIndex, found: &[WheelEvent]) {
    let event =
        |WheelEvent { wheel, effect }: &WheelEvent| ReplayEvent { at, board, wheel: *wheel, effect: *effect };
    happened.extend(found.iter().map(event));
}
