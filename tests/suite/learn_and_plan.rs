//! `tallywheel learn` and `tallywheel plan` of the built program.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

use serde_json::Value;
use tallywheel_tests::{Folder, Ran, run, top};

const RUDDER: &str = "tests/recordings/learn/rudder.hid";
const ELEVATOR: &str = "tests/recordings/learn/elevator.hid";

fn json(ran: &Ran) -> Value {
    serde_json::from_str(ran.out.lines().last().unwrap()).unwrap_or_else(|_| panic!("{}{}", ran.out, ran.err))
}

fn read(folder: &Folder, name: &str) -> String {
    std::fs::read_to_string(folder.path().join(name)).unwrap()
}

#[test]
fn a_recording_becomes_a_rig_that_check_takes() {
    let folder = Folder::new("learn-new");
    let ran = run(&["learn", "--recording", RUDDER, "--config", folder.arg(), "--wheel", "rudder", "--yes"]);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{}", ran.out);
    folder.write("aircraft/one.toml", "name = \"One\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 580\n");
    let ran = run(&["check", "--config", folder.arg()]);
    assert_eq!(ran.code, Some(0), "{}", ran.out);
    let rig = read(&folder, "rig.toml");
    // What the testkit made: A on button 2, 24 cycles of 4 edges, a report every 4 ms.
    for line in ["a = 2", "b = 1", "counts_per_turn = 96", "report_interval_ms = 4"] {
        assert!(rig.lines().any(|own| own == line), "{line}: {rig}");
    }
    // The lesson counts out to nothing on that rig: six turns each way, and then eight clicks of four edges.
    let path = |name: &str| format!("{}/{name}", folder.arg());
    let replay = run(&[
        "replay",
        RUDDER,
        "--rig",
        &path("rig.toml"),
        "--aircraft",
        &path("aircraft/one.toml"),
        "--json",
    ]);
    assert_eq!(json(&replay)["counts"]["rudder"], 32, "{}", replay.err);
}

/// README's steps with one wheel: what `learn` writes and an example aircraft with two trims.
#[test]
fn an_example_aircraft_can_be_used_with_one_wheel() {
    let folder = Folder::new("learn-one");
    let learn =
        run(&["learn", "--recording", RUDDER, "--config", folder.arg(), "--wheel", "rudder", "--yes"]);
    assert_eq!(learn.code, Some(0), "{}", learn.err);
    let aircraft = "config/aircraft/kettrin-2-floatplane.toml";
    folder.write("aircraft/kettrin.toml", &std::fs::read_to_string(top().join(aircraft)).unwrap());
    let left_out = "trim elevator is left out: rig rig has no wheel elevator\n";
    let check = run(&["check", "--config", folder.arg()]);
    assert_eq!((check.code, check.err.as_str()), (Some(0), ""), "{}", check.out);
    assert!(check.out.contains(left_out), "{}", check.out);
    let rig = format!("{}/rig.toml", folder.arg());
    let replay = run(&["replay", RUDDER, "--rig", &rig, "--aircraft", aircraft, "--json"]);
    assert_eq!((replay.code, &replay.err), (Some(0), &format!("tallywheel: {left_out}")));
    let trims: Vec<_> = json(&replay)["position"].as_object().unwrap().keys().cloned().collect();
    assert_eq!(trims, ["rudder"]);
    let plan = run(&["plan", "--config", folder.arg(), "--json"]);
    assert_eq!((plan.code, plan.out.lines().count()), (Some(0), 1), "{}", plan.err);
    // A name that is only misspelt is a mistake.
    folder.write("rig.toml", &read(&folder, "rig.toml").replace("name = \"rudder\"", "name = \"ruder\""));
    let check = run(&["check", "--config", folder.arg()]);
    assert_eq!(check.code, Some(1), "{}", check.out);
    assert!(check.out.contains("\"ruder\"") && check.out.contains("found \"rudder\""), "{}", check.out);
}

