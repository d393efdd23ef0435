//! A learnt wheel into the text of a rig file, comments and order kept. No I/O.
//!
//! What is not sure never replaces what the file says; where the file says nothing it is written with a comment
//! that says so.

use super::learnt::{LearntWheel, Value};
use super::pair::Kind;
use tallywheel_profile::{FileErrors, UsbId};
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, value};

/// How the comment behind an unsure value begins.
const UNSURE: &str = " # unsure: ";

/// What a new rig file begins with.
const NEW: &str = "# Written by `tallywheel learn`. The example rig.toml of the project explains every key.\nname = \"rig\"\n";

/// Why nothing can be written.
#[derive(Debug, thiserror::Error)]
pub enum RigFileError {
    /// The user must choose the wheel's name.
    #[error("the rig file has no wheel on these buttons yet; say with --wheel what it is called")]
    NameWheel,
    /// The user must turn the wheel again.
    #[error("the wheel's buttons are not sure ({why}); nothing is written")]
    TurnAgain {
        /// Why.
        why: String,
    },
    /// The user must mend the file first.
    #[error("the rig file cannot be changed as it is: {0}")]
    Mend(String),
    /// The result would be no rig; the user must settle what is in its way.
    #[error("with this wheel the rig file would be wrong; nothing is written\n{0}")]
    NotValid(FileErrors),
}

/// A changed rig file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Update {
    /// Its new text.
    pub text: String,
    /// What the wheel is called.
    pub wheel: String,
    /// Whether the wheel is new in it.
    pub new: bool,
    /// What was left as it was although something else was learnt, one sentence each.
    pub kept: Vec<String>,
}

/// Puts `wheel` on the board `usb` into the rig file `text`, which may not exist yet.
///
/// # Errors
/// [`RigFileError`]
pub fn update(
    file: &str,
    text: Option<&str>,
    usb: UsbId,
    wheel: &LearntWheel,
    name: Option<&str>,
) -> Result<Update, RigFileError> {
    if !wheel.inputs.sure {
        return Err(RigFileError::TurnAgain { why: wheel.inputs.why.clone() });
    }
    let mut document: DocumentMut = text
        .unwrap_or(NEW)
        .parse()
        .map_err(|error: toml_edit::TomlError| RigFileError::Mend(error.to_string()))?;
    let mut kept = Vec::new();
    let board = board(&mut document, usb, wheel.report_interval_ms.as_ref(), &mut kept)?;
    let one_board = tables(&mut document, "board")?.len() == 1;
    let wheels = tables(&mut document, "wheel")?;
    let buttons = wheel.inputs.value.buttons.map(|button| i64::from(button.get()));
    let found = wheels.iter().position(|table| match name {
        Some(name) => text_of(table, "name") == Some(name),
        None => on_buttons(table, buttons) && text_of(table, "board").is_none_or(|own| own == board),
    });
    let new = found.is_none();
    if new {
        let Some(name) = name else { return Err(RigFileError::NameWheel) };
        let mut table = Table::new();
        table.insert("name", value(name));
        wheels.push(table);
    }
    let place = found.unwrap_or(wheels.len().saturating_sub(1));
    let Some(table) = wheels.get_mut(place) else { return Err(RigFileError::NameWheel) };
    if !one_board || table.contains_key("board") {
        set(table, "board", board.as_str().into());
    }
    write(table, wheel, buttons, &mut kept);
    let wheel_name = text_of(table, "name").unwrap_or_default().to_owned();
    let text = document.to_string();
    tallywheel_profile::rig(file, &text).map_err(RigFileError::NotValid)?;
    Ok(Update { text, wheel: wheel_name, new, kept })
}

fn tables<'d>(document: &'d mut DocumentMut, key: &str) -> Result<&'d mut ArrayOfTables, RigFileError> {
    document
        .entry(key)
        .or_insert_with(|| Item::ArrayOfTables(ArrayOfTables::new()))
        .as_array_of_tables_mut()
        .ok_or_else(|| RigFileError::Mend(format!("`{key}` is not written as [[{key}]] tables")))
}

fn text_of<'t>(table: &'t Table, key: &str) -> Option<&'t str> {
    table.get(key).and_then(Item::as_str)
}

