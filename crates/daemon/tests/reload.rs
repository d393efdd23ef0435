//! Files that are saved while the wheels turn: the program's own threads, real files, the system's own watch; only
//! the board is a script.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

mod common;

use common::{AIRCRAFT, Bench, RIG, aircraft, until};
use rand::{Rng, SeedableRng};
use std::fs;
use std::path::Path;
use std::time::Duration;
use tallywheel_engine::commands::{Choice, Command, Origin, Outcome};
use tallywheel_engine::config_files::Watch;
use tallywheel_units::{Counts, FixedCounts, WheelIndex};

/// The travel that is flown, in whole degrees.
fn travel(bench: &Bench) -> f64 {
    bench.shared.look(|tally| tally.trims()[0].accumulator.config().travel().get())
}

fn save_in_place(path: &Path, text: &str) {
    fs::write(path, text).unwrap();
}

fn save_by_rename(path: &Path, text: &str) {
    let beside = path.with_extension("toml.new");
    fs::write(&beside, text).unwrap();
    fs::rename(beside, path).unwrap();
}

/// The old file goes to a backup first; for a moment there is none.
fn save_with_backup(path: &Path, text: &str) {
    fs::rename(path, path.with_extension("toml~")).unwrap();
    fs::write(path, text).unwrap();
}

fn save_in_two_steps(path: &Path, text: &str) {
    use std::io::Write;
    let mut file = fs::File::create(path).unwrap();
    let (first, second) = text.split_at(text.len() / 2);
    std::thread::sleep(Duration::from_millis(5));
    file.write_all(first.as_bytes()).unwrap();
    std::thread::sleep(Duration::from_millis(30));
    file.write_all(second.as_bytes()).unwrap();
}

fn save_after_deleting(path: &Path, text: &str) {
    fs::remove_file(path).unwrap();
    std::thread::sleep(Duration::from_millis(30));
    fs::write(path, text).unwrap();
}

fn save_often(path: &Path, text: &str) {
    for n in 0..50 {
        fs::write(path, format!("{text}# {n}\n")).unwrap();
    }
    fs::write(path, text).unwrap();
}

type Save = fn(&Path, &str);
const SAVES: [Save; 6] =
    [save_in_place, save_by_rename, save_with_backup, save_in_two_steps, save_after_deleting, save_often];

#[test]
fn every_editor_s_habit_is_taken_up_and_degrees_are_kept() {
    let bench = Bench::start("habits");
    bench.turn(0, 10);
    until("the wheel turned", || bench.counts(0) == 10);
    let degrees = bench.degrees();
    let path = bench.folder.join(AIRCRAFT);
    for (n, save) in SAVES.iter().enumerate() {
        let new = 700 + u16::try_from(n).unwrap();
        save(&path, &aircraft(new.into(), ""));
        until("the new travel", || travel(&bench) == f64::from(new));
        assert_eq!(bench.degrees(), degrees, "save {n}");
    }
    bench.stop();
}

/// Where the system tells nothing, as of changes that another machine makes on a network drive, the files are looked
/// at once a second. The wheel turns all the while.
#[test]
fn saves_that_the_system_does_not_tell_of_are_taken_up_and_no_count_is_lost() {
    let settings = common::new_settings("looking");
    let watch = Watch::looking(&settings.folder, "the folder is on a network drive");
    let bench = Bench::start_watching(settings, watch);
    until("it is said", || {
        let log = bench.log();
        log.contains("saved files are looked for once a second")
            && log.contains("reason=\"the folder is on a network drive\"")
    });
    let path = bench.folder.join(AIRCRAFT);
    let turned = std::thread::scope(|scope| {
        let (ended, end) = std::sync::mpsc::channel::<()>();
        let bench = &bench;
        let hand = scope.spawn(move || {
            let mut turned = 0;
            while matches!(end.try_recv(), Err(std::sync::mpsc::TryRecvError::Empty)) {
                bench.turn(0, 1);
                turned += 1;
                std::thread::sleep(Duration::from_millis(1));
            }
            turned
        });
        for (new, save) in (1000_u16..).zip([save_in_place, save_by_rename, save_with_backup, save_by_rename])
        {
            save(&path, &aircraft(new.into(), ""));
            until("the new travel", || travel(bench) == f64::from(new));
        }
        // One that was not there when the watch began.
        let other = aircraft(90, "").replace("Kettrin", "Ozzock");
        save_by_rename(&bench.folder.join("aircraft/ozzock.toml"), &other);
        until("the new file", || bench.ask(Command::Fly(Choice::Named("ozzock".into()))).is_ok());
        drop(ended);
        hand.join().unwrap()
    });
    assert!(turned > 100, "only {turned} counts were turned");
    until("all counts", || bench.counts(0) == turned);
    bench.stop();
}

