//! Positions that outlive the program, however it ends.
//!
//! `KILLS=1000` kills it so many times instead of 60.

#![allow(clippy::disallowed_methods, reason = "a test of the running program lives in real time")]
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

mod common;

use common::{AIRCRAFT, Bench, RIG, aircraft, until};
use std::fs;
use std::path::{Path, PathBuf};
use tallywheel_engine::commands::{Choice, Command, Spot};
use tallywheel_engine::saved::{Found, Store};

fn folder(test: &str) -> PathBuf {
    let folder = std::env::temp_dir().join(format!("tallywheel-{test}-{}", std::process::id()));
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(folder.join("aircraft")).unwrap();
    fs::write(folder.join("rig.toml"), RIG).unwrap();
    fs::write(folder.join(AIRCRAFT), aircraft(36_000, "start = \"saved\"\n")).unwrap();
    folder
}

fn read(folder: &Path) -> Found {
    Store::new(&folder.join("state")).read("kettrin")
}

fn degrees(found: &Found) -> Option<f64> {
    Some(found.positions.as_ref()?.trims.get("rudder")?.degrees.get())
}

#[test]
fn the_position_is_there_again_after_an_end() {
    let bench = Bench::start_in(folder("again"));
    assert_eq!(bench.degrees(), 18_000.0, "neutral where nothing is known");
    bench.turn(0, 7);
    until("turned", || bench.counts(0) == 7);
    let folder = bench.end();
    assert_eq!(degrees(&read(&folder)), Some(18_105.0));
    let bench = Bench::start_in(folder);
    assert_eq!(bench.degrees(), 18_105.0);
    bench.ask(Command::Align { trim: "rudder".into(), to: Spot::Low }).unwrap();
    let folder = bench.end();
    let bench = Bench::start_in(folder);
    assert_eq!(bench.degrees(), 0.0);
    bench.stop();
}

#[test]
fn nothing_is_written_where_nothing_moves() {
    let bench = Bench::start_in(folder("rest"));
    bench.press(1 << 9);
    bench.mark();
    let folder = bench.end();
    assert_eq!(read(&folder), Found::default());
    let bench = Bench::start_in(folder);
    assert_eq!(bench.degrees(), 18_000.0);
    bench.stop();
}

#[test]
fn each_aircraft_has_its_own_and_the_last_one_is_flown_again() {
    let folder = folder("each");
    let text = aircraft(90, "start = \"saved\"\n").replace("Kettrin", "Ozzock");
    fs::write(folder.join("aircraft/ozzock.toml"), text).unwrap();
    let settings =
        tallywheel::run::Settings { aircraft: Some("kettrin".into()), ..common::settings(&folder) };
    let bench = Bench::start_with(settings);
    bench.turn(0, 2);
    until("turned", || bench.counts(0) == 2);
    bench.ask(Command::Fly(Choice::Named("ozzock".into()))).unwrap();
    assert_eq!(bench.degrees(), 45.0);
    bench.turn(0, -1);
    until("turned", || bench.counts(0) == 1);
    bench.ask(Command::Fly(Choice::Next)).unwrap();
    assert_eq!(bench.degrees(), 18_030.0, "where it was left");
    bench.ask(Command::Fly(Choice::Next)).unwrap();
    assert_eq!(bench.degrees(), 30.0);
    let folder = bench.end();
    let bench = Bench::start_in(folder);
    assert_eq!(bench.degrees(), 30.0, "the last one, where it was");
    bench.stop();
}

#[test]
fn a_damaged_file_costs_one_step_and_two_cost_the_position() {
    let bench = Bench::start_in(folder("damaged"));
    bench.turn(0, 1);
    until("saved", || read(&bench.folder).positions.is_some());
    bench.turn(0, 1);
    until("turned", || bench.counts(0) == 2);
    let folder = bench.end();
    let newest = read(&folder).positions.unwrap().sequence % 2;
    fs::write(folder.join(format!("state/positions/kettrin.{newest}")), "half").unwrap();
    let bench = Bench::start_in(folder);
    assert_eq!(bench.degrees(), 18_015.0);
    let folder = bench.end();
    for slot in [0, 1] {
        fs::write(folder.join(format!("state/positions/kettrin.{slot}")), "half").unwrap();
    }
    let bench = Bench::start_in(folder);
    assert_eq!(bench.degrees(), 18_000.0);
    bench.turn(0, 1);
    until("saved anew", || degrees(&read(&bench.folder)) == Some(18_015.0));
    bench.stop();
}

