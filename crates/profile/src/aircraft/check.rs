use super::file::{AircraftFile, Angle, TrimFile};
use super::{Aircraft, Origin, Start, Trim, TrimOrigin, output};
use crate::names::Names;
use crate::read::{Field, Mistakes, optional};
use crate::words;
use tallywheel_units::Degrees;

/// The most trims that an aircraft may have.
const MOST: usize = 64;

/// Tells every mistake in an aircraft file; an aircraft, if there is enough to make one.
pub(crate) fn check(file: &AircraftFile, mistakes: &Mistakes<'_>) -> Option<Aircraft> {
    let name = mistakes.required(&file.name, 0, "name");
    let tables = mistakes.tables(&file.trim, "trim", MOST);
    let names = Names::of(tables, "trim", |trim: &TrimFile| &trim.name, mistakes);
    let trims: Vec<_> = tables
        .iter()
        .map(|field| field.value.as_ref().and_then(|table| trim(table, field.byte, mistakes)))
        .collect();
    tell_shared_wheels(tables, mistakes);

    let outputs = output::check::all(&file.output, &names, mistakes);

    let (trims, places) = trims.into_iter().collect::<Option<Vec<_>>>()?.into_iter().unzip();
    Some(Aircraft {
        name: name?.0.clone(),
        trims,
        outputs: outputs?,
        origin: Origin { file: mistakes.source().file().to_owned(), trims: places },
    })
}

fn trim(table: &TrimFile, byte: usize, mistakes: &Mistakes<'_>) -> Option<(Trim, TrimOrigin)> {
    let TrimFile { name, wheel, travel_degrees, neutral_degrees, stops, reversed, start } = table;
    let travel = mistakes.required(travel_degrees, byte, "trim.travel_degrees").map(|travel| travel.0);
    if let (Some(travel), Some(field)) = (travel, neutral_degrees)
        && let Some(Angle(neutral)) = field.setting()
        && *neutral > travel
    {
        tell_outside(mistakes, field.byte, "trim.neutral_degrees", travel, *neutral);
    }
    if let (Some(travel), Some(field)) = (travel, start)
        && let Some(Start::At(place)) = field.setting()
        && *place > travel
    {
        tell_outside(mistakes, field.byte, "trim.start", travel, *place);
    }
    let travel = travel?;
    let middle = Degrees::new(travel.get() / 2.0)?;
    let name_field = name.as_ref()?;
    let name = name_field.setting()?.0.clone();
    let origin = TrimOrigin {
        wheel: mistakes.source().at(wheel.as_ref().map_or(name_field.byte, |field| field.byte)),
        names_wheel: wheel.is_some(),
        travel: mistakes.source().at(travel_degrees.as_ref()?.byte),
    };
    let trim = Trim {
        wheel: optional(wheel)?.map_or_else(|| name.clone(), |wheel| wheel.0.clone()),
        name,
        travel,
        neutral: optional(neutral_degrees)?.map_or(middle, |neutral| neutral.0),
        stops: optional(stops)?.copied().unwrap_or_default(),
        reversed: optional(reversed)?.copied().unwrap_or(false),
        start: optional(start)?.copied().unwrap_or(Start::Neutral),
    };
    Some((trim, origin))
}

fn tell_outside(mistakes: &Mistakes<'_>, byte: usize, path: &str, travel: Degrees, found: Degrees) {
    mistakes.tell(
        byte,
        path,
        format!("degrees from 0 to the travel, {}", travel.get()),
        found.get().to_string(),
    );
}

/// A wheel that moved two trims would mostly be a table copied and not finished.
fn tell_shared_wheels(tables: &[Field<TrimFile>], mistakes: &Mistakes<'_>) {
    let mut seen: Vec<(&str, usize)> = Vec::new();
    for table in tables.iter().filter_map(|field| field.value.as_ref()) {
        let Some(field) = table.wheel.as_ref().or(table.name.as_ref()) else { continue };
        let Some(wheel) = field.setting().map(|name| name.0.as_str()) else { continue };
        match seen.iter().find(|(other, _)| *other == wheel) {
            // Two trims of one name have been told already.
            Some(_) if table.wheel.is_none() => {}
            Some((_, first)) => {
                let line = mistakes.source().at(*first).line;
                let found = format!("{}, as on line {line}", words::quoted(wheel));
                mistakes.tell(field.byte, "trim.wheel", "a wheel that moves no other trim", found);
            }
            None => seen.push((wheel, field.byte)),
        }
    }
}
