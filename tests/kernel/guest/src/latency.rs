//! `latency --recording FILE --serial TEXT --rounds N --warm-up N --reports N --records FOLDER NAME=DEVICE=COMMAND...`:
//! how long a report takes from the board's write to the moment at which a consumer has read the axis event it causes.
//!
//! The programs take turns, round by round, each in another place, in one boot and on one board. The first report of
//! the recording is the board at rest; every other one must move an axis. Under `-icount shift=0` a nanosecond is one guest instruction.
//! Records: `latency` (round, name, nanoseconds), `values` (round, name, axis code, value), `syscalls` (name, calls,
//! reports).

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::Write as _;
use std::path::PathBuf;
use std::process::{Child, Command};
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use crate::board::hidraw_node;
use crate::input::{event_node, next_axis};
use crate::recording::{Recording, Report};
use crate::syscalls::SyscallCount;
use crate::uhid::UhidBoard;
use crate::{Failure, option};

/// Time between reports: far longer than any program needs, so each report finds its reader asleep.
const BETWEEN_REPORTS: Duration = Duration::from_millis(20);
/// Added in 0..32 steps, in a fixed shuffle, so that reports fall evenly over the kernel's 4 ms tick: the tick's work
/// makes some reports dearer, and each program must meet it as often as the others do.
const DITHER_STEP: Duration = Duration::from_micros(129);
/// Longest time for a program to make its axis, and for a report to come out at the other end.
const PATIENCE: Duration = Duration::from_secs(30);
/// Time for a program to do whatever it does after its axis is there.
const SETTLING: Duration = Duration::from_secs(1);

static STEPS: AtomicU64 = AtomicU64::new(0);

struct Program {
    name: String,
    device: String,
    command: String,
}

struct Plan {
    rounds: usize,
    warm_up: usize,
    reports: usize,
}

pub(crate) fn run(words: &[String]) -> Result<(), Failure> {
    let recording = Recording::load(option(words, "--recording")?)?;
    let serial = option(words, "--serial")?;
    let records = PathBuf::from(option(words, "--records")?);
    let plan = Plan {
        rounds: option(words, "--rounds")?.parse()?,
        warm_up: option(words, "--warm-up")?.parse()?,
        reports: option(words, "--reports")?.parse()?,
    };
    let at_rest = &recording.reports.first().ok_or("the recording is empty")?.bytes;
    let programs: Vec<Program> = words.iter().filter_map(|word| program(word)).collect();
    watch();
    let mut board = UhidBoard::new(&recording, serial)?;
    board.plug()?;
    let node = hidraw_node(serial)?;
    let (mut latency, mut values, mut calls) = (String::new(), String::new(), String::new());
    // Round 0 warms the kernel's own caches up and is not recorded.
    for round in 0..=plan.rounds {
        for place in 0..programs.len() {
            let Some(program) = programs.get((round + place) % programs.len()) else { continue };
            let mut running = Running::start(program, &records, &node)?;
            board.send(at_rest)?;
            let (warm_up, measured) = split(&recording, &plan)?;
            running.play(&mut board, warm_up, |_, _, _| {})?;
            running.play(&mut board, measured, |took, code, value| {
                if round == 0 {
                    return;
                }
                // Writing to a String can't fail.
                let _ = writeln!(latency, "{round} {} {}", program.name, took.as_nanos());
                let _ = writeln!(values, "{round} {} {code} {value}", program.name);
            })?;
            running.stop()?;
        }
    }
    // Apart from the rounds above, as the tracepoint makes every call dearer.
    for program in &programs {
        let mut running = Running::start(program, &records, &node)?;
        board.send(at_rest)?;
        let (warm_up, measured) = split(&recording, &plan)?;
        running.play(&mut board, warm_up, |_, _, _| {})?;
        let count = SyscallCount::start()?;
        let before = count.of(running.process.id())?;
        running.play(&mut board, measured, |_, _, _| {})?;
        let made = count.of(running.process.id())? - before;
        drop(count);
        writeln!(calls, "{} {made} {}", program.name, measured.len())?;
        running.stop()?;
    }
    fs::write(records.join("latency"), latency)?;
    fs::write(records.join("values"), values)?;
    fs::write(records.join("syscalls"), calls)?;
    board.unplug()
}

fn program(word: &str) -> Option<Program> {
    let mut parts = word.splitn(3, '=');
    let (name, device, command) = (parts.next()?, parts.next()?, parts.next()?);
    Some(Program { name: name.to_owned(), device: device.to_owned(), command: command.to_owned() })
}

fn split<'a>(recording: &'a Recording, plan: &Plan) -> Result<(&'a [Report], &'a [Report]), Failure> {
    let all = recording.reports.get(1..=plan.warm_up + plan.reports).ok_or("the recording is too short")?;
    Ok(all.split_at(plan.warm_up))
}

/// Ends this tool when nothing has happened for long: a report that causes no event must fail, not hang.
fn watch() {
    std::thread::spawn(|| {
        let mut before = 0;
        loop {
            std::thread::sleep(PATIENCE);
            let now = STEPS.load(Ordering::Relaxed);
            if now == before {
                let _ = writeln!(std::io::stderr(), "no event came within {PATIENCE:?} at step {now}");
                std::process::exit(3);
            }
            before = now;
        }
    });
}

/// A program at work, and a consumer that has opened its axis.
struct Running {
    process: Child,
    device: String,
    events: File,
    buffer: Vec<u8>,
}

impl Running {
    fn start(program: &Program, records: &std::path::Path, node: &str) -> Result<Self, Failure> {
        let log = File::create(records.join(format!("log-{}", program.name)))?;
        let command = format!("exec {}", program.command.replace("HIDRAW", &format!("/dev/{node}")));
        let process =
            Command::new("/bin/sh").args(["-c", &command]).stdout(log.try_clone()?).stderr(log).spawn()?;
        let begun = Instant::now();
        let path = loop {
            if let Some(path) = event_node(&program.device) {
                break path;
            }
            if begun.elapsed() > PATIENCE {
                return Err(format!("{} made no device {}", program.name, program.device).into());
            }
            STEPS.fetch_add(1, Ordering::Relaxed);
            std::thread::sleep(Duration::from_millis(10));
        };
        std::thread::sleep(SETTLING);
        STEPS.fetch_add(1, Ordering::Relaxed);
        // A consumer that opens now starts with an empty queue.
        let events = File::open(path)?;
        Ok(Self { process, device: program.device.clone(), events, buffer: vec![0; 64 * 24] })
    }

    fn play(
        &mut self,
        board: &mut UhidBoard,
        reports: &[Report],
        mut record: impl FnMut(Duration, u16, i32),
    ) -> Result<(), Failure> {
        for (index, report) in (0_u32..).zip(reports) {
            std::thread::sleep(BETWEEN_REPORTS + DITHER_STEP * (index * 13 % 32));
            board.prepare(&report.bytes)?;
            let begun = Instant::now();
            board.send_prepared()?;
            let moved = next_axis(&mut self.events, &mut self.buffer)?;
            let took = begun.elapsed();
            STEPS.fetch_add(1, Ordering::Relaxed);
            let (code, value) = moved.ok_or("a packet without an axis")?;
            record(took, code, value);
        }
        Ok(())
    }

    fn stop(mut self) -> Result<(), Failure> {
        Command::new("/bin/kill").arg("-TERM").arg(self.process.id().to_string()).status()?;
        self.process.wait()?;
        let begun = Instant::now();
        while event_node(&self.device).is_some() {
            if begun.elapsed() > PATIENCE {
                return Err(format!("{} stayed after its program", self.device).into());
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        Ok(())
    }
}
