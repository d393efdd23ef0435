use crate::{ConfigProblem, OutputError};
use std::io;
use tallywheel_units::Buttons;

/// A board whose wheels nobody else sees: not on a system that has no event devices.
#[derive(Debug)]
#[cfg_attr(test, expect(unreachable_pub, reason = "public where it is the system's own"))]
pub struct HiddenBoard(());

impl HiddenBoard {
    /// Tells that it cannot be done.
    ///
    /// # Errors
    /// None.
    #[cfg_attr(test, expect(unreachable_pub, reason = "public where it is the system's own"))]
    pub fn start(
        _hidraw: &str,
        _wheels: Buttons,
        mut tell: impl FnMut(Result<String, OutputError>) + Send + 'static,
    ) -> io::Result<Self> {
        tell(Err(ConfigProblem::NoKernelDriver.into()));
        Ok(Self(()))
    }

    /// It never began.
    #[must_use]
    #[cfg_attr(test, expect(unreachable_pub, reason = "public where it is the system's own"))]
    pub const fn has_ended(&self) -> bool {
        let Self(()) = self;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_says_that_there_is_no_driver() {
        let (send, told) = std::sync::mpsc::channel();
        let tell = move |what| send.send(what).unwrap();
        let hidden = HiddenBoard::start("/dev/hidraw0", Buttons::NONE, tell).unwrap();
        assert!(hidden.has_ended());
        let error = told.recv().unwrap().unwrap_err();
        assert!(error.to_string().contains("kernel driver"), "{error}");
    }
}
