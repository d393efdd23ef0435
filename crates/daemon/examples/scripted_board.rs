//! The daemon with a board that does what lines on standard input say, for tests that need its desktop side:
//!
//! ```text
//! scripted_board run --config DIR ...     as `tallywheel run`
//! plug                                    it is there from now on; it is looked for when rig.toml is saved
//! unplug
//! turn WHEEL COUNTS                       wheel 0 is on buttons 1 and 2, and so on
//! press BITS                              exactly these buttons are pressed, as a hexadecimal number
//! ```

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

use clap::Parser;
use std::io::BufRead;
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tallywheel::args::{Cli, CliCommand};
use tallywheel_engine::device_manager::{Opened, Opener};
use tallywheel_hid_reader::{BoardMatch, RecordedDevice, ReportSource, SourceError};

/// A joystick of 32 buttons in four bytes (HID 1.11, Appendix E.10 without axes).
const DESCRIPTOR: [u8; 23] = [
    0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x20, 0x15, 0x00, 0x25, 0x01, 0x75,
    0x01, 0x95, 0x20, 0x81, 0x02, 0xC0,
];

type Socket = Arc<Mutex<Option<Receiver<[u8; 4]>>>>;

struct Scripted(Socket);

struct Fed(Receiver<[u8; 4]>);

impl Opener for Scripted {
    type Board = Fed;

    fn open(&mut self, _find: &BoardMatch) -> Result<(Fed, Opened), SourceError> {
        let board = Fed(self.0.lock().unwrap().take().ok_or(SourceError::AwaitPlug)?);
        let device = RecordedDevice {
            name: "Bench board".into(),
            phys: None,
            bus: 3,
            vendor: 0x1209,
            product: 0x7a11,
            descriptor: DESCRIPTOR.to_vec(),
        };
        Ok((board, Opened { path: "script".into(), name: "Bench board".into(), device }))
    }
}

impl ReportSource for Fed {
    fn read(&mut self, buffer: &mut [u8], _wait: Option<Duration>) -> Result<usize, SourceError> {
        let report = self.0.recv().map_err(|_| SourceError::Reopen { reason: "unplugged".into() })?;
        Ok(buffer.iter_mut().zip(report).map(|(to, from)| *to = from).count())
    }
}

fn play(socket: &Socket) {
    let mut reports: Option<Sender<[u8; 4]>> = None;
    for line in std::io::stdin().lock().lines() {
        let line = line.unwrap();
        let words: Vec<_> = line.split_whitespace().collect();
        let press = |bits: u32| {
            // Nobody listens to a board before it is opened; its reports wait.
            let _ = reports.as_ref().unwrap().send(bits.to_le_bytes());
        };
        match words.as_slice() {
            ["plug"] => {
                let (send, receive) = mpsc::channel();
                // The first report of a board says where its lines stand.
                send.send([0; 4]).unwrap();
                reports = Some(send);
                *socket.lock().unwrap() = Some(receive);
            }
            ["unplug"] => reports = None,
            ["press", bits] => press(u32::from_str_radix(bits, 16).unwrap()),
            ["turn", wheel, counts] => {
                let (wheel, counts): (u32, i32) = (wheel.parse().unwrap(), counts.parse().unwrap());
                // Uneven, as a hand turns; a board that gives out pulses evenly has no time left between them.
                for (_, off) in (0..counts.abs()).zip([60, 110, 80].into_iter().cycle()) {
                    press(1 << (2 * wheel + u32::from(counts < 0)));
                    std::thread::sleep(Duration::from_millis(20));
                    press(0);
                    std::thread::sleep(Duration::from_millis(off));
                }
            }
            other => panic!("{other:?}"),
        }
    }
}

fn main() {
    let CliCommand::Run(args) = Cli::parse().command else { panic!("only `run`") };
    let socket = Socket::default();
    let scripted = Scripted(Arc::clone(&socket));
    std::thread::spawn(move || play(&socket));
    tallywheel::run::run_with(&args, scripted).unwrap();
}