#[test]
fn what_is_not_valid_changes_nothing() {
    let bench = Bench::start("invalid");
    let path = bench.folder.join(AIRCRAFT);
    for wrong in ["", "name = ", "name = \"Kettrin\"\n", "x = 1\n", "\u{0}"] {
        fs::write(&path, wrong).unwrap();
        // Another file that is valid, so that there is something to wait for.
        bench.mark();
        assert_eq!(travel(&bench), 720.0, "{wrong:?}");
    }
    fs::remove_file(&path).unwrap();
    bench.mark();
    assert_eq!(travel(&bench), 720.0);
    // A wheel that the rig does not have: each file is good, and they do not go together.
    fs::write(&path, aircraft(500, "wheel = \"nowhere\"\n")).unwrap();
    bench.mark();
    assert_eq!(travel(&bench), 720.0);
    fs::write(&path, aircraft(500, "")).unwrap();
    until("the valid one", || travel(&bench) == 500.0);
    bench.stop();
}

#[test]
fn a_shorter_travel_takes_the_trim_to_its_stop() {
    let bench = Bench::start("shorter");
    bench.turn(0, 20);
    until("the wheel turned", || bench.counts(0) == 20);
    assert_eq!(bench.degrees(), 360.0 + 20.0 * 15.0);
    fs::write(bench.folder.join(AIRCRAFT), aircraft(400, "")).unwrap();
    until("the new travel", || travel(&bench) == 400.0);
    assert_eq!(bench.degrees(), 400.0);
    bench.stop();
}

#[test]
fn a_folder_that_is_deleted_and_made_again_is_found() {
    let bench = Bench::start("again");
    fs::remove_dir_all(bench.folder.join("aircraft")).unwrap();
    std::thread::sleep(Duration::from_millis(50));
    fs::create_dir(bench.folder.join("aircraft")).unwrap();
    fs::write(bench.folder.join(AIRCRAFT), aircraft(410, "")).unwrap();
    until("the aircraft", || travel(&bench) == 410.0);
    let away = bench.folder.with_extension("away");
    fs::rename(&bench.folder, &away).unwrap();
    fs::write(away.join(AIRCRAFT), aircraft(420, "")).unwrap();
    std::thread::sleep(Duration::from_millis(50));
    fs::rename(&away, &bench.folder).unwrap();
    until("the folder", || travel(&bench) == 420.0);
    fs::write(bench.folder.join(AIRCRAFT), aircraft(430, "")).unwrap();
    until("the watch is on again", || travel(&bench) == 430.0);
    bench.stop();
}

#[cfg(unix)]
#[test]
fn a_link_to_elsewhere_is_watched_where_it_leads() {
    let bench = Bench::start("link");
    let elsewhere = bench.folder.with_extension("elsewhere");
    fs::create_dir_all(&elsewhere).unwrap();
    let truly = elsewhere.join("kettrin.toml");
    fs::write(&truly, aircraft(510, "")).unwrap();
    let link = bench.folder.join(AIRCRAFT);
    fs::remove_file(&link).unwrap();
    std::os::unix::fs::symlink(&truly, &link).unwrap();
    until("the link", || travel(&bench) == 510.0);
    save_by_rename(&truly, &aircraft(520, ""));
    until("what it leads to", || travel(&bench) == 520.0);
    let _ = fs::remove_dir_all(elsewhere);
    bench.stop();
}

