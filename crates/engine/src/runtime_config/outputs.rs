//! The outputs that the aircraft file asks for, in the words of the output crate.

use super::RuntimeConfigError;
use tallywheel_output::{ConfigProblem, DatagramConfig, OutputConfig, Pace, StepsTrim};
use tallywheel_profile::{Aircraft, AxisCode, Output, Pressed, Rig, Steps};
use tallywheel_units::TrimIndex;

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
        aircraft.outputs.iter().map(|output| config(rig, aircraft, all_aircraft, output)).collect();
    let some_work = configs.iter().any(|config| config.check().is_ok());
    for config in &configs {
        match config.check() {
            Ok(()) => {}
            Err(ConfigProblem::NoKernelDriver | ConfigProblem::NoKeys) if some_work => {}
            Err(source) => return Err(RuntimeConfigError::Output { output: config.name(), source }),
        }
    }
    Ok(configs)
}

fn config(rig: &Rig, aircraft: &Aircraft, all_aircraft: &[Aircraft], output: &Output) -> OutputConfig {
    match output {
        Output::Axis { device, axes, scale } => OutputConfig::Axis {
            device_name: device.clone().unwrap_or_else(|| rig.device_name()),
            axes: axes.clone(),
            declared: axes_of(device.as_deref(), all_aircraft),
            scale: *scale,
        },
        Output::Datagram { to, template, trims, scale, min_interval, keep_alive } => {
            OutputConfig::Datagram(DatagramConfig {
                to: to.clone(),
                template: template.clone(),
                trims: trims.iter().filter_map(|trim| Some((*trim, trim_name(aircraft, *trim)?))).collect(),
                scale: *scale,
                min_interval: *min_interval,
                keep_alive: *keep_alive,
            })
        }
        Output::Steps(steps) => match &steps.pressed {
            Pressed::Buttons { device, trims } => OutputConfig::Steps {
                device_name: device.clone().unwrap_or_else(|| rig.steps_device_name()),
                trims: pressed(trims),
                pace: pace(steps),
            },
            Pressed::Keys(trims) => OutputConfig::Keys { trims: pressed(trims), pace: pace(steps) },
        },
    }
}

fn pressed<B: Copy>(trims: &[(TrimIndex, B, B)]) -> Vec<StepsTrim<B>> {
    trims.iter().map(|&(trim, low, high)| StepsTrim { trim, low, high }).collect()
}

/// All axes that some aircraft has on this joystick.
fn axes_of(joystick: Option<&str>, all_aircraft: &[Aircraft]) -> Vec<AxisCode> {
    let outputs = all_aircraft.iter().flat_map(|aircraft| &aircraft.outputs);
    let used: Vec<_> = outputs
        .filter_map(|output| match output {
            Output::Axis { device, axes, .. } if device.as_deref() == joystick => Some(axes),
            _ => None,
        })
        .flatten()
        .map(|(_, axis)| *axis)
        .collect();
    AxisCode::ALL.into_iter().filter(|axis| used.contains(axis)).collect()
}

fn pace(steps: &Steps) -> Pace {
    let usual = Pace::new(steps.presses);
    Pace {
        presses: steps.presses,
        press: steps.press.unwrap_or(usual.press),
        pause: steps.pause.unwrap_or(usual.pause),
        extra: steps.extra.unwrap_or(usual.extra),
        settle: steps.settle.unwrap_or(usual.settle),
    }
}

fn trim_name(aircraft: &Aircraft, trim: TrimIndex) -> Option<String> {
    aircraft.trims.get(trim.get()).map(|trim| trim.name.clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

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
    fn a_steps_output_has_the_defaults_of_its_crate() {
        let OutputConfig::Steps { device_name, trims, pace } = steps("") else { panic!("no steps") };
        assert_eq!(device_name, "Tallywheel bench steps");
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
        let OutputConfig::Steps { device_name, trims, pace } = steps(keys) else { panic!("no steps") };
        assert_eq!(device_name, "Pad");
        let ms = Duration::from_millis;
        assert_eq!(pace, Pace { presses: 200, press: ms(1), pause: ms(2), extra: 4, settle: ms(8) });
        assert_eq!((trims[0].low.get(), trims[0].high.get()), (7, 5));
    }
}
