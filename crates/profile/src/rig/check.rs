use super::file::{BitIndex, BoardFile, ButtonRunFile, RigFile, WheelFile, WiringKind};
use super::{Board, ButtonRun, Rig, Wheel, WheelInputs, button, simulator};
use crate::names::{Name, Names};
use crate::read::{Field, Key, Mistakes, optional};
use crate::words;
use std::collections::HashMap;
use tallywheel_units::{BoardIndex, ButtonNumber, Buttons};

/// The most boards and the most wheels that a rig may have. A hundred wheels are no trim any more, and a limit
/// keeps every list that is made from them small.
const MOST: usize = 64;

/// Tells every mistake in a rig file; a rig, if there is enough to make one.
pub(crate) fn check(file: &RigFile, mistakes: &Mistakes<'_>) -> Option<Rig> {
    let name = mistakes.required(&file.name, 0, "name");

    let board_tables = mistakes.tables(&file.board, "board", MOST);
    let board_names = Names::of(board_tables, "board", |board: &BoardFile| &board.name, mistakes);
    let boards: Vec<_> = board_tables
        .iter()
        .map(|field| field.value.as_ref().and_then(|table| board(table, field.byte, mistakes)))
        .collect();
    tell_alike(&boards, board_tables, mistakes);

    let wheel_tables = mistakes.tables(&file.wheel, "wheel", MOST);
    let wheel_names = Names::of(wheel_tables, "wheel", |wheel: &WheelFile| &wheel.name, mistakes);
    let mut uses = Uses { boards: &boards, taken: HashMap::new(), mistakes };
    let wheels: Vec<_> = wheel_tables
        .iter()
        .map(|field| {
            let table = field.value.as_ref()?;
            let path = "wheel.board";
            let board = board_of(&table.board, field.byte, path, board_tables.len(), &board_names, mistakes);
            wheel(table, field.byte, board, &mut uses)
        })
        .collect();

    let simulator = simulator::check(&file.simulator, mistakes);
    let button_tables = match &file.button {
        None => &[],
        Some(_) => mistakes.tables(&file.button, "button", MOST),
    };
    let buttons: Vec<_> = button_tables
        .iter()
        .map(|field| {
            let table = field.value.as_ref()?;
            let path = "button.board";
            let board = board_of(&table.board, field.byte, path, board_tables.len(), &board_names, mistakes);
            button::check(table, field.byte, board, &wheel_names, &mut uses, mistakes)
        })
        .collect();

    Some(Rig {
        name: name?.0.clone(),
        control: optional(&file.control)?.copied().unwrap_or(true),
        boards: boards.into_iter().collect::<Option<_>>()?,
        wheels: wheels.into_iter().collect::<Option<_>>()?,
        simulator: simulator?,
        buttons: buttons.into_iter().collect::<Option<_>>()?,
    })
}

fn board(table: &BoardFile, byte: usize, mistakes: &Mistakes<'_>) -> Option<Board> {
    let BoardFile { name, usb, serial, path, report_interval_ms, hide, buttons } = table;
    if usb.is_none() && serial.is_none() && path.is_none() {
        mistakes.tell(byte, "board.usb", "one of the keys `usb`, `serial` and `path`", "nothing");
    }
    let runs = match buttons {
        None => Some(Vec::new()),
        Some(_) => button_runs(mistakes.tables(buttons, "board.buttons", MOST), mistakes),
    };
    if let (Some(field), Some(_)) = (hide, buttons)
        && field.setting() == Some(&true)
    {
        let expected = "false with [[board.buttons]], because the kernel does not know these buttons";
        mistakes.tell(field.byte, "board.hide", expected, "true");
    }
    Some(Board {
        name: name.as_ref()?.setting()?.0.clone(),
        usb: optional(usb)?.copied(),
        serial: optional(serial)?.map(|label| label.0.clone()),
        path: optional(path)?.map(|label| label.0.clone()),
        report_interval: optional(report_interval_ms)?.map(|interval| interval.get()),
        hide: optional(hide)?.copied().unwrap_or(false),
        buttons: runs?,
    })
}

/// Two boards by the same description would both open whichever is found first.
fn tell_alike(boards: &[Option<Board>], tables: &[Field<BoardFile>], mistakes: &Mistakes<'_>) {
    for (i, (board, field)) in boards.iter().zip(tables).enumerate() {
        let Some(board) = board else { continue };
        let same = |other: &&Board| {
            (&other.usb, &other.serial, &other.path) == (&board.usb, &board.serial, &board.path)
        };
        if let Some(other) = boards.iter().take(i).flatten().find(same) {
            mistakes.tell(
                field.byte,
                "board",
                "a `usb`, `serial` or `path` that tells it from every other board",
                format!("the same as for {}", words::quoted(&other.name)),
            );
        }
    }
}