fn on_buttons(table: &Table, buttons: [i64; 2]) -> bool {
    [["forward", "backward"], ["a", "b"]].into_iter().any(|keys| {
        let own = keys.map(|key| table.get(key).and_then(Item::as_integer));
        own == buttons.map(Some) || own == [Some(buttons[1]), Some(buttons[0])]
    })
}

/// Finds the board or adds it, and gives its name.
fn board(
    document: &mut DocumentMut,
    usb: UsbId,
    interval: Option<&Value<f64>>,
    kept: &mut Vec<String>,
) -> Result<String, RigFileError> {
    let id = usb.to_string();
    let boards = tables(document, "board")?;
    let same = |table: &Table| text_of(table, "usb").is_some_and(|own| own.eq_ignore_ascii_case(&id));
    // A file with one board that is found by serial number or path means this one.
    let alone = |table: &Table| !table.contains_key("usb");
    let place =
        boards.iter().position(same).or_else(|| boards.iter().position(alone).filter(|_| boards.len() == 1));
    let names: Vec<String> =
        boards.iter().filter_map(|table| text_of(table, "name").map(str::to_owned)).collect();
    let place = match place {
        Some(place) => place,
        None => {
            let free = std::iter::once("main".to_owned()).chain((2..).map(|n| format!("board {n}")));
            let name = free.into_iter().find(|name| !names.contains(name)).unwrap_or_default();
            let mut table = Table::new();
            table.insert("name", value(name));
            table.insert("usb", value(id));
            boards.push(table);
            boards.len() - 1
        }
    };
    let Some(table) = boards.get_mut(place) else { return Err(RigFileError::Mend("no board".to_owned())) };
    let name = text_of(table, "name").unwrap_or_default().to_owned();
    if let Some(interval) = interval.filter(|interval| interval.sure) {
        set_ms(table, "report_interval_ms", interval);
    } else if let (Some(interval), None) = (interval, table.get("report_interval_ms")) {
        kept.push(format!("report_interval_ms was not written: {}.", interval.why));
    }
    // With a second board every wheel has to name its own.
    if let ([first], true) = (names.as_slice(), boards.len() == 2) {
        let first = first.clone();
        for wheel in tables(document, "wheel")?.iter_mut().filter(|wheel| !wheel.contains_key("board")) {
            wheel.insert("board", value(first.as_str()));
        }
    }
    Ok(name)
}

/// Writes a sure time unless the file's own is the same as far as anybody can tell.
fn set_ms(table: &mut Table, key: &str, learnt: &Value<f64>) {
    let within = learnt.plus_minus.unwrap_or(0.0);
    let own = table.get(key).and_then(number);
    if own.is_none_or(|own| (own - learnt.value).abs() > within) {
        let whole = learnt.value.round();
        let nice = if (whole - learnt.value).abs() <= within { whole } else { learnt.value };
        set(table, key, plain(nice));
    }
}

#[expect(clippy::cast_precision_loss, clippy::as_conversions, reason = "a report interval is a small number")]
fn number(item: &Item) -> Option<f64> {
    item.as_float().or_else(|| item.as_integer().map(|whole| whole as f64))
}

/// Milliseconds as a user would write them.
#[expect(clippy::cast_possible_truncation, clippy::as_conversions, reason = "whole and at most a minute")]
fn plain(ms: f64) -> toml_edit::Value {
    if ms.fract() == 0.0 { (ms as i64).into() } else { ms.into() }
}

