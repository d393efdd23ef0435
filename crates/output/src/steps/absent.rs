use crate::{ConfigProblem, Output, OutputError};
use tallywheel_profile::{Pace, StepsTrim};
use tallywheel_units::{AxisValue, Timestamp};

/// Systems other than Linux take virtual buttons only from a kernel driver, which this is not.
pub(super) const fn check() -> Result<(), ConfigProblem> {
    Err(ConfigProblem::NoKernelDriver)
}

/// Fails with what [`check`] says.
pub(super) fn open(
    _name: String,
    _device_name: &str,
    _pace: Pace,
    _places: &[(StepsTrim, AxisValue)],
    _at: Timestamp,
) -> Result<Box<dyn Output>, OutputError> {
    Err(ConfigProblem::NoKernelDriver.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ways_say_that_there_is_no_driver() {
        assert_eq!(check(), Err(ConfigProblem::NoKernelDriver));
        let error = open(String::new(), "b", Pace::new(1), &[], Timestamp::START).map(|_| ()).unwrap_err();
        assert!(error.to_string().contains("kernel driver"), "{error}");
    }
}
