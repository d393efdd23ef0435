//! The menu, in our own words: built anew from each [`Sight`], shown by whatever host there is.

use super::sight::{Sight, TrimSight, Wish};
use tallywheel_engine::commands::{Choice, Command, Spot, Switch};

/// The most entries of one list; more would not fit on a screen.
const LIST_MAX: usize = 40;

/// One line of a menu.
#[derive(Debug, Clone, PartialEq)]
pub enum Entry {
    /// Words that cannot be chosen.
    Words(String),
    /// Does something.
    Button(String, Wish),
    /// Can be on or off; choosing it asks for the other.
    Check {
        /// The words of the line.
        label: String,
        /// Whether the mark is set.
        on: bool,
        /// What a click asks for.
        wish: Wish,
    },
    /// One of several is chosen, at most: its place in the list.
    Choice {
        /// Which option is in force, by its place.
        chosen: Option<usize>,
        /// The words of each option and what a click on it asks for.
        options: Vec<(String, Wish)>,
    },
    /// A menu of its own.
    More(String, Vec<Entry>),
    /// A line between groups.
    Line,
}

/// The whole menu; `marked` says whether the icon bears the mark for losses.
#[must_use]
pub fn menu(sight: &Sight, marked: bool) -> Vec<Entry> {
    let mut menu = vec![Entry::Words(sight.aircraft.clone())];
    menu.extend(sight.trims.iter().map(|trim| Entry::Words(trim_line(trim))));
    menu.extend(
        sight.boards_away.iter().map(|board| Entry::Words(format!("The board {board} is not connected"))),
    );
    menu.push(Entry::Line);
    if marked {
        let losses = if sight.losses == 1 { "1 loss".to_owned() } else { format!("{} losses", sight.losses) };
        menu.push(Entry::Button(format!("Take the red corner away ({losses} since the start)"), Wish::Seen));
    }
    menu.extend(sight.trims.iter().map(|trim| Entry::More(format!("Align {} to", trim.name), places(trim))));
    menu.push(Entry::More("Fly".to_owned(), hangar(sight)));
    menu.push(Entry::Check {
        label: "Hold the output".to_owned(),
        on: sight.held,
        wish: Wish::Do(Command::Hold(if sight.held { Switch::Off } else { Switch::On })),
    });
    menu.push(Entry::Line);
    menu.push(Entry::Button("Open the log".to_owned(), Wish::OpenLog));
    menu.push(Entry::Button("Open the folder".to_owned(), Wish::OpenFolder));
    menu.push(Entry::Line);
    menu.push(Entry::Button("Quit Tallywheel".to_owned(), Wish::Quit));
    menu
}

/// The same facts in words, for a pointer that rests on the icon.
#[must_use]
pub fn tip(sight: &Sight) -> String {
    let lines = sight.trims.iter().map(trim_line);
    let away = sight.boards_away.iter().map(|board| format!("The board {board} is not connected"));
    let held = sight.held.then(|| "The output is held".to_owned());
    lines.chain(away).chain(held).collect::<Vec<_>>().join("\n")
}

fn trim_line(trim: &TrimSight) -> String {
    let doubt = match trim.margin {
        margin if margin.is_certain() => String::new(),
        margin if margin.is_unknown() => ", may be anywhere".to_owned(),
        margin => format!(", may be off by {margin} counts"),
    };
    // Whole degrees are as fine as an eye sets a wheel, and finer ones would only flicker.
    format!(
        "{}  {:+.2}  {:.0}\u{b0} of {:.0}\u{b0}{doubt}",
        trim.name,
        trim.normalized.get(),
        trim.degrees.get(),
        trim.travel.get()
    )
}

