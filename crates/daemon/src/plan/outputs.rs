//! The outputs that the aircraft file asks for, in the words of the output crate.

use super::PlanError;
use tallywheel_output::{DatagramConfig, OutputConfig};
use tallywheel_profile::{Aircraft, Output, Rig};
use tallywheel_units::TrimIndex;

/// The aircraft's outputs, each of which can be opened as far as the files alone decide.
pub(super) fn configs(rig: &Rig, aircraft: &Aircraft) -> Result<Vec<OutputConfig>, PlanError> {
    let configs: Vec<_> = aircraft.outputs.iter().map(|output| config(rig, aircraft, output)).collect();
    for config in &configs {
        config.check().map_err(|source| PlanError::Output { output: config.name(), source })?;
    }
    Ok(configs)
}

fn config(rig: &Rig, aircraft: &Aircraft, output: &Output) -> OutputConfig {
    match output {
        Output::Axis { device, axes, scale } => OutputConfig::Axis {
            device_name: device.clone().unwrap_or_else(|| rig.device_name()),
            axes: axes.clone(),
            declared: Vec::new(),
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
    }
}

fn trim_name(aircraft: &Aircraft, trim: TrimIndex) -> Option<String> {
    aircraft.trims.get(trim.get()).map(|trim| trim.name.clone())
}
