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
