//! `board --recording FILE --via uhid|gadget --serial TEXT`: a board that does what its standard input says.
//!
//! One command a line, one answer a line: `plug` -> `ok hidrawN`; `play FIRST LAST` sends the reports FIRST..LAST of
//! the recording with its timing -> `ok`; `flood FIRST LAST` the same without a pause; `unplug` -> `ok`; end of input
//! ends the tool.

#![allow(clippy::disallowed_methods, reason = "a test of the running program lives in real time")]

use std::io::{self, BufRead, Write};
use std::time::{Duration, Instant};

use crate::gadget::GadgetBoard;
use crate::recording::Recording;
use crate::uhid::UhidBoard;
use crate::{Failure, option};

/// Longest time that the kernel may need to make the node of a plugged board.
const LONGEST_PLUG: Duration = Duration::from_secs(10);

enum Board {
    Uhid(UhidBoard),
    Gadget(GadgetBoard),
}

pub(crate) fn run(words: &[String]) -> Result<(), Failure> {
    let recording = Recording::load(option(words, "--recording")?)?;
    let serial = option(words, "--serial")?;
    let mut board = match option(words, "--via")? {
        "uhid" => Board::Uhid(UhidBoard::new(&recording, serial)?),
        "gadget" => Board::Gadget(GadgetBoard::new(&recording, serial)?),
        other => return Err(format!("--via {other}").into()),
    };
    for line in io::stdin().lock().lines() {
        let line = line?;
        let mut answer = String::from("ok");
        match line.split_whitespace().collect::<Vec<_>>().as_slice() {
            ["plug"] => {
                board.plug()?;
                answer = format!("ok {}", hidraw_node(serial)?);
            }
            ["unplug"] => board.unplug()?,
            [how @ ("play" | "flood"), first, last] => {
                let range = first.parse::<usize>()?..last.parse::<usize>()?;
                let reports = recording.reports.get(range).ok_or_else(|| line.clone())?;
                let begun = Instant::now();
                for report in reports {
                    if *how == "play" {
                        let due = report
                            .at
                            .saturating_sub(reports.first().map_or(Duration::ZERO, |first| first.at));
                        std::thread::sleep(due.saturating_sub(begun.elapsed()));
                    }
                    board.send(&report.bytes)?;
                }
            }
            _ => return Err(format!("board: {line}").into()),
        }
        let mut out = io::stdout().lock();
        writeln!(out, "{answer}")?;
        out.flush()?;
    }
    Ok(())
}

impl Board {
    fn plug(&mut self) -> Result<(), Failure> {
        match self {
            Self::Uhid(board) => board.plug(),
            Self::Gadget(board) => board.plug(),
        }
    }

    fn unplug(&mut self) -> Result<(), Failure> {
        match self {
            Self::Uhid(board) => board.unplug(),
            Self::Gadget(board) => board.unplug(),
        }
    }

    fn send(&mut self, report: &[u8]) -> Result<(), Failure> {
        match self {
            Self::Uhid(board) => board.send(report),
            Self::Gadget(board) => board.send(report),
        }
    }
}

/// Waits until the kernel has made the hidraw node of the board with this serial, and names it.
pub(crate) fn hidraw_node(serial: &str) -> Result<String, Failure> {
    let begun = Instant::now();
    let wanted = format!("HID_UNIQ={serial}");
    while begun.elapsed() < LONGEST_PLUG {
        for entry in std::fs::read_dir("/sys/class/hidraw")? {
            let entry = entry?;
            let about = std::fs::read_to_string(entry.path().join("device/uevent")).unwrap_or_default();
            let name = entry.file_name().to_string_lossy().into_owned();
            if about.lines().any(|line| line == wanted) && std::fs::exists(format!("/dev/{name}"))? {
                return Ok(name);
            }
        }
        std::thread::sleep(Duration::from_millis(1));
    }
    Err(format!("the kernel made no hidraw node for {serial}").into())
}
