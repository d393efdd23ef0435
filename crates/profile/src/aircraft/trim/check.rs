use super::curve::curve;
use super::file::{Angle, START_WORDS, StartAt, TrimFile};
use super::{Position, Start, Trim, TrimOrigin};
use crate::names::Name;
use crate::read::{At, Field, Key, List, Map, Mistakes, Setting, optional};
use crate::words;
use tallywheel_units::{Degrees, Ratio};

/// The most positions and the most ratios that a trim may have.
const MOST: usize = 16;

/// Tells every mistake in one trim; a trim and where it is written, if there is enough to make one.
pub(crate) fn trim(table: &TrimFile, byte: usize, mistakes: &Mistakes<'_>) -> Option<(Trim, TrimOrigin)> {
    let travel = mistakes.required(&table.travel_degrees, byte, "trim.travel_degrees").map(|travel| travel.0);
    if let Some(field) = &table.neutral_degrees
        && let Some(Angle(neutral)) = field.setting()
    {
        within(mistakes, field.byte, "trim.neutral_degrees", travel, *neutral);
    }
    let positions = positions(&table.positions, travel, mistakes);
    let start = start(&table.start, travel, positions.as_deref(), mistakes);
    let ratios = ratios(&table.ratios, travel, mistakes);
    let neutral = match optional(&table.neutral_degrees) {
        Some(Some(neutral)) => Some(neutral.0),
        Some(None) => travel.and_then(|travel| Degrees::new(travel.get() / 2.0)),
        None => None,
    };
    // A curve can only be judged between ends that are known and in order.
    let ends = travel.zip(neutral).filter(|(travel, neutral)| neutral <= travel);
    let curve = curve(&table.curve, ends, mistakes);
    let travel = travel?;
    let name_field = table.name.as_ref()?;
    let name = name_field.setting()?.0.clone();
    let (ratios, ratio_places) = ratios?;
    let origin = TrimOrigin {
        wheel: mistakes.source().at(table.wheel.as_ref().map_or(name_field.byte, |field| field.byte)),
        names_wheel: table.wheel.is_some(),
        travel: mistakes.source().at(table.travel_degrees.as_ref()?.byte),
        ratios: ratio_places,
    };
    let trim = Trim {
        wheel: optional(&table.wheel)?.map_or_else(|| name.clone(), |wheel| wheel.0.clone()),
        name,
        travel,
        neutral: neutral?,
        stops: optional(&table.stops)?.copied().unwrap_or_default(),
        reversed: optional(&table.reversed)?.copied().unwrap_or(false),
        positions: positions?,
        start: start?,
        report: optional(&table.report)?.copied().unwrap_or_default(),
        curve: curve?,
        smoothing: optional(&table.smoothing_ms)?.map(|smoothing| smoothing.get()),
        ratios,
    };
    Some((trim, origin))
}

/// Tells when `place` is past the travel, if that is known.
fn within(mistakes: &Mistakes<'_>, byte: usize, path: &str, travel: Option<Degrees>, place: Degrees) {
    if let Some(travel) = travel
        && place > travel
    {
        let expected = format!("degrees from 0 to the travel, {}", travel.get());
        mistakes.tell(byte, path, expected, place.get().to_string());
    }
}

