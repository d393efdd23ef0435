//! A simulator that has only "trim left" and "trim right", for tests.

use super::buttons::{Buttons, Lost};
use crate::OutputError;
use rand::Rng;
use rand_pcg::Pcg64;
use std::io;
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;
use tallywheel_units::{ButtonNumber, Timestamp};

/// A button held for so long begins to repeat.
pub(super) const REPEATS_AFTER: Duration = Duration::from_millis(300);
const REPEATS_EVERY: Duration = Duration::from_millis(50);
/// From so many repetitions on each is worth five.
const FASTER_FROM: u32 = 5;
/// A press so soon after the last release is worth two: the simulator takes it for haste.
pub(super) const HASTE: Duration = Duration::from_millis(20);

#[derive(Debug, Clone, Copy)]
pub(super) struct Held {
    step: i32,
    since: Timestamp,
    repeated: u32,
}

/// One trim of the simulator, and who presses its buttons: 1 is down, 2 is up.
#[derive(Debug)]
pub(super) struct Simulator {
    pub(super) now: Timestamp,
    pub(super) step: i32,
    /// Its own ends.
    pub(super) ends: (i32, i32),
    /// The probability that it misses a press.
    pub(super) misses: f64,
    pub(super) missed: u32,
    held: Option<Held>,
    released: Option<Timestamp>,
    /// Every press: when it began and where to.
    pub(super) presses: Vec<(Timestamp, i32)>,
    chance: Pcg64,
    /// The next so many calls fail.
    pub(super) broken: u32,
}

impl Simulator {
    pub(super) fn new(step: i32, ends: (i32, i32), chance: Pcg64) -> Self {
        Self {
            now: Timestamp::START,
            step,
            ends,
            misses: 0.0,
            missed: 0,
            held: None,
            released: None,
            presses: vec![],
            chance,
            broken: 0,
        }
    }

    /// Time passes, and a held button repeats.
    pub(super) fn pass(&mut self, now: Timestamp) {
        assert!(now >= self.now);
        self.now = now;
        let Some(mut held) = self.held else { return };
        while now.since(held.since) >= REPEATS_AFTER + REPEATS_EVERY * held.repeated {
            held.repeated += 1;
            self.go(held.step * if held.repeated < FASTER_FROM { 1 } else { 5 });
        }
        self.held = Some(held);
    }

    fn go(&mut self, by: i32) {
        self.step = (self.step + by).clamp(self.ends.0, self.ends.1);
    }

    fn press(&mut self, step: i32) {
        assert!(self.held.is_none(), "a second button while one is held");
        self.presses.push((self.now, step));
        self.held = Some(Held { step, since: self.now, repeated: 0 });
        if self.chance.random_bool(self.misses) {
            self.missed += 1;
            return;
        }
        let hasty = self.released.is_some_and(|at| self.now.since(at) < HASTE);
        self.go(if hasty { 2 * step } else { step });
    }

    fn release(&mut self, step: i32) {
        assert_eq!(self.held.map(|held| held.step), Some(step), "released what was not held");
        self.held = None;
        self.released = Some(self.now);
    }

    pub(super) const fn is_held(&self) -> bool {
        self.held.is_some()
    }

    /// What it says of itself, in a range of `presses` steps.
    pub(super) fn report(&self, presses: u16) -> f64 {
        f64::from(self.step) * 2.0 / f64::from(presses) - 1.0
    }
}

/// The simulator at the other end of the buttons.
#[derive(Clone)]
pub(super) struct Line(pub(super) Arc<Mutex<Simulator>>);

impl Line {
    pub(super) fn simulator(&self) -> MutexGuard<'_, Simulator> {
        self.0.lock().unwrap()
    }
}

impl Buttons for Line {
    type Button = ButtonNumber;

    const LOST: Lost = Lost { reason: "gone", cure: "none" };

    fn renew(&mut self) -> Result<(), OutputError> {
        Ok(())
    }

    fn hold(&mut self, button: ButtonNumber, held: bool) -> io::Result<()> {
        let mut simulator = self.simulator();
        if let Some(left) = simulator.broken.checked_sub(1) {
            simulator.broken = left;
            // A device that goes lets go of its buttons.
            if let Some(held) = simulator.held {
                simulator.release(held.step);
            }
            return Err(io::Error::from_raw_os_error(19));
        }
        let step = match button.get() {
            1 => -1,
            2 => 1,
            other => panic!("button {other}"),
        };
        if held {
            simulator.press(step)
        } else {
            simulator.release(step)
        }
        Ok(())
    }
}