fn places(trim: &TrimSight) -> Vec<Entry> {
    let button =
        |to: Spot| Entry::Button(to.to_string(), Wish::Do(Command::Align { trim: trim.name.clone(), to }));
    let mut places = vec![button(Spot::Neutral), button(Spot::Low), button(Spot::High)];
    if !trim.named.is_empty() {
        places.push(Entry::Line);
    }
    places.extend(trim.named.iter().take(LIST_MAX).map(|name| button(Spot::Named(name.clone()))));
    places.extend(rest(trim.named.len(), "tallywheel align"));
    places
}

fn hangar(sight: &Sight) -> Vec<Entry> {
    let parked = sight.hangar.iter().take(LIST_MAX);
    let chosen = parked.clone().position(|parked| parked.flown);
    let options = parked.map(|parked| {
        let twin = sight.hangar.iter().any(|other| other.name == parked.name && other.stem != parked.stem);
        let label = if twin { format!("{} ({})", parked.name, parked.stem) } else { parked.name.clone() };
        (label, Wish::Do(Command::Fly(Choice::Named(parked.stem.clone()))))
    });
    let mut entries = vec![Entry::Choice { chosen, options: options.collect() }];
    entries.extend(rest(sight.hangar.len(), "tallywheel fly"));
    entries
}

