//! Any text gives a value that holds together or mistakes with places, and never a panic.
#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "helpers of tests may stop at the first surprise"
)]

mod common;

use common::{AIRCRAFT, RARE_AIRCRAFT, RARE_RIG, RIG};
use proptest::prelude::*;
use std::collections::BTreeSet;
use tallywheel_profile::{Aircraft, DeviceName, FileErrors, OutputConfig, Rig, Start, aircraft, fit, rig};
use tallywheel_units::{Degrees, Normalized, Ratio};

/// What a mistake must tell, and where it must be.
fn has_places(text: &str, errors: &FileErrors) -> Result<(), TestCaseError> {
    prop_assert!(!errors.as_slice().is_empty());
    prop_assert!(errors.as_slice().len() <= FileErrors::MOST);
    let lines: Vec<_> = text.split('\n').collect();
    let mut last = (1, 1);
    for error in errors {
        prop_assert_eq!(&error.file, "f.toml");
        prop_assert!((1..=lines.len()).contains(&error.line), "{error}");
        // One past the end is where something is missing.
        let columns = lines[error.line - 1].chars().count() + 1;
        prop_assert!((1..=columns).contains(&error.column), "{error}");
        prop_assert!(last <= (error.line, error.column), "{errors}");
        last = (error.line, error.column);
        for part in [&error.key, &error.expected, &error.found] {
            prop_assert!(!part.is_empty() && !part.contains(char::is_control), "{error:?}");
            // The file's own text is repeated in part only.
            prop_assert!(part.chars().count() < 400, "{error:?}");
        }
    }
    Ok(())
}

fn rig_holds(rig: &Rig) -> Result<(), TestCaseError> {
    let names: BTreeSet<_> = rig.wheels.iter().map(|wheel| &wheel.name).collect();
    prop_assert_eq!(names.len(), rig.wheels.len());
    prop_assert!(!rig.boards.is_empty() && !rig.wheels.is_empty());
    let mut buttons = BTreeSet::new();
    for wheel in &rig.wheels {
        prop_assert!(wheel.board.get() < rig.boards.len());
        for button in wheel.inputs.buttons().into_iter().chain(wheel.index) {
            prop_assert!(buttons.insert((wheel.board.get(), button)));
        }
    }
    for board in &rig.boards {
        prop_assert!(board.usb.is_some() || board.serial.is_some() || board.path.is_some());
        for run in &board.buttons {
            prop_assert!(u16::from(run.first_button.get()) + u16::from(run.buttons) <= 129);
        }
    }
    prop_assert!(rig.device_name().as_str().len() <= DeviceName::LONGEST_BYTES);
    prop_assert!(rig.steps_device_name().as_str().len() <= DeviceName::LONGEST_BYTES);
    Ok(())
}

