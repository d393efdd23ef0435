//! Beside the log: appends samples to segments of a recording, one set for each board.

use crate::events::BoardEvent;
use crate::recording_filter::{RecordedPosition, RecordedSample, SEGMENT};
use crate::runtime_config::Names;
use std::collections::VecDeque;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use tallywheel_hid_reader::{MarkKind, RecordedDevice, RecordingWriter};
use tallywheel_units::{BoardIndex, Timestamp};

/// The folder of segments in the folder of log files.
pub const FOLDER: &str = "last-hour";
/// The end of a segment's file name.
pub(super) const ENDING: &str = ".hid";
const SEGMENT_BYTES: u64 = 4 * 1024 * 1024;
const SEGMENTS: usize = 7;

/// Keeps the last hour.
///
/// It counts nothing: the readers' threads post where the trims are with those samples before which that has to be known.
#[derive(Debug)]
pub struct Recorder {
    folder: PathBuf,
    names: Names,
    boards: Vec<Board>,
    wants_positions: bool,
}

#[derive(Debug)]
struct Board {
    board: BoardIndex,
    device: Box<RecordedDevice>,
    segment: Option<Segment>,
    /// Segments in the folder, the oldest first.
    kept: VecDeque<PathBuf>,
    next_segment: u64,
    next_number: Option<u32>,
    /// What was posted of the trims since the last sample.
    positions: Vec<RecordedPosition>,
    /// Nothing is tried before, since the disk refused.
    refused_until: Option<Timestamp>,
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
    /// Keeps the last hour below `logs`, and forgets what a daemon before this one left there: its clock was another one.
    #[must_use]
    pub fn new(logs: &Path, names: Names) -> Self {
        let folder = logs.join(FOLDER);
        for entry in fs::read_dir(&folder).into_iter().flatten().flatten() {
            if entry.path().extension().is_some_and(|ending| ending == "hid") {
                let _ = fs::remove_file(entry.path());
            }
        }
        Self { folder, names, boards: Vec::new(), wants_positions: false }
    }

    /// Takes what there is to record in an event. What cannot be written is logged once and not tried again
    /// for the length of a segment.
    pub fn take(&mut self, event: &BoardEvent) {
        let Self { folder, names, boards, wants_positions } = self;
        let (at, index, written) = match event {
            BoardEvent::Device { board, device } => {
                match find(boards, *board) {
                    Some(board) => board.begin(device.clone()),
                    None => boards.push(Board::new(*board, device.clone())),
                }
                return;
            }
            BoardEvent::Position { board, position } => {
                if let Some(board) = find(boards, *board) {
                    board.positions.push(*position);
                }
                return;
            }
            BoardEvent::Report { board: index, sample } => {
                let Some(board) = find(boards, *index) else { return };
                (sample.at, *index, board.report(folder, names, sample))
            }
            BoardEvent::Unplugged { board: index, at } => {
                let Some(board) = find(boards, *index) else { return };
                (*at, *index, board.unplugged(*at).map(|()| false))
            }
            _ => return,
        };
        match written {
            Ok(wants) => *wants_positions |= wants,
            Err(error) => {
                tracing::warn!(
                    board = names.board(index),
                    folder = %folder.display(),
                    "the last hour cannot be recorded: {error}"
                );
                if let Some(board) = find(boards, index) {
                    board.segment = None;
                    board.refused_until = Some(at.after(SEGMENT));
                }
            }
        }
    }

    /// Whether the readers are to say once more where the trims are, since what they said did not get through or came
    /// before a new file was due. Asking ends the wish.
    #[must_use]
    pub const fn take_wish(&mut self) -> bool {
        std::mem::replace(&mut self.wants_positions, false)
    }

