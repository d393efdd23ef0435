//! `latency --recording FILE --serial TEXT --rounds N --warm-up N --reports N --records FOLDER NAME=DEVICE=COMMAND...`:
//! how long a report takes from the board's write to the moment at which a consumer has read the axis event it causes,
//! and until every program rests again.
//!
//! The programs take turns, round by round, each in another place, in one boot and on one board. The first report of
//! the recording is the board at rest; every other one must move an axis. Under `-icount shift=0` a nanosecond is one
//! guest instruction.
//!
//! There is one processor, so who runs when must not be left to chance: the board's thread is SCHED_IDLE and gives way
//! to everyone, the consumer is SCHED_FIFO and runs as soon as the event is there, as if each had a processor of its
//! own (sched(7)). The board's write returns when nobody has anything left to do.
//!
//! Records: `latency` (round, name, nanoseconds until the consumer has it, nanoseconds until all rest), `values`
//! (round, name, axis code, value), `syscalls` (name, calls, reports).

#![allow(clippy::disallowed_methods, reason = "a test of the running program lives in real time")]

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex};
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
    set_policy("idle")?;
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
            running.play(&mut board, warm_up, |_, _| {})?;
            running.play(&mut board, measured, |seen, resting| {
                if round == 0 {
                    return;
                }
                let (name, took, rested) = (&program.name, seen.took.as_nanos(), resting.as_nanos());
                // Writing to a String can't fail.
                let _ = writeln!(latency, "{round} {name} {took} {rested}");
                let _ = writeln!(values, "{round} {name} {} {}", seen.code, seen.value);
            })?;
            running.stop()?;
        }
    }
    // Apart from the rounds above, as the tracepoint makes every call dearer.
    for program in &programs {
        let mut running = Running::start(program, &records, &node)?;
        board.send(at_rest)?;
        let (warm_up, measured) = split(&recording, &plan)?;
        running.play(&mut board, warm_up, |_, _| {})?;
        let count = SyscallCount::start()?;
        let before = count.of(running.process.id())?;
        running.play(&mut board, measured, |_, _| {})?;
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

/// What the consumer saw of one report.
struct Seen {
    took: Duration,
    code: u16,
    value: i32,
}

/// A program at work, and a consumer that has opened its axis.
struct Running {
    process: Child,
    device: String,
    /// When the report that is under way was written.
    written: Arc<Mutex<Instant>>,
    seen: Receiver<Seen>,
}

impl Running {
    fn start(program: &Program, records: &Path, node: &str) -> Result<Self, Failure> {
        let log = File::create(records.join(format!("log-{}", program.name)))?;
        // It would inherit the board's class.
        let command = format!(
            "policy normal $$ && exec {}",
            program.command.replace("HIDRAW", &format!("/dev/{node}"))
        );
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
        let written = Arc::new(Mutex::new(Instant::now()));
        let seen = consume(events, Arc::clone(&written));
        Ok(Self { process, device: program.device.clone(), written, seen })
    }

    fn play(
        &mut self,
        board: &mut UhidBoard,
        reports: &[Report],
        mut record: impl FnMut(Seen, Duration),
    ) -> Result<(), Failure> {
        for (index, report) in (0_u32..).zip(reports) {
            std::thread::sleep(BETWEEN_REPORTS + DITHER_STEP * (index * 13 % 32));
            board.prepare(&report.bytes)?;
            let begun = Instant::now();
            *self.written.lock().map_err(|_| "the consumer ended")? = begun;
            board.send_prepared()?;
            let resting = begun.elapsed();
            let seen = self.seen.recv()?;
            STEPS.fetch_add(1, Ordering::Relaxed);
            record(seen, resting);
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

/// Reads axis events on a thread that nobody can keep waiting, until the device is gone.
fn consume(mut events: File, written: Arc<Mutex<Instant>>) -> Receiver<Seen> {
    let (send, receive) = channel();
    std::thread::spawn(move || -> Result<(), Failure> {
        set_policy("fifo")?;
        let mut buffer = vec![0; 64 * 24];
        loop {
            let moved = next_axis(&mut events, &mut buffer)?;
            let now = Instant::now();
            let begun = *written.lock().map_err(|_| "the board ended")?;
            if let Some((code, value)) = moved {
                send.send(Seen { took: now - begun, code, value })?;
            }
        }
    });
    receive
}

/// Puts the calling thread into a scheduling class.
fn set_policy(class: &str) -> Result<(), Failure> {
    // /proc/thread-self leads to PROCESS/task/THREAD.
    let link = fs::read_link("/proc/thread-self")?;
    let thread = link.file_name().ok_or("no thread id")?;
    let done = Command::new("policy").arg(class).arg(thread).status()?;
    if done.success() { Ok(()) } else { Err(format!("policy {class} failed").into()) }
}