fn write(table: &mut Table, wheel: &LearntWheel, buttons: [i64; 2], kept: &mut Vec<String>) {
    let kind = wheel.inputs.value.kind;
    let (wiring, ours, others) = match kind {
        Kind::Pulses => ("pulses", ["forward", "backward"], ["a", "b"]),
        Kind::Quadrature => ("quadrature", ["a", "b"], ["forward", "backward"]),
    };
    set(table, "wiring", wiring.into());
    for key in others {
        table.remove(key);
    }
    for (key, button) in ours.into_iter().zip(buttons) {
        set(table, key, button.into());
    }
    let mut counts = i64::from(wheel.counts_per_turn.value);
    // What one of the decoder's counts is of those learnt, which are edges for A and B.
    let mut edges = 1;
    if kind == Kind::Pulses {
        table.remove("counts_per_cycle");
        for (key, learnt) in [("pulse_on_ms", &wheel.pulse_on_ms), ("pulse_off_ms", &wheel.pulse_off_ms)] {
            if let Some(learnt) = learnt.as_ref().filter(|learnt| learnt.sure && in_file(learnt.value)) {
                set_ms(table, key, learnt);
            }
        }
    } else {
        for key in ["pulse_on_ms", "pulse_off_ms"] {
            table.remove(key);
        }
        let own = table.get("counts_per_cycle").and_then(Item::as_integer).unwrap_or(4);
        let usable = matches!(own, 1 | 2) && counts % (4 / own) == 0;
        let per_cycle = if usable { own } else { 4 };
        set(table, "counts_per_cycle", per_cycle.into());
        counts = counts * per_cycle / 4;
        edges = 4 / per_cycle;
    }
    let per_turn = &wheel.counts_per_turn;
    match table.get("counts_per_turn").and_then(Item::as_integer) {
        Some(own) if !per_turn.sure => {
            if own != counts {
                kept.push(format!(
                    "counts_per_turn stays {own}; {counts} was learnt but is not sure: {}.",
                    per_turn.why
                ));
            }
        }
        _ => {
            set(table, "counts_per_turn", counts.into());
            if !per_turn.sure {
                comment(table, "counts_per_turn", &per_turn.why);
            }
        }
    }
    let per_detent = wheel.counts_per_click.as_ref().filter(|click| click.sure);
    if let Some(counts) = per_detent.and_then(|click| whole_detents(click.value, edges)) {
        set(table, "counts_per_detent", counts.into());
    }
    for (key, learnt) in [("pressed_at_rest", wheel.pressed_at_rest.value), ("reversed", false)] {
        // The buttons are in the order that makes the first turn forward.
        if learnt || table.get(key).and_then(Item::as_bool) == Some(true) {
            set(table, key, learnt.into());
        }
    }
}

/// Whether a pulse time is one that the file takes.
fn in_file(ms: f64) -> bool {
    (0.125..=1000.0).contains(&ms)
}

/// Counts from detent to detent, where they are a whole number of `edges` each. An encoder with several detents to a
/// count has none that the file could say.
#[expect(clippy::cast_possible_truncation, clippy::as_conversions, reason = "whole and at most a thousand")]
fn whole_detents(learnt: f64, edges: i64) -> Option<i64> {
    let whole = learnt.round();
    let near = (whole - learnt).abs() < 0.01 && (1.0..=4000.0).contains(&whole);
    let counts = near.then_some(whole as i64).filter(|counts| counts % edges == 0)? / edges;
    (1..=1000).contains(&counts).then_some(counts)
}

/// Sets a key, its comments kept but for one of ours that is no longer true.
fn set(table: &mut Table, key: &str, new: toml_edit::Value) {
    match table.get_mut(key).and_then(Item::as_value_mut) {
        Some(own) => {
            let mut decor = own.decor().clone();
            let ours = decor.suffix().and_then(|suffix| suffix.as_str());
            if ours.is_some_and(|suffix| suffix.starts_with(UNSURE)) {
                decor.set_suffix("");
            }
            *own = new;
            *own.decor_mut() = decor;
        }
        None => {
            table.insert(key, Item::Value(new));
        }
    }
}

fn comment(table: &mut Table, key: &str, why: &str) {
    if let Some(own) = table.get_mut(key).and_then(Item::as_value_mut) {
        own.decor_mut().set_suffix(format!("{UNSURE}{why}"));
    }
}

#[cfg(test)]
mod tests {
    use super::super::learnt::{Inputs, LossSpeed};
    use super::*;
    use expect_test::{Expect, expect};
    use tallywheel_units::ButtonNumber;

    const USB: UsbId = UsbId { vendor: 0x1209, product: 0x7a11 };

