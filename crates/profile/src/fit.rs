use crate::error::{FileError, FileErrors};
use crate::read::At;
use crate::words;
use crate::{Aircraft, Rig, Wheel};
use tallywheel_units::{CountsPerTurn, Degrees, FixedCounts, Ratio, TrimIndex, WheelIndex};

/// One trim of an aircraft on a wheel of a rig.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fitted {
    /// The trim.
    pub trim: TrimIndex,
    /// Its wheel.
    pub wheel: WheelIndex,
    /// Counts in one turn of that wheel.
    pub per_turn: CountsPerTurn,
    /// Whether a count forward moves the trim towards the low stop: the wheel or the trim is reversed, but
    /// not both.
    pub reversed: bool,
}

/// Puts an aircraft on a rig: every trim, in the order of the aircraft, with its wheel.
///
/// # Errors
/// Trims whose wheel the rig does not have, and travels that are less than one count on their wheel. The
/// places are those in the aircraft's file.
pub fn fit(rig: &Rig, aircraft: &Aircraft) -> Result<Vec<Fitted>, FileErrors> {
    let mut fitted = Vec::with_capacity(aircraft.trims.len());
    let mut errors = Vec::new();
    let error = |at: At, key: &str, expected: String, found: String| FileError {
        file: aircraft.origin.file.clone(),
        line: at.line,
        column: at.column,
        key: key.to_owned(),
        expected,
        found,
    };
    for (place, (trim, origin)) in aircraft.trims.iter().zip(&aircraft.origin.trims).enumerate() {
        let Some((wheel_place, wheel)) = wheel_named(rig, &trim.wheel) else {
            let wheels = words::one_of_quoted(rig.wheels.iter().map(|wheel| &wheel.name));
            let of_rig = format!("the name of a wheel of the rig {}: {wheels}", words::quoted(&rig.name));
            let (key, expected) = if origin.names_wheel {
                ("trim.wheel", of_rig)
            } else {
                ("trim.name", format!("the key `wheel` with {of_rig}, or one of these as the trim's name"))
            };
            errors.push(error(origin.wheel, key, expected, words::quoted(&trim.wheel)));
            continue;
        };
        let least_count = |ratio: &Ratio| {
            let wheel_travel = Degrees::new(trim.travel.get() / ratio.get());
            wheel_travel
                .is_some_and(|travel| FixedCounts::from_degrees(travel, wheel.per_turn) >= FixedCounts::ONE)
        };
        if let Some((place, ratio)) = trim.ratios.iter().enumerate().find(|(_, ratio)| !least_count(ratio)) {
            let degrees_of_trim = Degrees::FULL_TURN.get() / f64::from(wheel.per_turn.get()) * ratio.get();
            let name = words::quoted(&wheel.name);
            // Rounded towards what is right, so that taking the figure from the message works.
            errors.push(match origin.ratios.get(place) {
                Some(at) if trim.ratios.len() > 1 => {
                    let most = (trim.travel.get() / degrees_of_trim * ratio.get() * 1e6).floor() / 1e6;
                    let expected = format!(
                        "at most {most}, so that the travel is at least one count of the wheel {name}"
                    );
                    error(*at, "trim.ratios", expected, ratio.to_string())
                }
                _ => {
                    let count = (degrees_of_trim * 1e6).ceil() / 1e6;
                    let expected = format!("at least one count of the wheel {name}, {count} degrees");
                    error(origin.travel, "trim.travel_degrees", expected, trim.travel.get().to_string())
                }
            });
            continue;
        }
        // Both lists have at most 64 entries.
        let (Ok(trim_place), Ok(wheel_place)) = (u8::try_from(place), u8::try_from(wheel_place)) else {
            continue;
        };
        fitted.push(Fitted {
            trim: TrimIndex::new(trim_place),
            wheel: WheelIndex::new(wheel_place),
            per_turn: wheel.per_turn,
            reversed: wheel.reversed != trim.reversed,
        });
    }
    if errors.is_empty() { Ok(fitted) } else { Err(FileErrors::new(errors, 0)) }
}

fn wheel_named<'r>(rig: &'r Rig, name: &str) -> Option<(usize, &'r Wheel)> {
    rig.wheels.iter().enumerate().find(|(_, wheel)| wheel.name == name)
}