#[test]
fn a_disk_that_cannot_be_written_ends_nothing() {
    let folder = folder("readonly");
    fs::write(folder.join("state"), "in the way").unwrap();
    let bench = Bench::start_in(folder);
    bench.turn(0, 3);
    until("turned", || bench.counts(0) == 3);
    bench.mark();
    bench.stop();
}

#[cfg(unix)]
mod kill {
    use super::*;
    use std::io::{BufRead, BufReader};
    use std::process::{Command as Process, Stdio};
    use std::sync::mpsc::channel;
    use std::time::{Duration, Instant};

    /// Says to the child which folder is its own.
    const CHILD: &str = "TALLYWHEEL_KILLED_IN";

    /// No test of its own but what the test below runs and kills: a wheel that turns for ever and says how far.
    #[test]
    #[ignore = "run by the test below in a process of its own"]
    fn child() {
        let Ok(folder) = std::env::var(CHILD) else { return };
        let bench = Bench::start_in(folder.into());
        println!("turned {}", bench.degrees());
        loop {
            let next = bench.counts(0) + 1;
            bench.turn(0, 1);
            until("turned", || bench.counts(0) == next);
            println!("turned {}", bench.degrees());
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    #[test]
    fn a_kill_at_any_instant_leaves_a_valid_position() {
        let kills = std::env::var("KILLS").ok().and_then(|kills| kills.parse().ok()).unwrap_or(60);
        let folder = folder("kill");
        let mut random = 0x2545_F491_4F6C_DD1D_u64;
        let mut ages = Vec::new();
        let mut last = 0.0;
        for kill in 0..kills {
            let mut child = Process::new(std::env::current_exe().unwrap())
                .args(["--exact", "kill::child", "--ignored", "--nocapture"])
                .env(CHILD, &folder)
                .stdout(Stdio::piped())
                .spawn()
                .unwrap();
            let (send, turned) = channel();
            let out = BufReader::new(child.stdout.take().unwrap());
            let reader = std::thread::spawn(move || {
                for line in out.lines().map_while(Result::ok) {
                    if let Some(degrees) =
                        line.strip_prefix("turned ").and_then(|text| text.parse::<f64>().ok())
                    {
                        let _ = send.send((Instant::now(), degrees));
                    }
                }
            });
            let mut seen = vec![turned.recv_timeout(common::PATIENCE).unwrap()];
            assert!(kill == 0 || seen[0].1 >= last, "kill {kill}: {} after {last}", seen[0].1);
            random ^= random << 13;
            random ^= random >> 7;
            random ^= random << 17;
            std::thread::sleep(Duration::from_micros(random % 400_000));
            child.kill().unwrap();
            let killed = Instant::now();
            child.wait().unwrap();
            reader.join().unwrap();
            seen.extend(turned.iter());
            let found = read(&folder);
            assert_eq!(found.damage, [], "kill {kill}");
            if let Some(saved) = degrees(&found) {
                // It is a place where the wheel was; the child may have died between turning and telling.
                let (start, end) = (seen[0].1, seen.last().unwrap().1 + 15.0);
                assert!(
                    saved >= last && saved >= start.min(18_000.0) && saved <= end,
                    "kill {kill}: {saved} of {start} to {end}"
                );
                let left = seen.iter().find(|(_, degrees)| *degrees > saved);
                ages.push(left.map_or(Duration::ZERO, |(left, _)| killed.saturating_duration_since(*left)));
                last = saved;
            }
        }
        ages.sort();
        let ms = |place: usize| ages.get(place).map_or(0, Duration::as_millis);
        println!(
            "{kills} kills: the saved position was {} ms old in the middle, {} ms at most",
            ms(ages.len() / 2),
            ms(ages.len().saturating_sub(1))
        );
        assert!(last > 18_000.0, "something was saved");
        let _ = fs::remove_dir_all(folder);
    }
}
