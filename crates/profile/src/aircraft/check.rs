use super::file::AircraftFile;
use super::trim::file::TrimFile;
use super::trim::{tell_shared_wheels, trim};
use super::{Aircraft, Origin, TitlePattern, output};
use crate::names::Names;
use crate::read::{At, List, Mistakes, optional};

/// The most titles and trims that an aircraft may have.
const MOST: usize = 64;

/// Tells every mistake in an aircraft file; an aircraft, if there is enough to make one.
pub(crate) fn check(file: &AircraftFile, mistakes: &Mistakes<'_>) -> Option<Aircraft> {
    let name = mistakes.required(&file.name, 0, "name");
    let titles = titles(&file.titles, mistakes);
    let tables = mistakes.tables(&file.trim, "trim", MOST);
    let names = Names::of(tables, "trim", |trim: &TrimFile| &trim.name, mistakes);
    let trims: Vec<_> = tables
        .iter()
        .map(|field| field.value.as_ref().and_then(|table| trim(table, field.byte, mistakes)))
        .collect();
    tell_shared_wheels(tables, mistakes);

    let outputs = output::check::all(&file.output, &names, mistakes);

    let (trims, places) = trims.into_iter().collect::<Option<Vec<_>>>()?.into_iter().unzip();
    let (titles, title_places) = titles?;
    Some(Aircraft {
        name: name?.0.clone(),
        titles,
        default: optional(&file.default)?.copied().unwrap_or(false),
        trims,
        outputs: outputs?,
        origin: Origin {
            file: mistakes.source().file().to_owned(),
            titles: title_places,
            default: file.default.as_ref().map(|field| mistakes.source().at(field.byte)),
            trims: places,
        },
    })
}

fn titles(titles: &List<TitlePattern>, mistakes: &Mistakes<'_>) -> Option<(Vec<TitlePattern>, Vec<At>)> {
    const PATH: &str = "titles";
    let Some(field) = titles else { return Some((Vec::new(), Vec::new())) };
    let list = field.value.as_ref()?;
    if let Some(surplus) = list.get(MOST) {
        mistakes.tell(surplus.byte, PATH, format!("at most {MOST} patterns"), list.len().to_string());
    }
    let (mut patterns, mut places) = (Vec::new(), Vec::new());
    let mut complete = true;
    for element in list.iter().take(MOST) {
        match element.setting() {
            Some(pattern) if patterns.contains(pattern) => {
                mistakes.tell(element.byte, PATH, "each pattern once", format!("{pattern} again"));
            }
            Some(pattern) => {
                patterns.push(pattern.clone());
                places.push(mistakes.source().at(element.byte));
            }
            None => complete = false,
        }
    }
    complete.then_some((patterns, places))
}
