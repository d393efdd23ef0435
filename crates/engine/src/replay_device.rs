//! A recording in the place of the boards: `tallywheel run --recording`.
//!
//! Everything else is as with a board: its thread, the tally, the outputs, the log. So a set-up can be tried, and
//! tested, without a wheel in the hand.

use crate::clock::Clock;
use crate::device_manager::{Opened, Opener};
use std::thread;
use std::time::Duration;
use tallywheel_hid_reader::{BoardMatch, RecordedSource, Recording, ReportSource, SourceError};
use tallywheel_units::Timestamp;

/// The boards of a recording, each plugged in once.
pub struct ReplayDevices {
    recording: Recording,
    taken: Vec<usize>,
    clock: Clock,
}

impl ReplayDevices {
    /// Plays `recording`, from its first report on, as soon as a board is opened.
    #[must_use]
    pub const fn new(recording: Recording, clock: Clock) -> Self {
        Self { recording, taken: Vec::new(), clock }
    }
}

impl Opener for ReplayDevices {
    type Board = ReplayDevice;

    /// The first recorded board that is not open yet and has the numbers that the rig file asks for. A recording
    /// has neither serial numbers nor paths.
    fn open(&mut self, find: &BoardMatch) -> Result<(ReplayDevice, Opened), SourceError> {
        let is = |wanted: Option<u16>, number| wanted.is_none_or(|wanted| wanted == number);
        let mut devices = self.recording.devices.iter().enumerate();
        let (place, device) = devices
            .find(|(place, device)| {
                is(find.vendor, device.vendor)
                    && is(find.product, device.product)
                    && !self.taken.contains(place)
            })
            .ok_or(SourceError::AwaitPlug)?;
        self.taken.push(place);
        let opened =
            Opened { path: "recording".to_owned(), name: device.name.clone(), device: device.clone() };
        // Boards that were recorded together play together.
        let first = self.recording.reports.first().map_or(Timestamp::START, |report| report.at);
        let source = RecordedSource::new(self.recording.clone(), place);
        Ok((ReplayDevice { source, first, start: self.clock.now(), clock: self.clock }, opened))
    }
}

/// One board of a recording, at the pace at which it was recorded.
pub struct ReplayDevice {
    source: RecordedSource,
    /// When the recording's first report was recorded.
    first: Timestamp,
    start: Timestamp,
    clock: Clock,
}

impl ReplayDevice {
    /// How long until the next report, `None` after the last.
    fn wait(&self) -> Option<Duration> {
        let due = self.start.after(self.source.due()?.since(self.first));
        Some(due.since(self.clock.now()))
    }
}

impl ReportSource for ReplayDevice {
    /// After the last report it is a board at rest, for ever.
    fn read(&mut self, buffer: &mut [u8], wait: Option<Duration>) -> Result<usize, SourceError> {
        let next = match (self.wait(), wait) {
            (Some(next), Some(most)) if next > most => {
                thread::sleep(most);
                return Ok(0);
            }
            (Some(next), _) => next,
            (None, Some(most)) => {
                thread::sleep(most);
                return Ok(0);
            }
            (None, None) => loop {
                thread::park();
            },
        };
        thread::sleep(next);
        self.source.read(buffer, None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "D: 0\nN: main\nI: 3 1209 7a11\nR: 1 c0\nD: 1\nN: second\nI: 3 1209 7a12\nR: 1 c0\n\
        D: 0\nE: 000005.000000 1 01\nD: 1\nE: 000005.020000 1 02\nD: 0\nE: 000005.040000 1 03\n";

    fn find(product: u16) -> BoardMatch {
        BoardMatch { vendor: Some(0x1209), product: Some(product), serial: None, path: None }
    }

    #[test]
    fn boards_are_found_by_their_numbers_once_each() {
        let clock = Clock::start();
        let mut playing = ReplayDevices::new(Recording::parse(TEXT).unwrap(), clock);
        let none = playing.open(&find(0x7a13)).map(|(_, opened)| opened.name);
        assert_eq!(none, Err(SourceError::AwaitPlug));
        assert_eq!(playing.open(&find(0x7a12)).unwrap().1.name, "second");
        let any = BoardMatch { vendor: None, product: None, serial: Some("A-2".into()), path: None };
        assert_eq!(playing.open(&any).unwrap().1.name, "main");
        assert!(playing.open(&any).is_err());
    }

    #[test]
    fn reports_come_no_earlier_than_they_were_recorded() {
        let clock = Clock::start();
        let mut playing = ReplayDevices::new(Recording::parse(TEXT).unwrap(), clock);
        let (mut main, _) = playing.open(&find(0x7a11)).unwrap();
        let (mut second, _) = playing.open(&find(0x7a12)).unwrap();
        let mut buffer = [0; 4];
        assert_eq!((main.read(&mut buffer, None), buffer[0]), (Ok(1), 1));
        assert_eq!(second.read(&mut buffer, Some(Duration::ZERO)).map(|_| ()), Ok(()));
        while second.source.due().is_some() {
            second.read(&mut buffer, Some(Duration::from_millis(1))).unwrap();
        }
        assert!(clock.now().since(second.start) >= Duration::from_millis(20));
        assert_eq!((main.read(&mut buffer, None), buffer[0]), (Ok(1), 3));
        assert!(clock.now().since(main.start) >= Duration::from_millis(40));
        let rest = Some(Duration::from_millis(1));
        assert_eq!(main.read(&mut buffer, rest), Ok(0), "it rests and does not go away");
    }
}
