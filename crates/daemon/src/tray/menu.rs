//! The menu, built anew from each [`TraySnapshot`] and shown by the host of the platform.

use super::snapshot::{MenuAction, TraySnapshot, TrayTrim};
use tallywheel_engine::commands::{Choice, Command, Spot, Switch};

/// The most options of one list; more would not fit on a screen.
const LIST_MAX: usize = 40;

/// One line of a menu.
#[derive(Debug, Clone, PartialEq)]
pub enum MenuEntry {
    /// A text that cannot be chosen.
    Label(String),
    /// A text that asks for an action when it is chosen.
    Button(String, MenuAction),
    /// A text with a check mark; choosing it asks for the opposite.
    Check {
        /// The text.
        label: String,
        /// Whether the mark is set.
        on: bool,
        /// The action that a click asks for.
        action: MenuAction,
    },
    /// Several options of which one is in force, at most.
    Choice {
        /// The place of the option in force, counted from 0.
        chosen: Option<usize>,
        /// The text of each option and the action that a click on it asks for.
        options: Vec<(String, MenuAction)>,
    },
    /// A submenu.
    Submenu(String, Vec<MenuEntry>),
    /// A separator between groups.
    Separator,
}

/// Makes the whole menu; `marked` says whether the icon bears the mark for losses.
#[must_use]
pub fn menu(snapshot: &TraySnapshot, marked: bool) -> Vec<MenuEntry> {
    let mut menu = vec![MenuEntry::Label(snapshot.aircraft.clone())];
    menu.extend(snapshot.trims.iter().map(|trim| MenuEntry::Label(trim_line(trim))));
    menu.extend(
        snapshot
            .disconnected_boards
            .iter()
            .map(|board| MenuEntry::Label(format!("The board {board} is not connected"))),
    );
    menu.push(MenuEntry::Separator);
    if marked {
        let losses =
            if snapshot.losses == 1 { "1 loss".to_owned() } else { format!("{} losses", snapshot.losses) };
        menu.push(MenuEntry::Button(
            format!("Take the red corner disconnected ({losses} since the start)"),
            MenuAction::ClearMark,
        ));
    }
    menu.extend(
        snapshot
            .trims
            .iter()
            .map(|trim| MenuEntry::Submenu(format!("Align {} to", trim.name), positions(trim))),
    );
    menu.push(MenuEntry::Submenu("Fly".to_owned(), aircraft_list(snapshot)));
    menu.push(MenuEntry::Check {
        label: "Hold the output".to_owned(),
        on: snapshot.held,
        action: MenuAction::Command(Command::Hold(if snapshot.held { Switch::Off } else { Switch::On })),
    });
    menu.push(MenuEntry::Separator);
    menu.push(MenuEntry::Button("Open the log".to_owned(), MenuAction::OpenLog));
    menu.push(MenuEntry::Button("Open the folder".to_owned(), MenuAction::OpenFolder));
    menu.push(MenuEntry::Separator);
    menu.push(MenuEntry::Button("Quit Tallywheel".to_owned(), MenuAction::Quit));
    menu
}

/// Makes the tool tip, which says the same facts in words.
#[must_use]
pub fn tool_tip(snapshot: &TraySnapshot) -> String {
    let lines = snapshot.trims.iter().map(trim_line);
    let disconnected =
        snapshot.disconnected_boards.iter().map(|board| format!("The board {board} is not connected"));
    let held = snapshot.held.then(|| "The output is held".to_owned());
    lines.chain(disconnected).chain(held).collect::<Vec<_>>().join("\n")
}

fn trim_line(trim: &TrayTrim) -> String {
    let margin = match trim.margin {
        margin if margin.is_certain() => String::new(),
        margin if margin.is_unknown() => ", may be anywhere".to_owned(),
        margin => format!(", may be off by {margin} counts"),
    };
    // Whole degrees are as fine as an eye sets a wheel, and finer ones would only flicker.
    format!(
        "{}  {:+.2}  {:.0}\u{b0} of {:.0}\u{b0}{margin}",
        trim.name,
        trim.normalized.get(),
        trim.degrees.get(),
        trim.travel.get()
    )
}

