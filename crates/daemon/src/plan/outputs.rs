//! The outputs that the aircraft file asks for, in the words of the output crate.

use super::PlanError;
use tallywheel_output::{ConfigProblem, OutputConfig};
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
    }
}

fn trim_name(aircraft: &Aircraft, trim: TrimIndex) -> Option<String> {
    aircraft.trims.get(trim.get()).map(|trim| trim.name.clone())
}
