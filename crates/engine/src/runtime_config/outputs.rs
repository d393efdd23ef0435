//! The outputs that the aircraft file asks for, on a rig.

use super::RuntimeConfigError;
use tallywheel_output::{ConfigProblem, check};
use tallywheel_profile::{Aircraft, OutputConfig, Rig};

/// The aircraft's outputs, each of which can be opened as far as the files alone decide.
///
/// A virtual joystick has the axes of every aircraft of the `all_aircraft` that uses it, so that it stays the same joystick
/// whatever is flown. It, or keys, may stand among them on a system that has none, so that aircraft files can be shared, as
/// long as another output works there: opening it then says in the log what is the matter, and so does `check`.
pub(super) fn configs(
    rig: &Rig,
    aircraft: &Aircraft,
    all_aircraft: &[Aircraft],
) -> Result<Vec<OutputConfig>, RuntimeConfigError> {
    let configs: Vec<_> =
        aircraft.outputs.iter().map(|output| output.clone().on(rig, all_aircraft)).collect();
    let some_work = configs.iter().any(|config| check(config).is_ok());
    for config in &configs {
        match check(config) {
            Ok(()) => {}
            Err(ConfigProblem::NoKernelDriver | ConfigProblem::NoKeys) if some_work => {}
            Err(source) => return Err(RuntimeConfigError::Output { output: config.name(), source }),
        }
    }
    Ok(configs)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;
    use tallywheel_profile::{AxisCode, Pace};

    const AIRCRAFT: &str = "name = \"Tindlow\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 720\n\
                            [[output]]\nkind = \"steps\"\npresses = 200\n";

    fn steps(keys: &str) -> OutputConfig {
        let rig = tallywheel_profile::rig("rig.toml", include_str!("../../../../config/rig.toml")).unwrap();
        let aircraft = tallywheel_profile::aircraft("tindlow.toml", &format!("{AIRCRAFT}{keys}")).unwrap();
        configs(&rig, &aircraft, &[]).unwrap().remove(0)
    }

    #[test]
    fn a_joystick_has_the_axes_of_all_aircraft_that_use_it() {
        let rig = tallywheel_profile::rig("rig.toml", include_str!("../../../../config/rig.toml")).unwrap();
        let aircraft = |name: &str, keys: &str| {
            let text = format!(
                "name = \"{name}\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 720\n[[output]]\nkind = \"axis\"\n{keys}"
            );
            tallywheel_profile::aircraft("a.toml", &text).unwrap()
        };
        let first = aircraft("a", "axes = { rudder = \"rz\" }\n");
        let second = aircraft("b", "axes = { rudder = \"y\" }\n");
        let other = aircraft("c", "device = \"other\"\naxes = { rudder = \"rx\" }\n");
        let OutputConfig::Axis { declared, .. } =
            configs(&rig, &first, &[other, first.clone(), second]).unwrap().remove(0)
        else {
            panic!("no axis")
        };
        assert_eq!(declared, [AxisCode::Y, AxisCode::Rz]);
    }

    #[test]
    fn a_steps_output_has_the_defaults() {
        let OutputConfig::Steps { device, trims, pace } = steps("") else { panic!("no steps") };
        assert_eq!(device.unwrap().as_str(), "Tallywheel bench steps");
        assert_eq!(pace, Pace::new(200));
        assert_eq!((trims[0].low.get(), trims[0].high.get(), trims.len()), (1, 2, 1));
    }

    #[test]
    fn keys_stand_beside_an_output_that_works_here() {
        let keys = "low_keys.rudder = \"F13\"\nhigh_keys.rudder = \"F14\"\n[[output]]\nkind = \"datagram\"\n\
                    to = \"127.0.0.1:9\"\n";
        let OutputConfig::Keys { trims, pace } = steps(keys) else { panic!("no keys") };
        assert_eq!(pace, Pace::new(200));
        assert_eq!((trims[0].low.name(), trims[0].high.name(), trims.len()), ("F13", "F14", 1));
    }

    #[test]
    fn a_steps_output_has_what_the_file_says() {
        let keys = "device = \"Pad\"\nlow_buttons.rudder = 7\nhigh_buttons.rudder = 5\npress_ms = 1\n\
                    pause_ms = 2\nextra_presses = 4\nsettle_ms = 8\n";
        let OutputConfig::Steps { device, trims, pace } = steps(keys) else { panic!("no steps") };
        assert_eq!(device.unwrap().as_str(), "Pad");
        let ms = Duration::from_millis;
        assert_eq!(pace, Pace { presses: 200, press: ms(1), pause: ms(2), extra: 4, settle: ms(8) });
        assert_eq!((trims[0].low.get(), trims[0].high.get()), (7, 5));
    }
}
