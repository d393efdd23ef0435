use super::buttons::{Buttons, Lost};
use super::walker::{Act, Side, Walker};
use crate::{ConfigProblem, Frame, Output, OutputError};
use std::io;
use std::time::Duration;
use tallywheel_profile::{Pace, StepsTrim};
use tallywheel_units::{AxisValue, Normalized, Timestamp, TrimIndex};

/// How long after a device appears its first press may come: a simulator must have found it by then. And how long
/// after an error the next: what a system does not take now it seldom takes at once.
pub(super) const FOUND_AFTER: Duration = Duration::from_secs(1);

/// Presses buttons until the simulator is where the wheel has its trims.
pub(super) struct Steps<B: Buttons> {
    name: String,
    buttons: B,
    trims: Vec<(StepsTrim<B::Button>, Walker)>,
}

impl<B: Buttons> Steps<B> {
    /// For trims at `axes`, where the simulator has them too.
    pub(super) fn open(
        name: String,
        pace: Pace,
        places: &[(StepsTrim<B::Button>, AxisValue)],
        at: Timestamp,
        buttons: B,
    ) -> Self {
        let ready = at.after(FOUND_AFTER);
        let trims = places.iter().map(|&(trim, axis)| (trim, Walker::new(pace, axis, ready))).collect();
        Self { name, buttons, trims }
    }

    /// The device failed. Once renewed it keeps what is owed; if it cannot be, that is the error.
    fn renew(&mut self, at: Timestamp, source: io::Error) -> OutputError {
        match self.buttons.renew() {
            Ok(()) => {
                for (_, walker) in &mut self.trims {
                    walker.renewed(at.after(FOUND_AFTER));
                }
                let Lost { reason, cure } = B::LOST;
                OutputError::Resend { reason, cure, source }
            }
            Err(error) => error,
        }
    }
}

impl<B: Buttons> Output for Steps<B> {
    fn name(&self) -> &str {
        &self.name
    }

    fn publish(&mut self, frame: &Frame<'_>) -> Result<(), OutputError> {
        for (trim, _) in &self.trims {
            frame.trim(trim.trim).ok_or(ConfigProblem::NoSuchTrim(trim.trim))?;
        }
        let mut failure = None;
        for (trim, walker) in &mut self.trims {
            let Some(reading) = frame.trim(trim.trim) else { continue };
            walker.aim(reading.axis);
            if failure.is_none()
                && let Some(act) = walker.due(frame.at)
            {
                match carry_out(&mut self.buttons, trim, act) {
                    Ok(()) => walker.done(act),
                    Err(error) => failure = Some(error),
                }
            }
        }
        failure.map_or(Ok(()), |error| Err(self.renew(frame.at, error)))
    }

    fn deadline(&self) -> Option<Timestamp> {
        self.trims.iter().filter_map(|(_, walker)| walker.deadline()).min()
    }

    fn told(&mut self, at: Timestamp, trim: TrimIndex, value: Normalized) {
        for (place, walker) in &mut self.trims {
            if place.trim == trim {
                walker.told(at, value);
            }
        }
    }
}

fn carry_out<B: Buttons>(buttons: &mut B, trim: &StepsTrim<B::Button>, act: Act) -> io::Result<()> {
    let (side, held) = match act {
        Act::Press(side) => (side, true),
        Act::Release(side) => (side, false),
    };
    buttons.hold(pressed(trim, side), held)
}

const fn pressed<B: Copy>(trim: &StepsTrim<B>, side: Side) -> B {
    match side {
        Side::Low => trim.low,
        Side::High => trim.high,
    }
}

impl<B: Buttons> Drop for Steps<B> {
    /// Lets go of what is held: a device may take its time to go, and a keyboard never goes.
    fn drop(&mut self) {
        for (trim, walker) in &self.trims {
            if let Some(side) = walker.held() {
                // There is nobody left to tell.
                let _ = self.buttons.hold(pressed(trim, side), false);
            }
        }
    }
}