    fn wheel(kind: Kind, buttons: [u8; 2], counts: u32, sure: bool) -> LearntWheel {
        let value = |counts| {
            if sure { Value::sure(counts, "they agree") } else { Value::unsure(counts, "an eye errs") }
        };
        LearntWheel {
            device: 0,
            inputs: Value::sure(
                Inputs { kind, buttons: buttons.map(|n| ButtonNumber::new(n).unwrap()) },
                "they moved",
            ),
            pressed_at_rest: Value::sure(false, "released"),
            counts_per_turn: value(counts),
            counts_per_click: None,
            pulse_on_ms: None,
            pulse_off_ms: None,
            report_interval_ms: Some(Value::sure(4.02, "steady").within(0.2)),
            losses: Value::unsure(LossSpeed { none_up_to: None, from: None, by_the_figures: None }, ""),
        }
    }

    fn check(text: Option<&str>, wheel: &LearntWheel, name: Option<&str>, expected: Expect) -> Update {
        let update = update("rig.toml", text, USB, wheel, name).unwrap();
        expected.assert_eq(&update.text);
        update
    }

    #[test]
    fn a_new_file() {
        let update = check(
            None,
            &wheel(Kind::Quadrature, [2, 1], 96, true),
            Some("rudder"),
            expect![[r##"
            # Written by `tallywheel learn`. The example rig.toml of the project explains every key.
            name = "rig"

            [[board]]
            name = "main"
            usb = "1209:7a11"
            report_interval_ms = 4

            [[wheel]]
            name = "rudder"
            wiring = "quadrature"
            a = 2
            b = 1
            counts_per_cycle = 4
            counts_per_turn = 96
        "##]],
        );
        assert!(update.new && update.kept.is_empty());
    }

    #[test]
    fn what_is_unsure_says_so_in_the_file() {
        check(
            None,
            &wheel(Kind::Pulses, [3, 4], 23, false),
            Some("elevator"),
            expect![[r##"
            # Written by `tallywheel learn`. The example rig.toml of the project explains every key.
            name = "rig"

            [[board]]
            name = "main"
            usb = "1209:7a11"
            report_interval_ms = 4

            [[wheel]]
            name = "elevator"
            wiring = "pulses"
            forward = 3
            backward = 4
            counts_per_turn = 23 # unsure: an eye errs
        "##]],
        );
    }

    #[test]
    fn pulse_times_and_detents_are_written_when_they_are_sure() {
        let mut learnt = wheel(Kind::Pulses, [3, 4], 24, true);
        learnt.pulse_on_ms = Some(Value::sure(19.9, "steady").within(0.4));
        learnt.pulse_off_ms = Some(Value::unsure(11.0, "never that fast"));
        learnt.counts_per_click = Some(Value::sure(1.0, "eight clicks"));
        let written = |learnt: &LearntWheel, own: &str| {
            let text = update("rig.toml", Some(own), USB, learnt, None).unwrap().text;
            text.lines()
                .rev()
                .take_while(|line| !line.starts_with("[["))
                .map(str::to_owned)
                .collect::<Vec<_>>()
        };
        let text = written(&learnt, OWN);
        assert!(text.contains(&"pulse_on_ms = 20".to_owned()), "{text:?}");
        assert!(text.contains(&"counts_per_detent = 1".to_owned()), "{text:?}");
        assert!(!text.iter().any(|line| line.contains("pulse_off")), "{text:?}");
        // The same within its doubt is left as the user wrote it; what is unsure replaces nothing.
        let own =
            format!("{OWN}pulse_on_ms = 20.2 # mine\npulse_off_ms = 5\ncounts_per_detent = 2 # clicks\n");
        let text = written(&learnt, &own);
        for line in ["pulse_on_ms = 20.2 # mine", "pulse_off_ms = 5", "counts_per_detent = 1 # clicks"] {
            assert!(text.contains(&line.to_owned()), "{line}: {text:?}");
        }
        learnt.pulse_on_ms = Some(Value::sure(0.01, "a glitch"));
        assert!(
            written(&learnt, &own).contains(&"pulse_on_ms = 20.2 # mine".to_owned()),
            "not one that the file takes"
        );
        // Raw lines have no pulses, and their counts are edges until the file's counts per cycle are applied.
        let mut raw = wheel(Kind::Quadrature, [4, 3], 96, true);
        raw.counts_per_click = Some(Value::sure(4.0, "eight clicks"));
        let text = written(&raw, &own);
        assert!(text.contains(&"counts_per_detent = 4 # clicks".to_owned()), "{text:?}");
        assert!(!text.iter().any(|line| line.starts_with("pulse_")), "{text:?}");
    }

    #[test]
    fn detents_of_part_of_a_count_are_not_written() {
        for (learnt, edges, counts) in [
            (1.0, 1, Some(1)),
            (4.0, 4, Some(1)),
            (2.0, 4, None),
            (0.5, 1, None),
            (4.3, 1, None),
            (8.0, 2, Some(4)),
            (f64::NAN, 1, None),
        ] {
            assert_eq!(whole_detents(learnt, edges), counts, "{learnt} {edges}");
        }
    }

    const OWN: &str = "# My rig.\nname = \"bench\"\n\n[[board]]\nname = \"main\"\nusb = \"1209:7A11\" # left\nreport_interval_ms = 8 # from the box\n\n\
        # The big one.\n[[wheel]]\nname = \"rudder\"\nwiring = \"quadrature\"\na = 1 # blue\nb = 2 # white\ncounts_per_cycle = 1\n# counted\n\
        counts_per_turn = 20 # unsure: an eye errs\nreversed = true\n\n[[wheel]]\nname = \"elevator\"\nwiring = \"pulses\"\nforward = 3\nbackward = 4\ncounts_per_turn = 24\n";

    #[test]
    fn comments_order_and_the_users_counts_per_cycle_stay() {
        let update = check(
            Some(OWN),
            &wheel(Kind::Quadrature, [2, 1], 96, true),
            None,
            expect![[r##"
            # My rig.
            name = "bench"

            [[board]]
            name = "main"
            usb = "1209:7A11" # left
            report_interval_ms = 4 # from the box

            # The big one.
            [[wheel]]
            name = "rudder"
            wiring = "quadrature"
            a = 2 # blue
            b = 1 # white
            counts_per_cycle = 1
            # counted
            counts_per_turn = 24
            reversed = false

            [[wheel]]
            name = "elevator"
            wiring = "pulses"
            forward = 3
            backward = 4
            counts_per_turn = 24
        "##]],
        );
        assert_eq!((update.wheel.as_str(), update.new), ("rudder", false));
    }

    #[test]
    fn an_unsure_value_never_replaces_the_users() {
        let update =
            update("rig.toml", Some(OWN), USB, &wheel(Kind::Pulses, [3, 4], 23, false), None).unwrap();
        assert!(update.text.contains("counts_per_turn = 24\n"), "{}", update.text);
        expect!["counts_per_turn stays 24; 23 was learnt but is not sure: an eye errs."]
            .assert_eq(&update.kept.join("\n"));
    }

    #[test]
    fn another_wiring_takes_the_old_keys_away() {
        let update =
            update("rig.toml", Some(OWN), USB, &wheel(Kind::Pulses, [1, 2], 24, true), Some("rudder"))
                .unwrap();
        let rig = tallywheel_profile::rig("", &update.text).unwrap();
        assert_eq!(rig.wheels[0].per_turn.get(), 24);
        assert!(!update.text.contains("counts_per_cycle"), "{}", update.text);
    }

    #[test]
    fn a_second_board_makes_every_wheel_name_its_own() {
        let other = UsbId { vendor: 0x1209, product: 2 };
        let wheel = wheel(Kind::Pulses, [1, 2], 24, true);
        let update = update("rig.toml", Some(OWN), other, &wheel, Some("aileron")).unwrap();
        let rig = tallywheel_profile::rig("", &update.text).unwrap();
        let boards: Vec<_> = rig.wheels.iter().map(|wheel| wheel.board.get()).collect();
        assert_eq!(boards, [0, 0, 1], "{}", update.text);
    }

    #[test]
    fn what_cannot_be_written_is_said() {
        let wheel = |buttons| wheel(Kind::Pulses, buttons, 24, true);
        let error = |text: &str, buttons, name| {
            update("rig.toml", Some(text), USB, &wheel(buttons), name).unwrap_err().to_string()
        };
        assert!(error(OWN, [7, 8], None).contains("--wheel"));
        assert!(error("name = [", [7, 8], Some("x")).contains("cannot be changed as it is"));
        assert!(error("name = \"x\"\nboard = 3\n", [7, 8], Some("x")).contains("[[board]]"));
        // Button 4 is the elevator's.
        assert!(error(OWN, [4, 8], Some("aileron")).contains("would be wrong"));
    }
}
