//! Lets a board's events through to its twin, those of the wheels' buttons apart.
//!
//! | what comes | what is done with it |
//! |---|---|
//! | an axis, a hat, a switch, another button | kept for the end of the report |
//! | a wheel's button | nothing |
//! | a scan code, then a wheel's button | neither |
//! | a scan code, then anything else | both are kept |
//! | the end of the report, something kept | all of it goes on, with the end |
//! | the end of the report, nothing kept | nothing, as if there had been no report |
//! | the kernel has dropped events | what is kept is forgotten, all to the next end is passed over, and then the state is asked for |
//! | a report that has no end | the same after [`MOST_EVENTS`] |
//! | lamps, force feedback, repetition | nothing: they are not the board's to say |

use crate::axis::event::{EVENT_BYTES, encode};
use evdev::{EventType, MiscCode, SynchronizationCode};

/// Events of one report; a board has at most 128 buttons and 64 axes, and a scan code for each button.
const MOST_EVENTS: usize = 1024;

/// What to do next.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Passed<'a> {
    /// Nothing yet.
    Nothing,
    /// Write these bytes to the twin.
    Report(&'a [u8]),
    /// Events are missing: bring the twin to the board's present state.
    AskState,
}

#[derive(Debug)]
pub(super) struct Sieve {
    hidden: Vec<u16>,
    /// A scan code whose button has not come yet.
    scan: Option<i32>,
    batch: Vec<u8>,
    sent: bool,
    dropping: bool,
}

impl Sieve {
    /// That holds back the key codes in `hidden`.
    pub(super) fn new(hidden: Vec<u16>) -> Self {
        Self { hidden, scan: None, batch: Vec::new(), sent: false, dropping: false }
    }

    pub(super) fn hides(&self, code: u16) -> bool {
        self.hidden.contains(&code)
    }