#[test]
fn the_users_file_keeps_its_comments_and_a_copy() {
    let folder = Folder::new("learn-old");
    let own = std::fs::read_to_string(top().join("config/rig.toml")).unwrap();
    folder.write("rig.toml", &own);
    let show = run(&["learn", "--recording", RUDDER, "--config", folder.arg()]);
    assert_eq!(show.code, Some(0), "{}", show.err);
    assert!(show.out.contains("+ a = 2") && show.out.contains("Nothing was written"), "{}", show.out);
    assert_eq!(read(&folder, "rig.toml"), own, "nothing is written unasked");
    let ran = run(&["learn", "--recording", RUDDER, "--config", folder.arg(), "--yes"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let new = read(&folder, "rig.toml");
    assert_eq!(new, own.replacen("a = 1\nb = 2\n", "a = 2\nb = 1\n", 1));
    assert_eq!(read(&folder, "rig.toml.old1"), own);
    let again = run(&["learn", "--recording", RUDDER, "--config", folder.arg(), "--yes"]);
    assert!(again.out.contains("says all this already"), "{}", again.out);
}

#[test]
fn scripts_get_every_value_and_whether_it_is_sure() {
    let folder = Folder::new("learn-json");
    let ran = run(&["learn", "--recording", RUDDER, "--config", folder.arg(), "--json"]);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    let learnt = json(&ran);
    let wheel = &learnt["wheel"];
    assert_eq!(learnt["board"]["usb"], "1209:7a11");
    assert_eq!(
        (&wheel["counts_per_turn"]["value"], &wheel["counts_per_turn"]["sure"]),
        (&96.into(), &true.into())
    );
    assert_eq!(wheel["counts_per_click"]["value"], 4.0);
    assert!(learnt["written"].is_null());
    assert!(learnt["kept"][0].as_str().unwrap().contains("--wheel"), "{learnt}");
}

#[test]
fn what_is_not_sure_says_so_in_the_file() {
    let folder = Folder::new("learn-unsure");
    let arguments =
        ["learn", "--recording", ELEVATOR, "--config", folder.arg(), "--wheel", "elevator", "--yes"];
    let ran = run(&arguments);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    // The board drops pulses in the brisk turns, so what a slow turn counted is not proven.
    assert!(ran.out.contains("UNSURE"), "{}", ran.out);
    let rig = read(&folder, "rig.toml");
    assert!(rig.contains("counts_per_turn = 24 # unsure: "), "{rig}");
    assert_eq!(json(&run(&[&arguments[..], &["--json"]].concat()))["wheel"]["pulse_on_ms"]["sure"], true);
}

#[test]
fn no_wheel_is_an_error_that_says_why() {
    let folder = Folder::new("learn-none");
    let ran = run(&["learn", "--recording", "tests/recordings/demo.hid", "--config", folder.arg()]);
    assert_eq!((ran.code, ran.err.as_str()), (Some(1), "tallywheel: no wheel was found\n"));
    assert!(ran.out.contains("no two turns"), "{}", ran.out);
    let ran = run(&["learn", "--recording", "no-such-file.hid", "--config", folder.arg()]);
    assert!(ran.code == Some(1) && ran.err.contains("no-such-file.hid"), "{}", ran.err);
}

#[test]
fn a_plan_from_figures_needs_no_files() {
    // The derived table of published formulas: 24 pulses at 10 ms are 62.5 rpm, 37.5 with the phase tolerance.
    let ran = run(&[
        "plan",
        "--travel-degrees",
        "580",
        "--cycles-per-turn",
        "24",
        "--report-interval-ms",
        "10",
        "--json",
    ]);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    let plan = json(&ran);
    let choices = plan["choices"].as_array().unwrap();
    assert_eq!(choices.len(), 6);
    let last = &choices[5];
    assert_eq!((&last["wiring"], &last["counts_per_cycle"]), (&"quadrature".into(), &4.into()));
    let near = |key: &str, expected: f64| {
        let value = last[key].as_f64().unwrap();
        assert!((value - expected).abs() < 1e-5, "{key}: {value}");
    };
    near("fastest_turns_per_second_ideal", 62.5 / 60.0);
    near("fastest_turns_per_second", 37.5 / 60.0);
    near("degrees_per_count", 3.75);
    near("counts_stop_to_stop", 580.0 / 3.75);
    near("full_travel_s", 580.0 / 360.0 / (37.5 / 60.0));
}

#[test]
fn a_plan_of_the_shipped_files_marks_how_they_are_wired() {
    let folder = run(&["plan", "--config", "config", "--aircraft", "kettrin-2-floatplane"]);
    assert_eq!((folder.code, folder.err.as_str()), (Some(0), ""));
    assert!(folder.out.contains("> quadrature x4          96    154.7    3.750"), "{}", folder.out);
    let files =
        run(&["plan", "--rig", "config/rig.toml", "--aircraft", "config/aircraft/kettrin-2-floatplane.toml"]);
    assert_eq!(files.out, folder.out);
    let trims = run(&["plan", "--config", "config", "--aircraft", "kettrin-2-floatplane", "--json"]);
    assert_eq!(trims.out.lines().count(), 2, "one line for each trim");
}

#[test]
fn a_wrong_or_missing_figure_is_named() {
    for (arguments, said) in [
        (&["--travel-degrees", "580", "--cycles-per-turn", "24"][..], "--report-interval-ms"),
        (
            &["--travel-degrees=-5", "--cycles-per-turn", "24"],
            "--travel-degrees -5: expected degrees above 0",
        ),
        (&["--cycles-per-turn", "0"], "--cycles-per-turn 0: expected"),
        (&["--turns-per-second", "nan"], "--turns-per-second NaN: expected"),
    ] {
        let ran = run(&[&["plan"], arguments].concat());
        assert_eq!(ran.code, Some(1), "{arguments:?}");
        assert!(ran.err.contains(said), "{arguments:?}: {}", ran.err);
    }
}

/// README.md shows what the program prints.
#[test]
fn the_readme_shows_real_output() {
    let readme = std::fs::read_to_string(top().join("README.md")).unwrap();
    let plan = run(&[
        "plan",
        "--travel-degrees",
        "580",
        "--cycles-per-turn",
        "24",
        "--encoder-ratio",
        "3",
        "--report-interval-ms",
        "8",
        "--pulse-on-ms",
        "20",
    ]);
    assert!(readme.contains(plan.out.trim_end()), "{}", plan.out);
    let folder = Folder::new("learn-readme");
    let learn = run(&["learn", "--recording", RUDDER, "--config", folder.arg(), "--wheel", "rudder"]);
    let shown = learn.out.replace(folder.arg(), "~/.config/tallywheel-example");
    assert!(readme.contains(shown.trim_end()), "{shown}");
}
