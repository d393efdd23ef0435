use super::{Course, Place};
use crate::{ConfigProblem, Output, OutputError};
use tallywheel_profile::AxisCode;

/// Systems other than Linux take a virtual joystick only from a kernel driver, which this is not.
pub(super) const fn check() -> Result<(), ConfigProblem> {
    Err(ConfigProblem::NoKernelDriver)
}

/// Fails with what [`check`] says.
pub(super) fn open(
    _name: String,
    _device_name: &str,
    _places: &[Place],
    _declared: &[AxisCode],
    _course: Course,
) -> Result<Box<dyn Output>, OutputError> {
    Err(ConfigProblem::NoKernelDriver.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_error_says_what_to_use_instead() {
        assert_eq!(check(), Err(ConfigProblem::NoKernelDriver));
        let error = open(String::new(), "Tallywheel bench", &[], &[], Course::Whole).map(|_| ()).unwrap_err();
        assert_eq!(
            error.to_string(),
            "virtual axes and buttons need a kernel driver, and this system has none: use a datagram output, or steps with keys"
        );
    }
}