    /// Takes the next event of the board.
    pub(super) fn event(&mut self, kind: u16, code: u16, value: i32) -> Passed<'_> {
        if std::mem::take(&mut self.sent) {
            self.batch.clear();
        }
        let end = kind == EventType::SYNCHRONIZATION.0 && code == SynchronizationCode::SYN_REPORT.0;
        let lost = kind == EventType::SYNCHRONIZATION.0 && code == SynchronizationCode::SYN_DROPPED.0;
        if lost || self.batch.len() >= MOST_EVENTS * EVENT_BYTES {
            self.dropping = true;
        }
        if self.dropping {
            self.batch.clear();
            self.scan = None;
            self.dropping = !end;
            return if end { Passed::AskState } else { Passed::Nothing };
        }
        if kind == EventType::MISC.0 && code == MiscCode::MSC_SCAN.0 {
            self.keep_scan();
            self.scan = Some(value);
            return Passed::Nothing;
        }
        if kind == EventType::KEY.0 && self.hides(code) {
            self.scan = None;
            return Passed::Nothing;
        }
        self.keep_scan();
        if end {
            if self.batch.is_empty() {
                return Passed::Nothing;
            }
            self.push(kind, code, value);
            self.sent = true;
            return Passed::Report(&self.batch);
        }
        let own =
            [EventType::KEY, EventType::ABSOLUTE, EventType::RELATIVE, EventType::SWITCH, EventType::MISC];
        if own.iter().any(|own| own.0 == kind) {
            self.push(kind, code, value);
        }
        Passed::Nothing
    }

    fn keep_scan(&mut self) {
        if let Some(scan) = self.scan.take() {
            self.push(EventType::MISC.0, MiscCode::MSC_SCAN.0, scan);
        }
    }

    fn push(&mut self, kind: u16, code: u16, value: i32) {
        self.batch.extend_from_slice(&encode(kind, code, value));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Codes of include/uapi/linux/input-event-codes.h.
    const SYN: u16 = 0;
    const KEY: u16 = 1;
    const ABS: u16 = 3;
    const MSC: u16 = 4;
    const END: (u16, u16, i32) = (SYN, 0, 0);
    const DROPPED: (u16, u16, i32) = (SYN, 3, 0);
    const WHEEL: u16 = 0x122;
    const OTHER: u16 = 0x123;

    /// What goes on, one list for each report; `None` where the state is asked for.
    fn sieve(events: &[(u16, u16, i32)]) -> Vec<Option<Vec<u8>>> {
        let mut sieve = Sieve::new(vec![WHEEL, 0x124]);
        let mut passed = vec![];
        for &(kind, code, value) in events {
            match sieve.event(kind, code, value) {
                Passed::Nothing => {}
                Passed::Report(bytes) => passed.push(Some(bytes.to_vec())),
                Passed::AskState => passed.push(None),
            }
        }
        passed
    }

    fn report(events: &[(u16, u16, i32)]) -> Option<Vec<u8>> {
        Some(events.iter().flat_map(|&(kind, code, value)| encode(kind, code, value)).collect())
    }

    #[test]
    fn a_report_of_the_wheel_alone_is_none() {
        assert_eq!(sieve(&[(MSC, 4, 0x90003), (KEY, WHEEL, 1), END, (KEY, WHEEL, 0), END]), []);
        assert_eq!(sieve(&[END, END]), []);
    }

    #[test]
    fn all_else_goes_through_as_it_is() {
        let events =
            [(MSC, 4, 0x90004), (KEY, OTHER, 1), (ABS, 0, -7), (ABS, 0x10, 1), (2, 8, 1), (5, 2, 1), END];
        assert_eq!(sieve(&events), [report(&events)]);
        // Two reports are two writes, each of its own events only.
        let (first, second) = ([(ABS, 0, 1), END], [(ABS, 1, 2), END]);
        assert_eq!(sieve(&[first, second].concat()), [report(&first), report(&second)]);
    }

    #[test]
    fn the_wheel_is_taken_out_of_a_report_with_its_scan_code() {
        let all = [
            (MSC, 4, 0x90002),
            (KEY, 0x121, 1),
            (MSC, 4, 0x90003),
            (KEY, WHEEL, 1),
            (MSC, 4, 0x90004),
            (KEY, OTHER, 0),
            (MSC, 4, 0x90005),
            (KEY, 0x124, 1),
            END,
        ];
        let rest = [(MSC, 4, 0x90002), (KEY, 0x121, 1), (MSC, 4, 0x90004), (KEY, OTHER, 0), END];
        assert_eq!(sieve(&all), [report(&rest)]);
    }

    /// Where a scan code comes without a key, as for a button that the kernel has no code for.
    #[test]
    fn a_scan_code_alone_is_not_lost() {
        let events = [(MSC, 4, 0x90051), END];
        assert_eq!(sieve(&events), [report(&events)]);
        let events = [(MSC, 4, 0x90051), (MSC, 4, 0x90004), (KEY, OTHER, 1), END];
        assert_eq!(sieve(&events), [report(&events)]);
    }

    #[test]
    fn lamps_and_force_feedback_stay_behind() {
        assert_eq!(sieve(&[(0x11, 0, 1), (0x15, 1, 1), (0x14, 0, 1), END]), []);
    }

    #[test]
    fn after_a_loss_the_state_is_asked_for_once_it_is_over() {
        let events = [(ABS, 0, 5), DROPPED, (KEY, OTHER, 1), (ABS, 0, 6), END, (ABS, 0, 7), END];
        assert_eq!(sieve(&events), [None, report(&[(ABS, 0, 7), END])]);
        // A scan code before the loss does not swallow a key after it.
        let events = [(MSC, 4, 0x90003), DROPPED, END, (KEY, OTHER, 1), END];
        assert_eq!(sieve(&events), [None, report(&[(KEY, OTHER, 1), END])]);
    }

    #[test]
    fn a_report_without_an_end_takes_no_more_memory() {
        let mut sieve = Sieve::new(vec![]);
        for value in 0..100_000 {
            assert_eq!(sieve.event(ABS, 0, value), Passed::Nothing);
            assert!(sieve.batch.len() <= MOST_EVENTS * EVENT_BYTES);
        }
        assert_eq!(sieve.event(SYN, 0, 0), Passed::AskState);
    }
}
