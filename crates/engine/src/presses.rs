//! Which buttons that do something were pressed. No I/O and no clock.
//!
//! A contact bounces when it closes and when it opens: for some milliseconds it is both. For each button:
//!
//! | before | reported | and it was released | is |
//! |---|---|---|---|
//! | not known | any | | no press: it may have been held since before |
//! | released | pressed | never so far, or 30 ms ago or longer | a press |
//! | released | pressed | more lately | the contact bouncing |
//! | pressed | released | | no press |
//! | any | the same | | nothing |

use std::time::Duration;
use tallywheel_units::{ButtonNumber, Buttons, Timestamp};

/// Contacts of buttons bounce for 5 to 20 ms (common practice, no source); nobody presses one again so soon.
const BOUNCE: Duration = Duration::from_millis(30);

/// The buttons of one board that do something.
#[derive(Debug, Clone)]
pub struct Presses {
    mask: u128,
    seen: Option<u128>,
    released: Vec<(u128, Option<Timestamp>)>,
}

impl Presses {
    /// Of these buttons; `None` where there are none.
    #[must_use]
    pub fn of(buttons: &[ButtonNumber]) -> Option<Box<Self>> {
        let mask = buttons.iter().fold(0, |mask, button| mask | button.mask());
        let released = buttons.iter().map(|button| (button.mask(), None)).collect();
        (mask != 0).then(|| Box::new(Self { mask, seen: None, released }))
    }

    /// The board's buttons are as `buttons` at `at`; answers those that were pressed just now.
    #[inline]
    pub fn take(&mut self, at: Timestamp, buttons: Buttons) -> Buttons {
        let now = buttons.bits() & self.mask;
        if self.seen == Some(now) { Buttons::NONE } else { self.changed(at, now) }
    }

    #[cold]
    fn changed(&mut self, at: Timestamp, now: u128) -> Buttons {
        let Some(before) = self.seen.replace(now) else { return Buttons::NONE };
        let mut pressed = 0;
        for (mask, released) in &mut self.released {
            if (now ^ before) & *mask == 0 {
                continue;
            }
            if now & *mask == 0 {
                *released = Some(at);
            } else if released.is_none_or(|released| at.since(released) >= BOUNCE) {
                pressed |= *mask;
            }
        }
        Buttons::from_bits(pressed)
    }

    /// What is pressed now is known to have been.
    pub fn resume(&mut self, buttons: Buttons) {
        self.seen = Some(buttons.bits() & self.mask);
    }

    /// The board is gone.
    pub const fn forget(&mut self) {
        self.seen = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pressed(script: &[(u64, u128)]) -> Vec<(u64, u128)> {
        let buttons = [1, 3].map(|button| ButtonNumber::new(button).unwrap());
        let mut presses = Presses::of(&buttons).unwrap();
        let take = |(ms, bits): &(u64, u128)| {
            let at = Timestamp::from_micros(ms * 1000);
            (*ms, presses.take(at, Buttons::from_bits(*bits)).bits())
        };
        script.iter().map(take).filter(|(_, pressed)| *pressed != 0).collect()
    }

    #[test]
    fn one_press_is_one_press() {
        assert_eq!(
            pressed(&[(0, 0), (10, 1), (20, 1), (500, 0), (600, 0b101), (900, 0)]),
            [(10, 1), (600, 0b101)]
        );
    }

    #[test]
    fn a_bouncing_contact_is_one_press() {
        let script =
            [(0, 0), (10, 1), (11, 0), (12, 1), (14, 0), (15, 1), (300, 0), (301, 1), (302, 0), (340, 1)];
        assert_eq!(pressed(&script), [(10, 1), (340, 1)]);
    }

    #[test]
    fn what_is_held_from_the_start_is_no_press() {
        assert_eq!(pressed(&[(0, 1), (100, 0), (200, 1)]), [(200, 1)]);
    }

    #[test]
    fn other_buttons_are_none_of_ours() {
        assert_eq!(pressed(&[(0, 0), (10, 0b10), (20, 0b1000)]), []);
        assert!(Presses::of(&[]).is_none());
    }

    #[test]
    fn a_board_that_comes_back_begins_anew() {
        let mut presses = Presses::of(&[ButtonNumber::new(1).unwrap()]).unwrap();
        let at = |ms: u64| Timestamp::from_micros(ms * 1000);
        presses.take(at(0), Buttons::NONE);
        presses.forget();
        assert_eq!(presses.take(at(100), Buttons::from_bits(1)), Buttons::NONE);
        presses.resume(Buttons::NONE);
        assert_eq!(presses.take(at(200), Buttons::from_bits(1)), Buttons::from_bits(1));
    }
}
