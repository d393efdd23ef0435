use super::{ReportSource, SourceError};
use crate::recording::{RecordedReport, Recording};
use std::time::Duration;
use tallywheel_units::Timestamp;

/// The reports of one device of a recording, as fast as they are asked for.
///
/// It has no clock. Whoever wants the recording's own pace asks when the next report is [due](Self::due).
#[derive(Debug)]
pub struct RecordedSource {
    reports: std::vec::IntoIter<RecordedReport>,
}

impl RecordedSource {
    /// The reports of the device at `device` in `recording`.
    #[must_use]
    pub fn new(recording: Recording, device: usize) -> Self {
        let reports: Vec<_> =
            recording.reports.into_iter().filter(|report| report.device == device).collect();
        Self { reports: reports.into_iter() }
    }

    /// When the next report was read; `None` at the end.
    #[must_use]
    pub fn due(&self) -> Option<Timestamp> {
        self.reports.as_slice().first().map(|report| report.at)
    }
}

impl ReportSource for RecordedSource {
    /// Never waits.
    fn read(&mut self, buffer: &mut [u8], _wait: Option<Duration>) -> Result<usize, SourceError> {
        let report = self.reports.next().ok_or(SourceError::Finish)?;
        Ok(super::copy(&report.bytes, buffer))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_devices_reports_in_order_and_then_the_end() {
        let text =
            "D: 0\nE: 000000.000000 2 01 02\nD: 1\nE: 000000.000001 1 ff\nD: 0\nE: 000000.000005 1 03\n";
        let mut source = RecordedSource::new(Recording::parse(text).unwrap(), 0);
        let mut buffer = [0; 8];
        assert_eq!(source.due(), Some(Timestamp::START));
        assert_eq!(source.read(&mut buffer, None), Ok(2));
        assert_eq!(buffer[..2], [1, 2]);
        assert_eq!(source.due(), Some(Timestamp::from_micros(5)));
        assert_eq!(source.read(&mut buffer[..0], None), Ok(0));
        assert_eq!(source.due(), None);
        assert_eq!(source.read(&mut buffer, None), Err(SourceError::Finish));
    }
}
