//! Beside the log: appends samples to segments of a recording, one set for each board.

use super::filter::RecordedSample;
use crate::events::BoardEvent;
use crate::pipeline::Pipeline;
use crate::runtime_config::{BoardConfig, Names, RuntimeConfig};
use crate::tally::Tally;
use std::collections::VecDeque;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;
use tallywheel_accumulator::Place;
use tallywheel_hid_reader::{MarkKind, RecordedDevice, RecordingWriter};
use tallywheel_units::{BoardIndex, Timestamp};

/// The folder of segments in the folder of log files.
pub const FOLDER: &str = "last-hour";
/// The end of a segment's file name.
pub(super) const ENDING: &str = ".hid";
const SEGMENT: Duration = Duration::from_secs(600);
const SEGMENT_BYTES: u64 = 4 * 1024 * 1024;
const SEGMENTS: usize = 7;

/// Keeps the last hour.
///
/// A second tally counts what is recorded, so that each segment can say where the trims stood at its begin;
/// it is what a replay of the recording comes to, whatever the first tally knows beyond.
#[derive(Debug)]
pub struct Recorder {
    folder: PathBuf,
    names: Names,
    tally: Tally,
    boards: Vec<Board>,
}

#[derive(Debug)]
struct Board {
    plan: BoardConfig,
    device: Option<Box<RecordedDevice>>,
    path: Option<Pipeline>,
    segment: Option<Segment>,
    /// Segments in the folder, the oldest first.
    kept: VecDeque<PathBuf>,
    next_segment: u64,
    next_number: Option<u32>,
    /// Nothing is tried before, since the disk refused.
    refused_until: Option<Timestamp>,
    /// A trim was put somewhere, which the next line has to say.
    anew: bool,
}

#[derive(Debug)]
struct Segment {
    begin: Timestamp,
    writer: RecordingWriter<Counted<BufWriter<File>>>,
}

/// Counts the bytes that go through.
#[derive(Debug)]
struct Counted<W> {
    to: W,
    bytes: u64,
}

impl<W: Write> Write for Counted<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.to.write(bytes)?;
        self.bytes = self.bytes.saturating_add(u64::try_from(written).unwrap_or(u64::MAX));
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}

impl Recorder {
    /// Keeps the boards of `plan` below `logs`, and forgets what a daemon before this one left there: its
    /// clock was another one.
    #[must_use]
    pub fn new(logs: &Path, plan: RuntimeConfig) -> Self {
        let folder = logs.join(FOLDER);
        for entry in fs::read_dir(&folder).into_iter().flatten().flatten() {
            if entry.path().extension().is_some_and(|ending| ending == "hid") {
                let _ = fs::remove_file(entry.path());
            }
        }
        let RuntimeConfig { names, boards, tally, .. } = plan;
        Self { folder, names, tally, boards: boards.into_iter().map(Board::new).collect() }
    }

    /// Takes what there is to record in a note. What cannot be written is logged once and not tried again
    /// for the length of a segment.
    pub fn note(&mut self, note: &BoardEvent) {
        let (at, index) = match note {
            BoardEvent::Device { board, device } => {
                if let Some(board) = find(&mut self.boards, *board) {
                    board.begin(device.clone());
                }
                return;
            }
            BoardEvent::Report { board, sample } => (sample.at, *board),
            BoardEvent::Unplugged { board, at } => (*at, *board),
            _ => return,
        };
        let Self { folder, names, tally, boards } = self;
        let Some(board) = find(boards, index) else { return };
        let written = match note {
            BoardEvent::Report { sample, .. } => board.report(folder, names, tally, sample),
            _ => board.unplugged(at, tally),
        };
        if let Err(error) = written {
            tracing::warn!(
                board = names.board(index),
                folder = %folder.display(),
                "the last hour cannot be recorded: {error}"
            );
            board.segment = None;
            board.refused_until = Some(at.after(SEGMENT));
        }
    }

    /// A trim was put to a place that is certain; the recording cannot tell.
    pub fn align(&mut self, trim: usize, place: Place) {
        self.tally.align(trim, place);
        self.boards.iter_mut().for_each(|board| board.anew = true);
    }

    /// A trim has another ratio, which the recording cannot tell.
    pub fn ratio(&mut self, trim: usize, ratio: usize) {
        self.tally.ratio(trim, ratio);
        self.boards.iter_mut().for_each(|board| board.anew = true);
    }

    /// Rig or aircraft changed, as for [`Tally::adopt`]. With another aircraft what was recorded before is thrown
    /// away: the page is made of one aircraft.
    pub fn adopt(&mut self, plan: RuntimeConfig, kept: &[Option<usize>]) {
        let RuntimeConfig { names, boards, tally, .. } = plan;
        let same_aircraft = names.aircraft == self.names.aircraft;
        let (trims, reversed) = tally.into_parts();
        self.tally.adopt(trims, kept, reversed);
        self.names = names;
        let mut before = std::mem::take(&mut self.boards);
        for plan in boards {
            let place = before.iter().position(|board| board.plan.board() == plan.board());
            let mut board = place.map_or_else(|| Board::new(plan.clone()), |place| before.swap_remove(place));
            board.replan(plan);
            if !same_aircraft {
                board.forget();
            }
            self.boards.push(board);
        }
        before.iter_mut().for_each(Board::forget);
    }