fn aircraft_holds(aircraft: &Aircraft) -> Result<(), TestCaseError> {
    let titles = &aircraft.titles;
    prop_assert!(titles.iter().all(|pattern| titles.iter().filter(|other| *other == pattern).count() == 1));
    prop_assert!(!aircraft.trims.is_empty());
    for trim in &aircraft.trims {
        prop_assert!(trim.travel > Degrees::ZERO && trim.travel <= Degrees::LONGEST_TRAVEL);
        prop_assert!(trim.neutral >= Degrees::ZERO && trim.neutral <= trim.travel);
        let within = |place: Degrees| place >= Degrees::ZERO && place <= trim.travel;
        if let Start::At(place) = trim.start {
            prop_assert!(within(place));
        }
        let names: BTreeSet<_> = trim.positions.iter().map(|position| &position.name).collect();
        prop_assert_eq!(names.len(), trim.positions.len());
        prop_assert!(trim.positions.iter().all(|position| within(position.at)));
        for word in ["saved", "neutral", "low", "high", "simulator"] {
            prop_assert!(!names.contains(&word.to_owned()));
        }
        prop_assert!(!trim.ratios.is_empty());
        let wheel = |ratio: &Ratio| trim.travel.get() / ratio.get();
        prop_assert!(trim.ratios.iter().all(|ratio| wheel(ratio) <= Degrees::LONGEST_TRAVEL.get()));
        if let [first, .., last] = trim.curve.as_slice() {
            prop_assert_eq!((first.0, last.0), (Degrees::ZERO, trim.travel));
            prop_assert!(trim.curve.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 <= pair[1].1));
            prop_assert!(trim.curve.contains(&(trim.neutral, Normalized::NEUTRAL)));
            prop_assert!(trim.neutral == Degrees::ZERO || first.1 == Normalized::MIN);
            prop_assert!(trim.neutral == trim.travel || last.1 == Normalized::MAX);
        }
    }
    for output in &aircraft.outputs {
        match output {
            OutputConfig::Axis { axes, .. } => {
                let names: BTreeSet<_> = axes.iter().map(|(_, axis)| axis.name()).collect();
                prop_assert_eq!(names.len(), axes.len());
            }
            OutputConfig::Datagram(config) => {
                prop_assert!(config.keep_alive.is_none_or(|every| every >= config.min_interval));
                let names: BTreeSet<_> = config.trims.iter().map(|(_, name)| name).collect();
                prop_assert_eq!(names.len(), config.trims.len());
            }
            OutputConfig::Steps { trims, pace, .. } => {
                prop_assert!((1..=10_000).contains(&pace.presses));
                let buttons: BTreeSet<_> = trims.iter().flat_map(|trim| [trim.low, trim.high]).collect();
                prop_assert_eq!(buttons.len(), 2 * trims.len());
                prop_assert!(buttons.iter().all(|button| button.get() <= 56));
            }
            OutputConfig::Keys { trims, pace } => {
                prop_assert!((1..=10_000).contains(&pace.presses));
                let keys: BTreeSet<_> = trims.iter().flat_map(|trim| [trim.low, trim.high]).collect();
                prop_assert_eq!(keys.len(), 2 * trims.len());
            }
        }
        let trims = output.trims();
        prop_assert!(!trims.is_empty());
        prop_assert!(trims.iter().all(|trim| trim.get() < aircraft.trims.len()));
        prop_assert_eq!(trims.iter().collect::<BTreeSet<_>>().len(), trims.len());
    }
    Ok(())
}

/// Reads `text` as both kinds of file.
fn read(text: &str) -> Result<(), TestCaseError> {
    match rig("f.toml", text) {
        Ok(rig) => rig_holds(&rig)?,
        Err(errors) => has_places(text, &errors)?,
    }
    match aircraft("f.toml", text) {
        Ok(aircraft) => {
            aircraft_holds(&aircraft)?;
            if let Err(errors) = fit(&rig("f.toml", RIG).unwrap(), &aircraft) {
                has_places(text, &errors)?;
            }
        }
        Err(errors) => has_places(text, &errors)?,
    }
    Ok(())
}