fn positions(trim: &TrayTrim) -> Vec<MenuEntry> {
    let button = |to: Spot| {
        MenuEntry::Button(to.to_string(), MenuAction::Command(Command::Align { trim: trim.name.clone(), to }))
    };
    let mut positions = vec![button(Spot::Neutral), button(Spot::Low), button(Spot::High)];
    if !trim.positions.is_empty() {
        positions.push(MenuEntry::Separator);
    }
    positions.extend(trim.positions.iter().take(LIST_MAX).map(|name| button(Spot::Named(name.clone()))));
    positions.extend(rest(trim.positions.len(), "tallywheel align"));
    positions
}

fn aircraft_list(snapshot: &TraySnapshot) -> Vec<MenuEntry> {
    let aircraft = snapshot.all_aircraft.iter().take(LIST_MAX);
    let chosen = aircraft.clone().position(|aircraft| aircraft.is_active);
    let options = aircraft.map(|aircraft| {
        let same_name = snapshot
            .all_aircraft
            .iter()
            .any(|other| other.name == aircraft.name && other.file_name != aircraft.file_name);
        let label = if same_name {
            format!("{} ({})", aircraft.name, aircraft.file_name)
        } else {
            aircraft.name.clone()
        };
        (label, MenuAction::Command(Command::Fly(Choice::Named(aircraft.file_name.clone()))))
    });
    let mut entries = vec![MenuEntry::Choice { chosen, options: options.collect() }];
    entries.extend(rest(snapshot.all_aircraft.len(), "tallywheel fly"));
    entries
}