fn positions(
    positions: &Map<Angle>,
    travel: Option<Degrees>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<Position>> {
    let Some(field) = positions else { return Some(Vec::new()) };
    // In the order of the file.
    let mut entries: Vec<_> = field.value.as_ref()?.iter().collect();
    entries.sort_by_key(|(name, _)| name.span().start);
    if let Some((surplus, _)) = entries.get(MOST) {
        let expected = format!("at most {MOST} positions");
        mistakes.tell(surplus.span().start, "trim.positions", expected, entries.len().to_string());
    }
    let mut complete = true;
    let mut known = Vec::new();
    for (name, place) in entries.into_iter().take(MOST) {
        let text = name.get_ref().as_str();
        let key = if text.is_empty() { words::quoted(text) } else { words::bare(text) };
        let path = format!("trim.positions.{key}");
        if START_WORDS.contains(&text) {
            let expected = "a name that does not mean a place already";
            mistakes.tell(name.span().start, path.as_str(), expected, words::quoted(text));
        } else if Name::from_text(text).is_none() {
            mistakes.tell(name.span().start, path.as_str(), Name::expected(), words::quoted(text));
        }
        match place.setting() {
            Some(Angle(at)) => {
                within(mistakes, place.byte, &path, travel, *at);
                known.push(Position { name: text.to_owned(), at: *at });
            }
            None => complete = false,
        }
    }
    complete.then_some(known)
}

fn start(
    start: &Key<StartAt>,
    travel: Option<Degrees>,
    positions: Option<&[Position]>,
    mistakes: &Mistakes<'_>,
) -> Option<Start> {
    let Some(field) = start else { return Some(Start::Saved) };
    match field.setting()? {
        StartAt::Saved => Some(Start::Saved),
        StartAt::Neutral => Some(Start::Neutral),
        StartAt::Low => Some(Start::Low),
        StartAt::High => Some(Start::High),
        StartAt::Simulator => Some(Start::Simulator),
        StartAt::Degrees(place) => {
            within(mistakes, field.byte, "trim.start", travel, *place);
            Some(Start::At(*place))
        }
        StartAt::Named(name) => {
            // One that could not be read may be the one meant.
            let positions = positions?;
            if let Some(position) = positions.iter().find(|position| position.name == *name) {
                return Some(Start::At(position.at));
            }
            let known = START_WORDS.into_iter().chain(positions.iter().map(|p| p.name.as_str()));
            let expected = match words::nearest(name, known.clone()) {
                Some(near) => format!("{} or another place", words::quoted(near)),
                None => {
                    let mut known: Vec<_> = known.map(words::quoted).collect();
                    known.push("degrees from 0 to the travel".to_owned());
                    words::one_of(&known)
                }
            };
            mistakes.tell(field.byte, "trim.start", expected, words::quoted(name));
            None
        }
    }
}

fn ratios(
    ratios: &List<Ratio>,
    travel: Option<Degrees>,
    mistakes: &Mistakes<'_>,
) -> Option<(Vec<Ratio>, Vec<At>)> {
    const PATH: &str = "trim.ratios";
    let Some(field) = ratios else {
        return Some((vec![Ratio::DIRECT], Vec::new()));
    };
    let list = field.value.as_ref()?;
    if list.is_empty() {
        mistakes.tell(field.byte, PATH, "at least one ratio", "an empty list");
        return None;
    }
    if let Some(surplus) = list.get(MOST) {
        mistakes.tell(surplus.byte, PATH, format!("at most {MOST} ratios"), list.len().to_string());
    }
    let mut known: Vec<Ratio> = Vec::new();
    let mut places = Vec::new();
    let mut complete = true;
    for element in list.iter().take(MOST) {
        let Some(ratio) = element.setting().copied() else {
            complete = false;
            continue;
        };
        if known.contains(&ratio) {
            mistakes.tell(element.byte, PATH, "each ratio once", format!("{ratio} again"));
        }
        if let Some(travel) = travel
            && travel.get() / ratio.get() > Degrees::LONGEST_TRAVEL.get()
        {
            let least = travel.get() / Degrees::LONGEST_TRAVEL.get();
            // Rounded up, so that taking the figure from the message works.
            let least = (least * 1e6).ceil() / 1e6;
            let expected = format!("at least {least}, so that the travel is at most 100 turns of the wheel");
            mistakes.tell(element.byte, PATH, expected, ratio.to_string());
        }
        known.push(ratio);
        places.push(mistakes.source().at(element.byte));
    }
    complete.then_some((known, places))
}

/// A wheel that moved two trims would mostly be a table copied and not finished.
pub(crate) fn tell_shared_wheels(tables: &[Field<TrimFile>], mistakes: &Mistakes<'_>) {
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