#[test]
fn the_rig_changes_while_its_board_is_read() {
    let bench = Bench::start("rig");
    bench.turn(0, 5);
    until("the wheel turned", || bench.counts(0) == 5);
    // Held down while the file changes: it was counted, and must not be again.
    bench.press(0b01);
    until("pressed", || bench.counts(0) == 6);
    let rig = bench.folder.join("rig.toml");
    fs::write(&rig, RIG.replace("counts_per_turn = 24", "counts_per_turn = 48")).unwrap();
    until("half the degrees", || {
        bench.shared.look(|tally| tally.trims()[0].accumulator.config().per_turn().get()) == 48
    });
    bench.press(0);
    bench.turn(0, 3);
    until("counted on", || bench.counts(0) == 9);
    // Forward and backward exchanged.
    let swapped = RIG.replace("forward = 1\nbackward = 2", "forward = 2\nbackward = 1");
    fs::write(&rig, &swapped).unwrap();
    until("full degrees again", || {
        bench.shared.look(|tally| tally.trims()[0].accumulator.config().per_turn().get()) == 24
    });
    bench.settled();
    bench.turn(0, 4);
    until("the other way", || bench.counts(0) == 5);
    // A new wheel before the others in the file; old ones keep their places.
    let more = swapped.replacen(
        "[[wheel]]",
        "[[wheel]]\nname = \"aileron\"\nwiring = \"pulses\"\nforward = 5\nbackward = 6\ncounts_per_turn = 24\n[[wheel]]",
        1,
    );
    fs::write(&rig, more).unwrap();
    until("a third wheel", || bench.shared.look(|tally| tally.wheel(WheelIndex::new(2)).is_some()));
    bench.settled();
    bench.turn(2, 7);
    bench.turn(0, -1);
    until("it counts", || bench.counts(2) == 7 && bench.counts(0) == 6);
    bench.stop();
}

#[test]
fn another_aircraft_is_flown_and_the_wheels_count_on() {
    let bench = Bench::start("fly");
    fs::write(bench.folder.join("aircraft/ozzock.toml"), aircraft(90, "").replace("Kettrin", "Ozzock"))
        .unwrap();
    bench.turn(0, 12);
    until("the wheel turned", || bench.counts(0) == 12);
    until("the file is known", || bench.ask(Command::Fly(Choice::Named("ozzock".into()))).is_ok());
    assert_eq!(travel(&bench), 90.0);
    assert_eq!(bench.degrees(), 45.0, "it starts at its own neutral");
    assert_eq!(bench.counts(0), 12);
    let flown = bench.ask(Command::Fly(Choice::Named("Ozzock".into()))).unwrap();
    assert!(matches!(flown, Outcome::Flying { was_flying: true, .. }));
    bench.ask(Command::Fly(Choice::Next)).unwrap();
    assert_eq!(travel(&bench), 720.0);
    assert!(bench.ask(Command::Fly(Choice::Named("nobody".into()))).is_err());
    bench.stop();
}

/// All that a thousand edits may do to the files but change what a count of the first wheel means.
#[test]
fn a_thousand_edits_lose_no_count() {
    let bench = Bench::start("thousand");
    let mut random = rand_pcg::Pcg64::seed_from_u64(4);
    let sent = std::thread::scope(|scope| {
        let (bench, mut hand) = (&bench, rand_pcg::Pcg64::seed_from_u64(5));
        let (ended, end) = std::sync::mpsc::channel::<()>();
        let feeder = scope.spawn(move || {
            let mut fed: [i64; 2] = [0, 0];
            while matches!(end.try_recv(), Err(std::sync::mpsc::TryRecvError::Empty)) {
                let counts = hand.random_range(-30..=30);
                bench.turn(0, counts);
                fed[0] += counts;
                fed[1] += counts.abs();
                bench.settled();
            }
            fed
        });
        for n in 0..1000 {
            edit(&bench.folder, &mut random);
            if n % 10 == 0 {
                std::thread::sleep(Duration::from_millis(random.random_range(0..60)));
            }
        }
        fs::write(bench.folder.join("rig.toml"), RIG).unwrap();
        fs::write(bench.folder.join(AIRCRAFT), aircraft(777, "")).unwrap();
        until("the last edit", || travel(bench) == 777.0);
        drop(ended);
        feeder.join().unwrap()
    });
    assert!(sent[1] > 10_000, "only {} counts were fed", sent[1]);
    until("all counts", || {
        bench.shared.look(|tally| tally.wheel(WheelIndex::new(0)).unwrap().turned.get()) == sent[1]
    });
    assert_eq!(bench.counts(0), sent[0]);
    let balance = bench.shared.look(|tally| tally.trims()[0].applied + tally.trims()[0].refused);
    assert_eq!(balance, FixedCounts::from_counts(Counts::new(sent[0])), "counts are conserved");
    bench.stop();
}

