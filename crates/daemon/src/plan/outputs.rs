//! The outputs that the aircraft file asks for, in the words of the output crate.

use super::PlanError;
use tallywheel_output::{ConfigProblem, OutputConfig, Pace, StepsTrim};
use tallywheel_profile as profile;
use tallywheel_profile::{Aircraft, Rig};
use tallywheel_units::TrimIndex;

/// The aircraft's outputs, each of which can be opened as far as the files alone decide.
///
/// An axis may stand among them on a system that has none, so that aircraft files can be shared, as long as
/// another output works there: opening it then says in the log what is the matter, and so does `check`.
pub(super) fn configs(rig: &Rig, aircraft: &Aircraft) -> Result<Vec<OutputConfig>, PlanError> {
    let configs: Vec<_> = aircraft.outputs.iter().map(|output| config(rig, aircraft, output)).collect();
    let some_work = configs.iter().any(|config| config.check().is_ok());
    for config in &configs {
        match config.check() {
            Ok(()) => {}
            Err(ConfigProblem::NoKernelDriver) if some_work => {}
            Err(source) => return Err(PlanError::Output { output: config.name(), source }),
        }
    }
    Ok(configs)
}

fn config(rig: &Rig, aircraft: &Aircraft, output: &profile::Output) -> OutputConfig {
    match output {
        profile::Output::Axis { device, axes } => OutputConfig::Axis {
            device_name: device.clone().unwrap_or_else(|| rig.device_name()),
            axes: axes.clone(),
        },
        profile::Output::Datagram { to, template, trims } => OutputConfig::Datagram {
            to: *to,
            template: match template {
                profile::Template::Json => tallywheel_output::Template::Json,
                profile::Template::Line => tallywheel_output::Template::Line,
            },
            trims: trims.iter().filter_map(|trim| Some((*trim, trim_name(aircraft, *trim)?))).collect(),
        },
        profile::Output::Steps(steps) => OutputConfig::Steps {
            device_name: steps.device.clone().unwrap_or_else(|| rig.steps_device_name()),
            trims: steps.trims.iter().map(|&(trim, low, high)| StepsTrim { trim, low, high }).collect(),
            pace: pace(steps),
        },
    }
}

fn pace(steps: &profile::Steps) -> Pace {
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

    const AIRCRAFT: &str = "name = \"Plover\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 720\n\
                            [[output]]\nkind = \"steps\"\npresses = 200\n";

    fn steps(keys: &str) -> OutputConfig {
        let rig = tallywheel_profile::rig("rig.toml", include_str!("../../../../config/rig.toml")).unwrap();
        let aircraft = tallywheel_profile::aircraft("plover.toml", &format!("{AIRCRAFT}{keys}")).unwrap();
        configs(&rig, &aircraft).unwrap().remove(0)
    }

    #[test]
    fn a_steps_output_has_the_defaults_of_its_crate() {
        let OutputConfig::Steps { device_name, trims, pace } = steps("") else { panic!("no steps") };
        assert_eq!(device_name, "Tallywheel bench steps");
        assert_eq!(pace, Pace::new(200));
        assert_eq!((trims[0].low.get(), trims[0].high.get(), trims.len()), (1, 2, 1));
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
