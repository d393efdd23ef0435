use crate::ConfigProblem;
use std::time::Duration;
use tallywheel_units::{ButtonNumber, KeyPlace, TrimIndex};

/// One trim of a steps output, and what is pressed for it: buttons of a virtual joystick, 1..=56, or keys.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StepsTrim<B = ButtonNumber> {
    /// Which trim is followed.
    pub trim: TrimIndex,
    /// What moves the simulator's trim by one step towards the low stop when it is pressed.
    pub low: B,
    /// The same towards the high stop.
    pub high: B,
}

/// A trim for which keys of the keyboard are pressed.
pub type KeysTrim = StepsTrim<KeyPlace>;

/// How buttons are pressed. The defaults suit a simulator that looks at its buttons 30 times a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pace {
    /// Presses that move the simulator's trim from its low end to its high end, 1..=10,000.
    pub presses: u16,
    /// How long a button is held, 1..=1,000 ms. Default 30 ms.
    pub press: Duration,
    /// How long no button is held between two presses, 1..=1,000 ms. Default 30 ms.
    pub pause: Duration,
    /// Presses more that are made at each arrival at a stop, 0..=250. The simulator's own end swallows them;
    /// where it has missed presses before, they bring it to the stop. Default 3.
    pub extra: u8,
    /// How long after the last press the simulator's report is believed to tell of that press, at most a
    /// minute. Default 500 ms.
    pub settle: Duration,
}

impl Pace {
    /// The most presses from stop to stop.
    pub const MOST_PRESSES: u16 = 10_000;
    /// The most extra presses.
    pub const MOST_EXTRA: u8 = 250;
    /// The longest press and the longest pause.
    pub const LONGEST: Duration = Duration::from_secs(1);
    /// The longest wait for the simulator's report.
    pub const LONGEST_SETTLE: Duration = Duration::from_secs(60);

    /// With the defaults for all but the presses from stop to stop.
    #[must_use]
    pub const fn new(presses: u16) -> Self {
        Self {
            presses,
            press: Duration::from_millis(30),
            pause: Duration::from_millis(30),
            extra: 3,
            settle: Duration::from_millis(500),
        }
    }

    pub(super) fn check(&self) -> Result<(), ConfigProblem> {
        let possible = Duration::from_millis(1)..=Self::LONGEST;
        if !(1..=Self::MOST_PRESSES).contains(&self.presses) {
            return Err(ConfigProblem::Presses(self.presses));
        }
        if !possible.contains(&self.press) || !possible.contains(&self.pause) {
            return Err(ConfigProblem::PressTime);
        }
        if self.extra > Self::MOST_EXTRA || self.settle > Self::LONGEST_SETTLE {
            return Err(ConfigProblem::PressTime);
        }
        Ok(())
    }
}
