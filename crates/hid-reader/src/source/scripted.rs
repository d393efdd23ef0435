use super::{ReportSource, SourceError};
use std::collections::VecDeque;
use std::time::Duration;

/// One thing that a scripted source does when it is read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ScriptStep {
    /// A report comes.
    Report(Vec<u8>),
    /// The wait is over, or a signal came, without a report.
    Nothing,
    /// Reading fails.
    Fail(SourceError),
}

/// A source that does what a script says, for tests of whatever reads one.
#[derive(Debug, Clone, Default)]
pub struct ScriptedSource {
    steps: VecDeque<ScriptStep>,
}

impl ScriptedSource {
    /// A source that takes these steps, one each time it is read, and then says
    /// [`SourceError::Finish`].
    #[must_use]
    pub fn new(steps: impl IntoIterator<Item = ScriptStep>) -> Self {
        Self { steps: steps.into_iter().collect() }
    }
}

impl ReportSource for ScriptedSource {
    /// Never waits.
    fn read(&mut self, buffer: &mut [u8], _wait: Option<Duration>) -> Result<usize, SourceError> {
        match self.steps.pop_front() {
            Some(ScriptStep::Report(report)) => Ok(super::copy(&report, buffer)),
            Some(ScriptStep::Nothing) => Ok(0),
            Some(ScriptStep::Fail(error)) => Err(error),
            None => Err(SourceError::Finish),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_follows_the_script() {
        let gone = SourceError::Reopen { reason: "unplugged".to_owned() };
        let steps = [
            ScriptStep::Report(vec![7, 8]),
            ScriptStep::Nothing,
            ScriptStep::Fail(gone.clone()),
            ScriptStep::Report(vec![9]),
        ];
        let mut source: Box<dyn ReportSource> = Box::new(ScriptedSource::new(steps));
        let mut buffer = [0; 1];
        assert_eq!(source.read(&mut buffer, None), Ok(1), "a short buffer cuts the report off");
        assert_eq!(buffer, [7]);
        assert_eq!(source.read(&mut buffer, Some(Duration::ZERO)), Ok(0));
        assert_eq!(source.read(&mut buffer, None), Err(gone));
        assert_eq!(source.read(&mut buffer, None), Ok(1));
        assert_eq!(source.read(&mut buffer, None), Err(SourceError::Finish));
    }
}