fn button_runs(tables: &[Field<ButtonRunFile>], mistakes: &Mistakes<'_>) -> Option<Vec<ButtonRun>> {
    let runs: Vec<_> = tables
        .iter()
        .map(|field| field.value.as_ref().and_then(|table| button_run(table, field.byte, mistakes)))
        .collect();
    let mut before: Vec<ButtonRun> = Vec::new();
    for (field, run) in tables.iter().zip(&runs) {
        let Some(run) = run else { continue };
        for other in &before {
            let (expected, found) = if other.report_id.is_some() != run.report_id.is_some() {
                ("a `report_id` in every run of buttons or in none", "some with and some without")
            } else if overlap(
                other.first_button.get().into(),
                other.buttons,
                run.first_button.get().into(),
                run.buttons,
            ) {
                ("button numbers that no other run has", "some that an earlier run has")
            } else if other.report_id == run.report_id
                && overlap(other.first_bit, other.buttons, run.first_bit, run.buttons)
            {
                ("bits that no other run has", "some that an earlier run has")
            } else {
                continue;
            };
            mistakes.tell(field.byte, "board.buttons", expected, found);
            break;
        }
        before.push(*run);
    }
    runs.into_iter().collect()
}

fn overlap(first: u32, count: u8, other_first: u32, other_count: u8) -> bool {
    first < other_first + u32::from(other_count) && other_first < first + u32::from(count)
}

fn button_run(table: &ButtonRunFile, byte: usize, mistakes: &Mistakes<'_>) -> Option<ButtonRun> {
    let ButtonRunFile { report_id, first_bit: bit_key, first_button: button_key, count: count_key } = table;
    let first_bit = mistakes.required(bit_key, byte, "board.buttons.first_bit");
    let count = mistakes.required(count_key, byte, "board.buttons.count");
    let first_button = match button_key {
        None => ButtonNumber::new(1),
        Some(field) => field.setting().copied(),
    };
    let report_id = optional(report_id)?.map(|id| id.get());
    let (first_bit, count, first_button) = (first_bit?.get(), count?.get(), first_button?);
    let mut fits = true;
    let room = u16::from(ButtonNumber::LAST.get()) - u16::from(first_button.get()) + 1;
    if u16::from(count) > room {
        let expected = format!("at most {room} buttons from button {first_button} on");
        mistakes.tell(byte_of(count_key, byte), "board.buttons.count", expected, count.to_string());
        fits = false;
    }
    if i64::from(first_bit) + i64::from(count) > BitIndex::MOST + 1 {
        let expected = format!("{count} bits that end by bit {}", BitIndex::MOST);
        mistakes.tell(byte_of(bit_key, byte), "board.buttons.first_bit", expected, first_bit.to_string());
        fits = false;
    }
    if report_id.is_some() && first_bit < 8 {
        let expected = "8 or more, because the report's number fills the first 8 bits";
        mistakes.tell(byte_of(bit_key, byte), "board.buttons.first_bit", expected, first_bit.to_string());
        fits = false;
    }
    fits.then_some(ButtonRun { report_id, first_bit, first_button, buttons: count })
}