    /// Hands everything to the system; costs nothing if there is nothing.
    pub fn flush(&mut self) {
        for board in &mut self.boards {
            if let Some(segment) = &mut board.segment {
                // What fails here fails again with the next report, and is said then.
                let _ = segment.writer.get_mut().flush();
            }
        }
    }
}

fn find(boards: &mut [Board], index: BoardIndex) -> Option<&mut Board> {
    boards.iter_mut().find(|board| board.plan.board() == index)
}

impl Board {
    const fn new(plan: BoardConfig) -> Self {
        Self {
            plan,
            device: None,
            path: None,
            segment: None,
            kept: VecDeque::new(),
            next_segment: 0,
            next_number: None,
            refused_until: None,
            anew: false,
        }
    }

    /// The rig or the aircraft changed.
    fn replan(&mut self, plan: BoardConfig) {
        if let Some(device) = &self.device {
            let next = plan.pipeline(&device.descriptor).ok();
            self.path = match (next, &self.path) {
                (Some(mut next), Some(path)) => {
                    next.take_over(path);
                    Some(next)
                }
                (next, _) => next,
            };
        }
        self.plan = plan;
        self.anew = true;
    }

    /// Throws away what was recorded.
    fn forget(&mut self) {
        self.segment = None;
        for path in self.kept.drain(..) {
            let _ = fs::remove_file(path);
        }
    }

    /// The board was opened; what follows is from another plug or even another board.
    fn begin(&mut self, device: Box<RecordedDevice>) {
        self.path = self.plan.pipeline(&device.descriptor).ok();
        self.device = Some(device);
        self.next_number = None;
        self.segment = None;
    }

    fn report(
        &mut self,
        folder: &Path,
        names: &Names,
        tally: &mut Tally,
        sample: &RecordedSample,
    ) -> io::Result<()> {
        let at = sample.at;
        let missing = self.next_number.map_or(0, |next| sample.number.wrapping_sub(next));
        self.next_number = Some(sample.number.wrapping_add(1));
        if self.refused_until.is_some_and(|until| at < until) {
            return Ok(());
        }
        self.refused_until = None;
        let due = self.segment.as_mut().is_none_or(|segment| {
            at.since(segment.begin) >= SEGMENT || segment.writer.get_mut().bytes >= SEGMENT_BYTES
        });
        if due {
            self.roll(folder, names, tally, at)?;
        }
        let Some(segment) = &mut self.segment else { return Ok(()) };
        if std::mem::take(&mut self.anew) {
            say_positions(&mut segment.writer, "placed", self.plan.board(), names, tally)?;
        }
        if missing > 0 {
            segment.writer.mark_of(0, at, MarkKind::Gap { reports: u64::from(missing) })?;
            if let Some(path) = &mut self.path {
                path.gap(at, tally);
            }
        }
        segment.writer.report(at, sample.bytes())?;
        if let Some(path) = &mut self.path {
            path.report(at, sample.bytes(), tally);
        }
        Ok(())
    }

    fn unplugged(&mut self, at: Timestamp, tally: &mut Tally) -> io::Result<()> {
        if let Some(path) = &mut self.path {
            path.unplugged(at, tally);
        }
        match &mut self.segment {
            Some(segment) => segment.writer.mark_of(0, at, MarkKind::Unplugged),
            None => Ok(()),
        }
    }

    /// Begins a new segment and throws away the oldest.
    fn roll(&mut self, folder: &Path, names: &Names, tally: &Tally, begin: Timestamp) -> io::Result<()> {
        let Some(device) = &self.device else { return Ok(()) };
        // The old one is closed before the new one is made, so that its last bytes are on disk.
        if let Some(mut old) = self.segment.take() {
            old.writer.get_mut().flush()?;
        }
        fs::create_dir_all(folder)?;
        let index = self.plan.board();
        let path = folder.join(format!("{}-{:06}{ENDING}", index.get(), self.next_segment));
        let file = BufWriter::new(File::create(&path)?);
        self.next_segment += 1;
        self.kept.push_back(path);
        let mut writer = RecordingWriter::new(Counted { to: file, bytes: 0 }, device)?;
        writer.comment(&format!("board {} of rig {}, kept by tallywheel", names.board(index), names.rig))?;
        say_positions(&mut writer, "position", index, names, tally)?;
        self.anew = false;
        self.segment = Some(Segment { begin, writer });
        while self.kept.len() > SEGMENTS {
            if let Some(oldest) = self.kept.pop_front() {
                let _ = fs::remove_file(oldest);
            }
        }
        Ok(())
    }
}

/// Where the trims on a board's wheels are, one comment each.
fn say_positions<W: Write>(
    writer: &mut RecordingWriter<W>,
    word: &str,
    board: BoardIndex,
    names: &Names,
    tally: &Tally,
) -> io::Result<()> {
    for (place, trim) in tally.trims().iter().enumerate() {
        if names.board_index(trim.wheel) == Some(board) {
            let reading = trim.reading();
            let (low, high) = (reading.margin.low(), reading.margin.high());
            writer.comment(&format!("{word} {place} {} {low} {high}", reading.degrees.get()))?;
        }
    }
    Ok(())
}

/// The board that a segment's file name tells.
pub(super) fn board_of(name: &str) -> Option<(BoardIndex, u64)> {
    let (board, number) = name.strip_suffix(ENDING)?.split_once('-')?;
    Some((BoardIndex::new(board.parse().ok()?), number.parse().ok()?))
}
