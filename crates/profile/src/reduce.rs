use crate::{Aircraft, DatagramConfig, LayoutField, NumberSource, OutputConfig, Rig, Template, words};
use std::fmt;
use tallywheel_units::TrimIndex;

/// A part of an aircraft file that a rig has no wheel for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LeftOut {
    /// A trim.
    Trim {
        /// Its name.
        trim: String,
        /// The name of the wheel that the rig does not have.
        wheel: String,
        /// The rig's name.
        rig: String,
    },
    /// An output of which no trim is left, or whose datagram cannot be written without one.
    Output {
        /// The output's kind and where it leads.
        output: String,
    },
}

impl fmt::Display for LeftOut {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Trim { trim, wheel, rig } => {
                write!(f, "trim {trim} is left out: rig {rig} has no wheel {wheel}")
            }
            Self::Output { output } => write!(f, "{output} is left out: it needs a trim that is left out"),
        }
    }
}

/// The aircraft as `rig` can use it, and what is left out: trims whose wheel the rig does not have, and outputs that
/// cannot do without them.
///
/// A trim stays, so that [`crate::fit()`] tells the mistake, where its wheel's name resembles that of a wheel of the
/// rig; all of them stay where none would be left.
#[must_use]
pub fn reduce(rig: &Rig, aircraft: &Aircraft) -> (Aircraft, Vec<LeftOut>) {
    let wheels = || rig.wheels.iter().map(|wheel| wheel.name.as_str());
    let stays: Vec<bool> =
        aircraft.trims.iter().map(|trim| words::nearest(&trim.wheel, wheels()).is_some()).collect();
    if stays.iter().all(|stays| *stays) || !stays.contains(&true) {
        return (aircraft.clone(), Vec::new());
    }
    // Where each trim of the file is among those that stay.
    let mut places = Vec::with_capacity(stays.len());
    let mut next = 0_u8;
    for stays in &stays {
        places.push(stays.then_some(TrimIndex::new(next)));
        next = next.saturating_add(u8::from(*stays));
    }
    let mut reduced = aircraft.clone();
    let mut left_out = Vec::new();
    for (trim, stays) in aircraft.trims.iter().zip(&stays) {
        if !stays {
            left_out.push(LeftOut::Trim {
                trim: trim.name.clone(),
                wheel: trim.wheel.clone(),
                rig: rig.name.clone(),
            });
        }
    }
    keep(&mut reduced.trims, &stays);
    keep(&mut reduced.origin.trims, &stays);
    let place = |trim: TrimIndex| places.get(trim.get()).copied().flatten();
    reduced.outputs.retain_mut(|output| {
        let usable = is_usable(output, &place);
        if !usable {
            left_out.push(LeftOut::Output { output: output.name() });
        }
        usable
    });
    (reduced, left_out)
}

fn keep<T>(list: &mut Vec<T>, stays: &[bool]) {
    let mut stays = stays.iter().copied();
    list.retain(|_| stays.next().unwrap_or(true));
}

/// Takes the trims that are left out from the output; false if it cannot do without them.
fn is_usable(output: &mut OutputConfig, place: &impl Fn(TrimIndex) -> Option<TrimIndex>) -> bool {
    if let OutputConfig::Datagram(DatagramConfig { template: Template::Layout(fields), .. }) = output
        && !LayoutField::trims(fields).iter().all(|trim| place(*trim).is_some())
    {
        return false;
    }
    match output {
        OutputConfig::Axis { axes, .. } => moved(axes, |(trim, _)| trim, place),
        OutputConfig::Steps { trims, .. } => moved(trims, |pressed| &mut pressed.trim, place),
        OutputConfig::Keys { trims, .. } => moved(trims, |pressed| &mut pressed.trim, place),
        OutputConfig::Datagram(DatagramConfig { template: Template::Layout(fields), .. }) => {
            for field in fields {
                if let LayoutField::Number { source: NumberSource::Trim(trim, _), .. } = field {
                    *trim = place(*trim).unwrap_or(*trim);
                }
            }
            true
        }
        OutputConfig::Datagram(config) => moved(&mut config.trims, |(trim, _)| trim, place),
    }
}

/// Takes the entries of trims that are left out from `list` and gives the others their trim's new place; false if none
/// is left.
fn moved<T>(
    list: &mut Vec<T>,
    trim: impl Fn(&mut T) -> &mut TrimIndex,
    place: &impl Fn(TrimIndex) -> Option<TrimIndex>,
) -> bool {
    list.retain_mut(|entry| {
        let trim = trim(entry);
        place(*trim).map(|new| *trim = new).is_some()
    });
    !list.is_empty()
}