fn board_of(
    key: &Key<Name>,
    byte: usize,
    path: &str,
    boards: usize,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<usize> {
    match key {
        Some(field) => names.find(&field.setting()?.0, field.byte, path, "a [[board]]", mistakes),
        None if boards == 1 => Some(0),
        // A rig without any board has been told of.
        None if boards == 0 => None,
        None => {
            mistakes.tell(byte, path, names.expected("a [[board]]"), "nothing");
            None
        }
    }
}

const PULSES: &str = "wiring = \"pulses\"";
const QUADRATURE: &str = "wiring = \"quadrature\"";

fn wheel(table: &WheelFile, byte: usize, board: Option<usize>, uses: &mut Uses<'_>) -> Option<Wheel> {
    let mistakes = uses.mistakes;
    let WheelFile { forward, backward, a, b, counts_per_cycle, .. } = table;
    let label = table.name.as_ref().and_then(Field::setting).map_or("", |name| &name.0);
    let what = |key: &str| format!("`{key}` of wheel {}", words::quoted(label));
    let wiring = mistakes.required(&table.wiring, byte, "wheel.wiring").copied();
    let inputs = match wiring {
        Some(WiringKind::Pulses) => {
            mistakes.foreign(a, "wheel.a", QUADRATURE, PULSES);
            mistakes.foreign(b, "wheel.b", QUADRATURE, PULSES);
            mistakes.foreign(counts_per_cycle, "wheel.counts_per_cycle", QUADRATURE, PULSES);
            let forward = uses.button(forward, byte, board, "wheel.forward", &what("forward"));
            let backward = uses.button(backward, byte, board, "wheel.backward", &what("backward"));
            forward.zip(backward).map(|(forward, backward)| WheelInputs::Pulses { forward, backward })
        }
        Some(WiringKind::Quadrature) => {
            mistakes.foreign(forward, "wheel.forward", PULSES, QUADRATURE);
            mistakes.foreign(backward, "wheel.backward", PULSES, QUADRATURE);
            mistakes.foreign(&table.pulse_on_ms, "wheel.pulse_on_ms", PULSES, QUADRATURE);
            mistakes.foreign(&table.pulse_off_ms, "wheel.pulse_off_ms", PULSES, QUADRATURE);
            let a = uses.button(a, byte, board, "wheel.a", &what("a"));
            let b = uses.button(b, byte, board, "wheel.b", &what("b"));
            let per_cycle = mistakes.required(counts_per_cycle, byte, "wheel.counts_per_cycle");
            a.zip(b).zip(per_cycle).map(|((a, b), per_cycle)| WheelInputs::Quadrature {
                a,
                b,
                per_cycle: *per_cycle,
            })
        }
        None => None,
    };
    let index = match &table.index {
        None => Some(None),
        Some(_) => uses.button(&table.index, byte, board, "wheel.index", &what("index")).map(Some),
    };
    let per_turn = mistakes.required(&table.counts_per_turn, byte, "wheel.counts_per_turn");
    Some(Wheel {
        name: table.name.as_ref()?.setting()?.0.clone(),
        board: BoardIndex::new(u8::try_from(board?).ok()?),
        inputs: inputs?,
        per_turn: *per_turn?,
        counts_per_detent: optional(&table.counts_per_detent)?.map(|counts| counts.get()),
        pulse_on: optional(&table.pulse_on_ms)?.map(|time| time.get()),
        pulse_off: optional(&table.pulse_off_ms)?.map(|time| time.get()),
        index: index?,
        pressed_at_rest: optional(&table.pressed_at_rest)?.copied().unwrap_or(false),
        reversed: optional(&table.reversed)?.copied().unwrap_or(false),
    })
}

/// Which buttons of which boards have a use already.
pub(super) struct Uses<'a> {
    boards: &'a [Option<Board>],
    taken: HashMap<(usize, ButtonNumber), String>,
    mistakes: &'a Mistakes<'a>,
}

impl Uses<'_> {
    /// The button at a required key `path`, unless it has a use already or the board does not have it. `what` is
    /// what it will be, for those that want it too.
    pub(super) fn button(
        &mut self,
        key: &Key<ButtonNumber>,
        table: usize,
        board: Option<usize>,
        path: &str,
        what: &str,
    ) -> Option<ButtonNumber> {
        let button = *self.mistakes.required(key, table, path)?;
        let byte = byte_of(key, table);
        // On an unknown board nothing more can be said of it.
        let Some(board) = board else { return Some(button) };
        if let Some(runs) = self.boards.get(board).and_then(Option::as_ref).map(|b| &b.buttons)
            && !runs.is_empty()
            && !covered(runs).pressed(button)
        {
            let expected = "a button that one of the board's [[board.buttons]] has";
            self.mistakes.tell(byte, path, expected, button.to_string());
            return None;
        }
        if let Some(other) = self.taken.get(&(board, button)) {
            let found = format!("{button}, which is {other}");
            self.mistakes.tell(byte, path, "a button without another use", found);
            return None;
        }
        let line = self.mistakes.source().at(byte).line;
        self.taken.insert((board, button), format!("{what} on line {line}"));
        Some(button)
    }
}

fn covered(runs: &[ButtonRun]) -> Buttons {
    let mut all = Buttons::NONE;
    for run in runs {
        let first = run.first_button.get();
        for number in first..=first.saturating_add(run.buttons - 1) {
            if let Some(button) = ButtonNumber::new(number) {
                all = all.with(button, true);
            }
        }
    }
    all
}

fn byte_of<T>(key: &Key<T>, table: usize) -> usize {
    key.as_ref().map_or(table, |field| field.byte)
}