    /// Rig or aircraft changed; `boards` are the rig's. With another aircraft what was recorded before is thrown away: the
    /// page is made of one aircraft.
    pub fn apply(&mut self, names: Names, boards: &[BoardIndex]) {
        let same_aircraft = names.aircraft == self.names.aircraft;
        self.names = names;
        for board in &mut self.boards {
            if !same_aircraft || !boards.contains(&board.board) {
                board.forget();
            }
        }
        self.boards.retain(|board| boards.contains(&board.board));
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
    boards.iter_mut().find(|board| board.board == index)
}

impl Board {
    const fn new(board: BoardIndex, device: Box<RecordedDevice>) -> Self {
        Self {
            board,
            device,
            segment: None,
            kept: VecDeque::new(),
            next_segment: 0,
            next_number: None,
            positions: Vec::new(),
            refused_until: None,
        }
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
        self.device = device;
        self.next_number = None;
        self.segment = None;
        self.positions.clear();
    }

    /// Writes a sample; says whether the readers are to say again where the trims are.
    fn report(&mut self, folder: &Path, names: &Names, sample: &RecordedSample) -> io::Result<bool> {
        let at = sample.at;
        let missing = self.next_number.map_or(0, |next| sample.number.wrapping_sub(next));
        self.next_number = Some(sample.number.wrapping_add(1));
        let told = std::mem::take(&mut self.positions);
        if self.refused_until.is_some_and(|until| at < until) {
            return Ok(false);
        }
        self.refused_until = None;
        // Some of them may not have got through.
        let told = sample.positions.filter(|number| usize::from(*number) == told.len()).map(|_| told);
        let due = self.segment.as_mut().is_none_or(|segment| {
            at.since(segment.begin) >= SEGMENT || segment.writer.get_mut().bytes >= SEGMENT_BYTES
        });
        let mut wanted = false;
        match told {
            Some(positions) if due => self.roll(folder, names, at, &positions)?,
            Some(positions) => {
                if let Some(segment) = &mut self.segment {
                    say_positions(&mut segment.writer, "placed", &positions)?;
                }
            }
            None => wanted = due,
        }
        let Some(segment) = &mut self.segment else { return Ok(wanted) };
        if missing > 0 {
            segment.writer.mark_of(0, at, MarkKind::Gap { reports: u64::from(missing) })?;
            // What a replay makes of the gap is that it knows nothing.
            wanted = true;
        }
        segment.writer.report(at, sample.bytes())?;
        Ok(wanted)
    }

    fn unplugged(&mut self, at: Timestamp) -> io::Result<()> {
        match &mut self.segment {
            Some(segment) => segment.writer.mark_of(0, at, MarkKind::Unplugged),
            None => Ok(()),
        }
    }

    /// Begins a new segment and throws away the oldest.
    fn roll(
        &mut self,
        folder: &Path,
        names: &Names,
        begin: Timestamp,
        positions: &[RecordedPosition],
    ) -> io::Result<()> {
        // The old one is closed before the new one is made, so that its last bytes are on disk.
        if let Some(mut old) = self.segment.take() {
            old.writer.get_mut().flush()?;
        }
        fs::create_dir_all(folder)?;
        let index = self.board;
        let path = folder.join(format!("{}-{:06}{ENDING}", index.get(), self.next_segment));
        let file = BufWriter::new(File::create(&path)?);
        self.next_segment += 1;
        self.kept.push_back(path);
        let mut writer = RecordingWriter::new(Counted { to: file, bytes: 0 }, &self.device)?;
        writer.comment(&format!("board {} of rig {}, kept by tallywheel", names.board(index), names.rig))?;
        say_positions(&mut writer, "position", positions)?;
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
    positions: &[RecordedPosition],
) -> io::Result<()> {
    for RecordedPosition { trim, degrees, margin } in positions {
        let (low, high) = (margin.low(), margin.high());
        writer.comment(&format!("{word} {trim} {} {low} {high}", degrees.get()))?;
    }
    Ok(())
}

/// The board that a segment's file name tells.
pub(super) fn board_of(name: &str) -> Option<(BoardIndex, u64)> {
    let (board, number) = name.strip_suffix(ENDING)?.split_once('-')?;
    Some((BoardIndex::new(board.parse().ok()?), number.parse().ok()?))
}
