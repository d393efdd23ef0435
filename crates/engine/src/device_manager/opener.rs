//! How boards are opened: the real ones, and whatever stands in their place.

use tallywheel_hid_reader::{BoardMatch, Hid, OpenBoard, RecordedDevice, ReportSource, SourceError};

/// Opens boards.
pub trait Opener: Send + 'static {
    /// What reports are read from.
    type Board: ReportSource + 'static;

    /// Opens the board that `find` means.
    ///
    /// # Errors
    /// [`SourceError`]
    fn open(&mut self, find: &BoardMatch) -> Result<(Self::Board, Opened), SourceError>;
}

/// What an opened board says of itself.
#[derive(Debug, Clone)]
pub struct Opened {
    /// Where the system has it.
    pub path: String,
    /// What it is called.
    pub name: String,
    /// All of it that a recording holds, its report descriptor among it.
    pub device: RecordedDevice,
}

/// Opens real boards. The library is loaded when the first is looked for.
#[derive(Default)]
pub struct HidOpener(Option<Hid>);

impl Opener for HidOpener {
    type Board = OpenBoard;

    fn open(&mut self, find: &BoardMatch) -> Result<(OpenBoard, Opened), SourceError> {
        let opened = match &mut self.0 {
            Some(hid) => hid.open(find),
            None => Hid::new().and_then(|new| self.0.insert(new).open(find)),
        };
        if matches!(opened, Err(SourceError::GiveUp { .. })) {
            self.0 = None;
        }
        opened.map(|board| {
            let (path, name) = (board.path().to_owned(), board.name().to_owned());
            let opened = Opened { path, name, device: board.recorded() };
            (board, opened)
        })
    }
}