/// Pieces of our files and of TOML, so that noise comes past the parser.
fn piece() -> impl Strategy<Value = String> {
    let words = [
        "name",
        "board",
        "wheel",
        "trim",
        "output",
        "usb",
        "serial",
        "path",
        "buttons",
        "report_id",
        "first_bit",
        "count",
        "wiring",
        "titles",
        "default",
        "positions",
        "start",
        "report",
        "curve",
        "smoothing_ms",
        "ratios",
        "counts_per_detent",
        "pulse_on_ms",
        "pulse_off_ms",
        "index",
        "\"saved\"",
        "\"take-off\"",
        "\"adopt\"",
        "\"Kettrin*\"",
        "[[100, -0.5], [400, 0.2]]",
        "[1, 0.5]",
        "forward",
        "backward",
        "a",
        "b",
        "counts_per_cycle",
        "counts_per_turn",
        "reversed",
        "travel_degrees",
        "neutral_degrees",
        "stops",
        "start",
        "kind",
        "device",
        "axes",
        "to",
        "template",
        "trims",
        "range",
        "reversed",
        "layout",
        "prefix",
        "min_interval_ms",
        "keep_alive_ms",
        "text",
        "value",
        "number",
        "type",
        "digits",
        "pad_to",
        "\"layout\"",
        "\"f32\"",
        " = ",
        "=",
        "\n",
        "\n",
        "\r\n",
        "[[board]]\n",
        "[[wheel]]\n",
        "[[trim]]\n",
        "[[output]]\n",
        "[[board.buttons]]\n",
        "[",
        "]",
        "{",
        "}",
        ",",
        ".",
        "#",
        "\"",
        "'",
        "\"\"\"",
        "true",
        "false",
        "nan",
        "-inf",
        "0",
        "-1",
        "128",
        "129",
        "1e400",
        "1e-400",
        "0xffffffffffffffff",
        "2026-11-24",
        "07:32:00",
        "\"main\"",
        "\"rudder\"",
        "\"pulses\"",
        "\"quadrature\"",
        "\"axis\"",
        "\"datagram\"",
        "\"1209:7a11\"",
        "\"127.0.0.1:1\"",
        "\u{feff}",
        "\u{e9}",
        "\0",
        "\t",
    ];
    prop_oneof![
        9 => prop::sample::select(words.to_vec()).prop_map(str::to_owned),
        1 => any::<char>().prop_map(String::from),
        1 => any::<i64>().prop_map(|number| number.to_string()),
        1 => any::<f64>().prop_map(|number| number.to_string()),
    ]
}

/// One change to a text: `length` characters from `at` on replaced by some pieces.
fn change() -> impl Strategy<Value = (prop::sample::Index, usize, Vec<String>)> {
    let length = prop_oneof![4 => 0..3usize, 2 => 0..30usize, 1 => 0..400usize];
    (any::<prop::sample::Index>(), length, prop::collection::vec(piece(), 0..3))
}

fn changed(text: &str, changes: &[(prop::sample::Index, usize, Vec<String>)]) -> String {
    let mut chars: Vec<char> = text.chars().collect();
    for (at, length, pieces) in changes {
        let at = at.index(chars.len() + 1);
        let end = (at + length).min(chars.len());
        chars.splice(at..end, pieces.concat().chars());
    }
    chars.into_iter().collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    #[test]
    fn any_characters(text in any::<String>()) {
        read(&text)?;
    }

    #[test]
    fn any_pieces(pieces in prop::collection::vec(piece(), 0..60)) {
        read(&pieces.concat())?;
    }

    #[test]
    fn a_good_rig_with_changes(changes in prop::collection::vec(change(), 1..5)) {
        read(&changed(RIG, &changes))?;
    }

    #[test]
    fn a_good_aircraft_with_changes(changes in prop::collection::vec(change(), 1..5)) {
        read(&changed(AIRCRAFT, &changes))?;
    }

    #[test]
    fn good_files_with_rare_keys_and_changes(changes in prop::collection::vec(change(), 1..5)) {
        read(&changed(RARE_RIG, &changes))?;
        read(&changed(RARE_AIRCRAFT, &changes))?;
    }

    /// What an editor leaves while it writes: the file up to some byte.
    #[test]
    fn a_file_half_written(cut in 0..RIG.len() + AIRCRAFT.len()) {
        let text = if cut < RIG.len() { &RIG[..cut] } else { &AIRCRAFT[..cut - RIG.len()] };
        read(text)?;
    }
}

/// The changes above must not all end in the parser: enough of them give a value, and enough a mistake in one.
#[test]
fn the_noise_reaches_everything() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::deterministic();
    let (mut values, mut meaning) = (0, 0);
    for _ in 0..500 {
        let changes = prop::collection::vec(change(), 1..3).new_tree(&mut runner).unwrap().current();
        match rig("f.toml", &changed(RIG, &changes)) {
            Ok(_) => values += 1,
            // The checks tell several things that the parser never does; a missing key is one.
            Err(errors) if errors.iter().any(|e| e.found == "nothing") => meaning += 1,
            Err(_) => {}
        }
    }
    assert!(values > 10 && meaning > 10, "{values} values, {meaning} mistakes of meaning");
}
