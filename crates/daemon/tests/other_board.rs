//! The rig file says at run time that a wheel's board is another one, or says the same one otherwise. The boards are
//! scripts that, as hidraw does, give every report to everybody who has them open.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

mod common;

use common::{Bench, Fed, RIG, new_settings, until};
use crossbeam_channel::Sender;
use std::fs;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tallywheel_engine::commands::{Command, Spot};
use tallywheel_engine::device_manager::{Opened, Opener};
use tallywheel_hid_reader::{BoardMatch, SourceError};

/// A board that is plugged in, and all who read it.
#[derive(Clone)]
struct Board {
    product: u16,
    serial: &'static str,
    readers: Arc<Mutex<Vec<Sender<[u8; 4]>>>>,
    opened: Arc<AtomicUsize>,
}

impl Board {
    fn new(product: u16, serial: &'static str) -> Self {
        Self { product, serial, readers: Arc::default(), opened: Arc::default() }
    }

    fn press(&self, buttons: u32) {
        self.readers.lock().unwrap().retain(|reader| reader.send(buttons.to_le_bytes()).is_ok());
    }

    /// So many counts forward on the first wheel.
    fn turn(&self, counts: u32) {
        for _ in 0..counts {
            self.press(0b01);
            self.press(0);
        }
    }

    /// How many read it; each report shows who has gone.
    fn readers(&self) -> usize {
        self.press(0);
        self.readers.lock().unwrap().len()
    }

    /// How often it was opened.
    fn opened(&self) -> usize {
        self.opened.load(Ordering::SeqCst)
    }

    fn unplug(&self) {
        self.readers.lock().unwrap().clear();
    }
}

#[derive(Clone)]
struct Desk(Vec<Board>);

impl Opener for Desk {
    type Board = Fed;

    fn open(&mut self, find: &BoardMatch) -> Result<(Fed, Opened), SourceError> {
        let meant = |board: &&Board| {
            find.product.is_none_or(|product| product == board.product)
                && find.serial.as_ref().is_none_or(|serial| serial == board.serial)
        };
        let board = self.0.iter().find(meant).ok_or(SourceError::AwaitPlug)?;
        let (send, receive) = crossbeam_channel::bounded(1000);
        board.readers.lock().unwrap().push(send);
        board.opened.fetch_add(1, Ordering::SeqCst);
        Ok((Fed(receive), common::opened(board.serial, board.product)))
    }
}

const USB: &str = "usb = \"1209:7a11\"";

fn start(test: &str) -> (Bench, Board, Board) {
    let desk = Desk(vec![Board::new(0x7a11, "first"), Board::new(0x7a12, "second")]);
    let bench = Bench::start_opening(new_settings(test), desk.clone());
    let (first, second) = (desk.0[0].clone(), desk.0[1].clone());
    until("the first board is read", || said(&bench, "reading the board board=\"main\" path=\"first\"") == 1);
    first.turn(5);
    until("it counts", || bench.counts(0) == 5);
    // What the first report leaves open is settled by a reference.
    align(&bench);
    (bench, first, second)
}

/// How many lines of the log have these words.
fn said(bench: &Bench, words: &str) -> usize {
    bench.log().matches(words).count()
}

/// Saves the rig with another line for its board, and waits until that is said.
fn save(bench: &Bench, line: &str) {
    let words = "the rig file now describes this board differently";
    let before = said(bench, words);
    fs::write(bench.folder.join("rig.toml"), RIG.replace(USB, line)).unwrap();
    until("the saved file", || said(bench, words) > before);
}

fn align(bench: &Bench) {
    bench.ask(Command::Align { trim: "rudder".into(), to: Spot::Neutral }).unwrap();
    assert!(is_certain(bench));
}

fn is_certain(bench: &Bench) -> bool {
    bench.shared.look(|tally| tally.readings()[0].margin.is_certain())
}

#[test]
fn another_board_is_opened_and_the_first_counts_no_more() {
    let (bench, first, second) = start("another");
    save(&bench, "usb = \"1209:7a12\"");
    until("the second board is read", || said(&bench, "board=\"main\" path=\"second\"") == 1);
    assert!(!is_certain(&bench), "nobody knows what the wheel did between the two");
    second.press(0);
    second.turn(3);
    until("it counts", || bench.counts(0) == 8);
    until("the first one is given back", || first.readers() == 0);
    assert_eq!((bench.counts(0), second.readers()), (8, 1));
    bench.stop();
}

/// The first board is silent until it is unplugged: its thread learns only then that it is to end.
#[test]
fn a_board_that_was_exchanged_is_unplugged_without_a_loss() {
    let (bench, first, second) = start("exchanged");
    save(&bench, "usb = \"1209:7a12\"");
    until("the second board is read", || said(&bench, "board=\"main\" path=\"second\"") == 1);
    second.press(0);
    second.turn(3);
    until("it counts", || bench.counts(0) == 8);
    align(&bench);
    first.unplug();
    // Time for a thread to say what must not be said.
    std::thread::sleep(Duration::from_millis(300));
    second.turn(1);
    until("the second one counts on", || bench.counts(0) == 9);
    assert!(is_certain(&bench), "the wheel's board is there");
    assert_eq!(said(&bench, "the board is gone"), 0, "{}", bench.log());
    bench.stop();
}

#[test]
fn a_board_that_is_not_there_is_said_to_be_missing_and_the_first_comes_back() {
    let (bench, first, _second) = start("missing");
    save(&bench, "usb = \"1209:7a13\"");
    until("it is missing", || said(&bench, "the board is not plugged in; waiting for it") == 1);
    until("the first one is given back", || first.readers() == 0);
    first.turn(3);
    assert_eq!(bench.counts(0), 5);
    save(&bench, USB);
    until("the first one is read again", || said(&bench, "path=\"first\"") == 2);
    first.press(0);
    first.turn(2);
    until("it counts", || bench.counts(0) == 7);
    assert!(!is_certain(&bench), "nobody saw what the wheel did meanwhile");
    bench.stop();
}

/// A rig file that names the same board more closely costs nothing, even while a button is held down.
#[test]
fn the_same_board_by_other_words_goes_on_being_read() {
    let (bench, first, second) = start("same");
    first.press(0b01);
    until("pressed", || bench.counts(0) == 6);
    let before = first.opened();
    save(&bench, &format!("{USB}\nserial = \"first\""));
    until("it was looked for", || first.opened() > before);
    first.press(0);
    first.turn(3);
    until("it counts", || bench.counts(0) == 9);
    until("one reads it", || first.readers() == 1);
    // Only to see which one is meant.
    assert_eq!((first.opened(), second.opened()), (before + 1, 0));
    // The rig does not say how long the board's pulses are, so what it may have dropped of three at once stays in the
    // margin; after an unplugging nothing would be known.
    assert!(!bench.shared.look(|tally| tally.readings()[0].margin.is_unknown()));
    bench.mark();
    assert_eq!(said(&bench, "reading the board"), 1, "{}", bench.log());
    bench.stop();
}