fn edit(folder: &Path, random: &mut impl Rng) {
    let aircraft_path = folder.join(AIRCRAFT);
    let travel = random.random_range(60..2000);
    let output = ["", "[[output]]\nkind = \"datagram\"\nto = \"127.0.0.1:9\"\n"][random.random_range(0..2)];
    let stops = ["", "stops = \"remember\"\n", "reversed = true\n"][random.random_range(0..3)];
    let text = format!("{}{output}", aircraft(travel, stops));
    if !aircraft_path.exists() {
        fs::write(&aircraft_path, &text).unwrap();
    }
    match random.random_range(0..12) {
        0..=2 => save_in_place(&aircraft_path, &text),
        3..=4 => save_by_rename(&aircraft_path, &text),
        5 => save_with_backup(&aircraft_path, &text),
        6 => save_in_place(&aircraft_path, &text[..random.random_range(0..text.len())]),
        7 => fs::remove_file(&aircraft_path).unwrap(),
        8 => fs::write(folder.join(format!("aircraft/{}.toml", random.random_range(0..5))), &text).unwrap(),
        9 => {
            let per_turn = random.random_range(8..100);
            let rig = RIG.replace("counts_per_turn = 24", &format!("counts_per_turn = {per_turn}"));
            save_in_place(&folder.join("rig.toml"), &rig);
        }
        10 => {
            let (forward, backward) = (random.random_range(3..16), random.random_range(17..32));
            let other = format!("forward = {forward}\nbackward = {backward}");
            save_by_rename(&folder.join("rig.toml"), &RIG.replace("forward = 3\nbackward = 4", &other));
        }
        _ => save_in_place(&folder.join("rig.toml"), &RIG[..random.random_range(0..RIG.len())]),
    }
}

#[test]
fn commands_are_answered() {
    let bench = Bench::start("commands");
    let ask =
        |command| bench.ask(command).map(|outcome| outcome.to_string()).map_err(|error| error.to_string());
    let align = |trim: &str, to: &str| {
        ask(Command::Align { trim: trim.into(), to: tallywheel_engine::commands::Spot::from_text(to) })
    };
    assert_eq!(align("rudder", "low").unwrap(), "trim rudder aligned: 360.0° to 0.0°, axis 0 to -32767");
    assert_eq!(align("rudder", "100").unwrap(), "trim rudder aligned: 0.0° to 100.0°, axis -32767 to -23665");
    assert_eq!(
        align("rudder", "landing").unwrap_err(),
        "trim rudder has no position landing; there are: low, neutral, high"
    );
    assert_eq!(align("flap", "low").unwrap_err(), "there is no trim or wheel flap; there are: rudder");
    let confirm = |wheel: &str, turns| ask(Command::Confirm { wheel: wheel.into(), turns });
    assert_eq!(confirm("flap", 1).unwrap_err(), "there is no wheel flap; there are: rudder, elevator");
    assert_eq!(confirm("rudder", 1_000_000).unwrap_err(), "1000000 turns are too many; say fewer");
    assert_eq!(ask(Command::Reload).unwrap(), "files read again: 0 changed, 0 wrong");
    // A turn forward that was counted backward: the lines are exchanged, and the tally says so.
    bench.turn(0, -24);
    until("turned", || bench.counts(0) == -24);
    assert_eq!(confirm("rudder", 1).unwrap(), "wheel rudder turned by 24 counts");
    bench.settled();
    until("the loss is known", || {
        bench.press(0);
        bench.shared.look(|tally| {
            tally.losses().any(|(kind, n)| kind == tallywheel_units::LossKind::LinesSwapped && n == 1)
        })
    });
    bench.stop();
}

#[test]
fn held_outputs_stay_and_then_follow() {
    let receiver = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
    receiver.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    let to = receiver.local_addr().unwrap();
    let bench = Bench::start("hold");
    let output = format!("[[output]]\nkind = \"datagram\"\ntemplate = \"line\"\nto = \"{to}\"\n");
    fs::write(bench.folder.join(AIRCRAFT), format!("{}{output}", aircraft(720, ""))).unwrap();
    let line = || {
        let mut buffer = [0; 200];
        let length = receiver.recv(&mut buffer).unwrap();
        String::from_utf8_lossy(&buffer[..length]).into_owned()
    };
    assert_eq!(line(), "rudder 0\n");
    let hold = |switch| bench.ask(Command::Hold(switch)).unwrap();
    use tallywheel_engine::commands::Switch;
    assert_eq!(hold(Switch::On), Outcome::Held(true));
    bench.turn(0, 12);
    until("the wheel turned", || bench.counts(0) == 12);
    assert_eq!(hold(Switch::Toggle), Outcome::Held(false));
    assert_eq!(line(), "rudder 0.5\n", "not one datagram of the way there");
    assert!(bench.commands.post(Command::Hold(Switch::Toggle), Origin::Button));
    bench.stop();
}
