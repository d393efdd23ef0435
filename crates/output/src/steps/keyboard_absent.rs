use crate::{ConfigProblem, Output, OutputError};
use tallywheel_profile::{KeysTrim, Pace};
use tallywheel_units::{AxisValue, Timestamp};

/// Where there are virtual buttons, which go to the simulator alone, no key is pressed that any window may take.
pub(super) const fn check() -> Result<(), ConfigProblem> {
    Err(ConfigProblem::NoKeys)
}

/// Fails with what [`check`] says.
pub(super) fn open(
    _name: String,
    _pace: Pace,
    _places: &[(KeysTrim, AxisValue)],
    _at: Timestamp,
) -> Result<Box<dyn Output>, OutputError> {
    Err(ConfigProblem::NoKeys.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ways_say_what_to_use_instead() {
        assert_eq!(check(), Err(ConfigProblem::NoKeys));
        let error = open(String::new(), Pace::new(1), &[], Timestamp::START).map(|_| ()).unwrap_err();
        assert!(error.to_string().contains("`low_buttons`"), "{error}");
    }
}