/// Says which command lists what does not fit.
fn rest(all: usize, command: &str) -> Option<MenuEntry> {
    let more = all.checked_sub(LIST_MAX).filter(|more| *more > 0)?;
    Some(MenuEntry::Label(format!("{more} more: use {command}")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tray::snapshot::TrayAircraft;
    use expect_test::{Expect, expect};
    use std::fmt::Write;
    use tallywheel_units::{Counts, Degrees, Margin, Normalized};

    fn trim(name: &str, degrees: f64, normalized: f64, margin: Margin) -> TrayTrim {
        TrayTrim {
            name: name.to_owned(),
            degrees: Degrees::new(degrees).unwrap(),
            travel: Degrees::new(580.0).unwrap(),
            neutral: Degrees::new(320.0).unwrap(),
            normalized: Normalized::clamped(normalized),
            margin,
            disconnected: false,
            positions: Vec::new(),
        }
    }

    fn aircraft(name: &str, file_name: &str, is_active: bool) -> TrayAircraft {
        TrayAircraft { file_name: file_name.to_owned(), name: name.to_owned(), is_active }
    }

    fn snapshot(trims: Vec<TrayTrim>) -> TraySnapshot {
        let all_aircraft = vec![
            aircraft("Dimmerly 1 trainer", "dimmerly", false),
            aircraft("Kettrin 2 floatplane", "kettrin", true),
        ];
        TraySnapshot {
            aircraft: "Kettrin 2 floatplane".to_owned(),
            all_aircraft,
            trims,
            disconnected_boards: Vec::new(),
            losses: 0,
            held: false,
        }
    }

    fn write(out: &mut String, depth: usize, entries: &[MenuEntry]) {
        let indent = "  ".repeat(depth);
        for entry in entries {
            match entry {
                MenuEntry::Label(words) => writeln!(out, "{indent}{words}").unwrap(),
                MenuEntry::Button(label, action) => writeln!(out, "{indent}[{label}] {action:?}").unwrap(),
                MenuEntry::Check { label, on, action } => {
                    writeln!(out, "{indent}[{label}: {on}] {action:?}").unwrap();
                }
                MenuEntry::Choice { chosen, options } => {
                    for (n, (label, action)) in options.iter().enumerate() {
                        let mark = if *chosen == Some(n) { '*' } else { ' ' };
                        writeln!(out, "{indent}({mark}) {label} {action:?}").unwrap();
                    }
                }
                MenuEntry::Submenu(label, entries) => {
                    writeln!(out, "{indent}{label} >").unwrap();
                    write(out, depth + 1, entries);
                }
                MenuEntry::Separator => writeln!(out, "{indent}---").unwrap(),
            }
        }
    }

    fn check(snapshot: &TraySnapshot, marked: bool, expected: &Expect) {
        let mut out = String::new();
        write(&mut out, 0, &menu(snapshot, marked));
        expected.assert_eq(&out);
    }

    #[test]
    fn the_menu_of_a_quiet_day() {
        check(
            &snapshot(vec![trim("rudder", 320.0, 0.0, Margin::CERTAIN)]),
            false,
            &expect![[r#"
                Kettrin 2 floatplane
                rudder  +0.00  320° of 580°
                ---
                Align rudder to >
                  [neutral] Command(Align { trim: "rudder", to: Neutral })
                  [the low stop] Command(Align { trim: "rudder", to: Low })
                  [the high stop] Command(Align { trim: "rudder", to: High })
                Fly >
                  ( ) Dimmerly 1 trainer Command(Fly(Named("dimmerly")))
                  (*) Kettrin 2 floatplane Command(Fly(Named("kettrin")))
                [Hold the output: false] Command(Hold(On))
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
        let mut rudder = trim("rudder", 580.0, 1.0, Margin::new(Counts::new(2), Counts::new(3)));
        rudder.positions = ["take-off".to_owned(), "one_engine".to_owned()].to_vec();
        let mut snapshot = snapshot(vec![rudder, trim("elevator", 0.0, -1.0, Margin::UNKNOWN)]);
        snapshot.disconnected_boards.push("main".to_owned());
        snapshot.losses = 7;
        snapshot.all_aircraft.push(aircraft("Kettrin 2 floatplane", "kettrin-copy", false));
        snapshot.held = true;
        check(
            &snapshot,
            true,
            &expect![[r#"
                Kettrin 2 floatplane
                rudder  +1.00  580° of 580°, may be off by -2..+3 counts
                elevator  -1.00  0° of 580°, may be anywhere
                The board main is not connected
                ---
                [Take the red corner disconnected (7 losses since the start)] ClearMark
                Align rudder to >
                  [neutral] Command(Align { trim: "rudder", to: Neutral })
                  [the low stop] Command(Align { trim: "rudder", to: Low })
                  [the high stop] Command(Align { trim: "rudder", to: High })
                  ---
                  [take-off] Command(Align { trim: "rudder", to: Named("take-off") })
                  [one_engine] Command(Align { trim: "rudder", to: Named("one_engine") })
                Align elevator to >
                  [neutral] Command(Align { trim: "elevator", to: Neutral })
                  [the low stop] Command(Align { trim: "elevator", to: Low })
                  [the high stop] Command(Align { trim: "elevator", to: High })
                Fly >
                  ( ) Dimmerly 1 trainer Command(Fly(Named("dimmerly")))
                  (*) Kettrin 2 floatplane (kettrin) Command(Fly(Named("kettrin")))
                  ( ) Kettrin 2 floatplane (kettrin-copy) Command(Fly(Named("kettrin-copy")))
                [Hold the output: true] Command(Hold(Off))
                ---
                [Open the log] OpenLog
                [Open the folder] OpenFolder
                ---
                [Quit Tallywheel] Quit
            "#]],
        );
        expect![[r#"
            rudder  +1.00  580° of 580°, may be off by -2..+3 counts
            elevator  -1.00  0° of 580°, may be anywhere
            The board main is not connected
            The output is held"#]]
        .assert_eq(&tool_tip(&snapshot));
    }

    #[test]
    fn a_list_that_is_too_long_says_where_the_rest_is() {
        let mut snapshot = snapshot(vec![trim("rudder", 320.0, 0.0, Margin::CERTAIN)]);
        let names: Vec<_> = (1..=LIST_MAX + 1).map(|n| format!("Kettrin {n}")).collect();
        snapshot.all_aircraft = names.iter().map(|name| aircraft(name, name, false)).collect();
        snapshot.trims[0].positions = names;
        let menu = menu(&snapshot, false);
        for (label, command) in [("Fly", "fly"), ("Align rudder to", "align")] {
            let entries = menu.iter().find_map(|entry| match entry {
                MenuEntry::Submenu(found, entries) if found == label => Some(entries),
                _ => None,
            });
            let last = MenuEntry::Label(format!("1 more: use tallywheel {command}"));
            assert_eq!(entries.unwrap().last(), Some(&last));
        }
    }
}