/// Says where what does not fit can be had.
fn rest(all: usize, command: &str) -> Option<Entry> {
    let more = all.checked_sub(LIST_MAX).filter(|more| *more > 0)?;
    Some(Entry::Words(format!("{more} more: use {command}")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tray::sight::Parked;
    use expect_test::{Expect, expect};
    use std::fmt::Write;
    use tallywheel_units::{Counts, Degrees, Margin, Normalized};

    fn trim(name: &str, degrees: f64, normalized: f64, margin: Margin) -> TrimSight {
        TrimSight {
            name: name.to_owned(),
            degrees: Degrees::new(degrees).unwrap(),
            travel: Degrees::new(635.0).unwrap(),
            neutral: Degrees::new(320.0).unwrap(),
            normalized: Normalized::clamped(normalized),
            margin,
            away: false,
            named: Vec::new(),
        }
    }

    fn parked(name: &str, stem: &str, flown: bool) -> Parked {
        Parked { stem: stem.to_owned(), name: name.to_owned(), flown }
    }

    fn sight(trims: Vec<TrimSight>) -> Sight {
        let hangar = vec![
            parked("Dabchick 1 trainer", "dabchick", false),
            parked("Heron 2 floatplane", "heron", true),
        ];
        Sight {
            aircraft: "Heron 2 floatplane".to_owned(),
            hangar,
            trims,
            boards_away: Vec::new(),
            losses: 0,
            held: false,
        }
    }

    fn write(out: &mut String, depth: usize, entries: &[Entry]) {
        let indent = "  ".repeat(depth);
        for entry in entries {
            match entry {
                Entry::Words(words) => writeln!(out, "{indent}{words}").unwrap(),
                Entry::Button(label, wish) => writeln!(out, "{indent}[{label}] {wish:?}").unwrap(),
                Entry::Check { label, on, wish } => {
                    writeln!(out, "{indent}[{label}: {on}] {wish:?}").unwrap();
                }
                Entry::Choice { chosen, options } => {
                    for (n, (label, wish)) in options.iter().enumerate() {
                        let mark = if *chosen == Some(n) { '*' } else { ' ' };
                        writeln!(out, "{indent}({mark}) {label} {wish:?}").unwrap();
                    }
                }
                Entry::More(label, entries) => {
                    writeln!(out, "{indent}{label} >").unwrap();
                    write(out, depth + 1, entries);
                }
                Entry::Line => writeln!(out, "{indent}---").unwrap(),
            }
        }
    }

    fn check(sight: &Sight, marked: bool, expected: &Expect) {
        let mut out = String::new();
        write(&mut out, 0, &menu(sight, marked));
        expected.assert_eq(&out);
    }

    #[test]
    fn the_menu_of_a_quiet_day() {
        check(
            &sight(vec![trim("rudder", 320.0, 0.0, Margin::CERTAIN)]),
            false,
            &expect![[r#"
                Heron 2 floatplane
                rudder  +0.00  320° of 635°
                ---
                Align rudder to >
                  [neutral] Do(Align { trim: "rudder", to: Neutral })
                  [the low stop] Do(Align { trim: "rudder", to: Low })
                  [the high stop] Do(Align { trim: "rudder", to: High })
                Fly >
                  ( ) Dabchick 1 trainer Do(Fly(Named("dabchick")))
                  (*) Heron 2 floatplane Do(Fly(Named("heron")))
                [Hold the output: false] Do(Hold(On))
                ---
                [Open the log] OpenLog
                [Open the folder] OpenFolder
                ---
                [Quit Tallywheel] Quit
            "#]],
        );
    }

    #[test]
    fn the_menu_when_much_is_wrong() {
        let mut rudder = trim("rudder", 635.0, 1.0, Margin::new(Counts::new(2), Counts::new(3)));
        rudder.named = ["take-off".to_owned(), "one_engine".to_owned()].to_vec();
        let mut sight = sight(vec![rudder, trim("elevator", 0.0, -1.0, Margin::UNKNOWN)]);
        sight.boards_away.push("main".to_owned());
        sight.losses = 7;
        sight.hangar.push(parked("Heron 2 floatplane", "heron-copy", false));
        sight.held = true;
        check(
            &sight,
            true,
            &expect![[r#"
                Heron 2 floatplane
                rudder  +1.00  635° of 635°, may be off by -2..+3 counts
                elevator  -1.00  0° of 635°, may be anywhere
                The board main is not connected
                ---
                [Take the red corner away (7 losses since the start)] Seen
                Align rudder to >
                  [neutral] Do(Align { trim: "rudder", to: Neutral })
                  [the low stop] Do(Align { trim: "rudder", to: Low })
                  [the high stop] Do(Align { trim: "rudder", to: High })
                  ---
                  [take-off] Do(Align { trim: "rudder", to: Named("take-off") })
                  [one_engine] Do(Align { trim: "rudder", to: Named("one_engine") })
                Align elevator to >
                  [neutral] Do(Align { trim: "elevator", to: Neutral })
                  [the low stop] Do(Align { trim: "elevator", to: Low })
                  [the high stop] Do(Align { trim: "elevator", to: High })
                Fly >
                  ( ) Dabchick 1 trainer Do(Fly(Named("dabchick")))
                  (*) Heron 2 floatplane (heron) Do(Fly(Named("heron")))
                  ( ) Heron 2 floatplane (heron-copy) Do(Fly(Named("heron-copy")))
                [Hold the output: true] Do(Hold(Off))
                ---
                [Open the log] OpenLog
                [Open the folder] OpenFolder
                ---
                [Quit Tallywheel] Quit
            "#]],
        );
        expect![[r#"
            rudder  +1.00  635° of 635°, may be off by -2..+3 counts
            elevator  -1.00  0° of 635°, may be anywhere
            The board main is not connected
            The output is held"#]]
        .assert_eq(&tip(&sight));
    }

    #[test]
    fn a_list_that_is_too_long_says_where_the_rest_is() {
        let mut sight = sight(vec![trim("rudder", 320.0, 0.0, Margin::CERTAIN)]);
        let names: Vec<_> = (1..=LIST_MAX + 1).map(|n| format!("Heron {n}")).collect();
        sight.hangar = names.iter().map(|name| parked(name, name, false)).collect();
        sight.trims[0].named = names;
        let menu = menu(&sight, false);
        for (label, command) in [("Fly", "fly"), ("Align rudder to", "align")] {
            let entries = menu.iter().find_map(|entry| match entry {
                Entry::More(found, entries) if found == label => Some(entries),
                _ => None,
            });
            let last = Entry::Words(format!("1 more: use tallywheel {command}"));
            assert_eq!(entries.unwrap().last(), Some(&last));
        }
    }
}
