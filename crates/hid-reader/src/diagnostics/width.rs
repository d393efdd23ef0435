//! How long the board's pulses are, learned, and which are not.
//!
//! P is the typical width: the lower median of the last [`RING`] that stood apart, with a pause of 0.7 of
//! their width and 2.2 G before and after; given, it is P from the start. Only such pulses are sure to be whole: where
//! counts follow each other closely a board may cut or merge them. G is the
//! grain of time: the report interval, or where nobody knows it, what the widths scatter by.
//!
//! | width | means |
//! |---|---|
//! | up to 0.6 P, and 1.3 G below P (0.35 P where G is guessed), and another follows at once | cut off |
//! | from 1.6 P + 1.2 G (and 15 ms, where none came just before it) | several: one for each P - G that fits |
//! | between | one |
//!
//! Until [`LEARNED`] such pulses were seen there is no P; those before are judged once there is.

use super::{HOUR, MILLISECOND, Nanos};

const RING: usize = 16;
const LEARNED: usize = 6;
/// So late may a report be read on a busy machine. Common practice, no source.
const STALL: Nanos = 15 * MILLISECOND;

/// What a pulse's width says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Width {
    Whole,
    CutOff,
    /// So many pulses are hidden in it at most.
    Hides(u64),
}

/// A pulse that is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Pulse {
    pub(super) forward: bool,
    pub(super) since: Nanos,
    pub(super) until: Nanos,
    /// How long no line was pressed before it.
    pub(super) paused: Nanos,
}

impl Pulse {
    fn width(&self) -> Nanos {
        self.until.saturating_sub(self.since).min(HOUR)
    }
}

/// The first pulses of a stream; more than a few strokes are not needed to learn P.
#[derive(Debug, Clone)]
struct Unjudged {
    pulses: [(Pulse, Nanos); 64],
    number: usize,
}

impl Default for Unjudged {
    fn default() -> Self {
        Self { pulses: [<(Pulse, Nanos)>::default(); 64], number: 0 }
    }
}

impl Unjudged {
    fn add(&mut self, pulse: Pulse, pauses: Nanos) {
        if let Some(place) = self.pulses.get_mut(self.number) {
            *place = (pulse, pauses);
            self.number += 1;
        }
    }

    fn iter(&self) -> impl Iterator<Item = &(Pulse, Nanos)> {
        self.pulses.iter().take(self.number)
    }
}

#[derive(Debug, Clone, Default)]
pub(super) struct Widths {
    ring: [Nanos; RING],
    next: usize,
    seen: usize,
    /// Pulses that came before P was known.
    unjudged: Unjudged,
    given: Option<Nanos>,
    /// The pause after it, where it is given.
    pause: Option<Nanos>,
    typical: Option<Nanos>,
    scatter: Nanos,
    interval: Option<Nanos>,
    presumed: Option<Nanos>,
    one_report: u32,
}

impl Widths {
    pub(super) fn give(&mut self, pulse_on: Option<Nanos>, pulse_off: Option<Nanos>) {
        self.pause = pulse_off;
        self.given = pulse_on.filter(|on| *on > 0);
        self.typical = self.given.or(self.typical);
    }

    /// The typical width, once known.
    pub(super) fn typical(&self) -> Option<Nanos> {
        self.typical
    }

    pub(super) fn grain(&self) -> Nanos {
        self.interval.unwrap_or_else(|| self.scatter.max(MILLISECOND)).max(self.presumed.unwrap_or_default())
    }

    /// What the times of presses tell of the grain.
    pub(super) fn presume(&mut self, grain: Option<Nanos>) {
        self.presumed = grain.filter(|_| self.interval.is_none());
    }

    /// Whether a pulse is known to last from one report to the next.
    pub(super) fn is_seen(&self) -> bool {
        self.given.zip(self.interval).is_some_and(|(on, interval)| on + on / 64 >= interval)
    }

    /// How many pulses in a row were not longer than one report.
    pub(super) fn one_report(&self) -> u32 {
        self.one_report
    }

    /// Takes a pulse after which no line was pressed for `pauses`; tells for it, or for those so far as soon
    /// as P is known, what each width says.
    pub(super) fn pulse(
        &mut self,
        pulse: Pulse,
        pauses: Nanos,
        interval: Option<Nanos>,
        mut tell: impl FnMut(&Pulse, Width),
    ) {
        self.interval = interval;
        let width = pulse.width();
        let one = interval.is_some_and(|interval| width <= interval + interval / 5 * 2);
        self.one_report = if one { self.one_report.saturating_add(1) } else { 0 };
        let known = self.typical.is_some();
        if known {
            tell(&pulse, self.judge(&pulse, pauses));
        } else {
            self.unjudged.add(pulse, pauses);
        }
        let pause = pulse.paused.min(pauses).min(HOUR);
        if 10 * pause >= 7 * width && 10 * pause >= 22 * interval.unwrap_or_default() {
            if let Some(place) = self.ring.get_mut(self.next) {
                *place = width;
            }
            self.next = (self.next + 1) % RING;
            self.seen = (self.seen + 1).min(RING);
            self.learn();
        }
        if !known && self.typical.is_some() {
            self.unjudged.iter().for_each(|(pulse, pauses)| tell(pulse, self.judge(pulse, *pauses)));
            self.unjudged = Unjudged::default();
        }
    }

    fn learn(&mut self) {
        if self.seen < LEARNED {
            return;
        }
        let mut sorted = self.ring;
        let Some(sorted) = sorted.get_mut(..self.seen) else { return };
        sorted.sort_unstable();
        let at = |place: usize| sorted.get(place).copied().unwrap_or_default();
        self.typical = self.given.or(Some(at((self.seen - 1) / 2)));
        self.scatter = at(self.seen * 3 / 4).saturating_sub(at(0));
    }

    /// `pauses`: how long no line was pressed after it.
    fn judge(&self, pulse: &Pulse, pauses: Nanos) -> Width {
        let width = pulse.width();
        let (typical, grain) = (self.typical.unwrap_or(width), self.grain());
        // A pulse that stands apart was not made longer by the next count; its end was read late.
        let late = if pulse.paused > typical { STALL } else { 0 };
        if width >= typical.saturating_mul(8) / 5 + grain * 6 / 5 + late {
            // Each may be shorter than P by the grain.
            let shortest = typical.saturating_sub(grain).max(1);
            return Width::Hides(((width + grain) / shortest).saturating_sub(1).max(1));
        }
        let (least, short) =
            if self.interval.is_some() { (typical * 2 / 5, grain * 13 / 10) } else { (typical * 13 / 20, 0) };
        let off = typical.saturating_sub(width);
        // What cuts a pulse off is the next count; where none follows, the pulse's beginning was read late.
        let follows = self.pause.map_or(typical * 3 / 5, |pause| pause + pause / 8) + grain;
        if pauses > follows {
            return Width::Whole;
        }
        if off > 0 && off >= least && off >= short { Width::CutOff } else { Width::Whole }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn judged(interval: Option<u64>, widths: &[u64]) -> Vec<Width> {
        let (mut state, mut told) = (Widths::default(), Vec::new());
        for width in widths {
            let paused = if (40..50).contains(width) { 5 * MILLISECOND } else { HOUR };
            let pulse = Pulse { until: width * MILLISECOND, paused, ..Pulse::default() };
            let pauses = if *width < 15 { 5 * MILLISECOND } else { HOUR };
            state.pulse(pulse, pauses, interval.map(|ms| ms * MILLISECOND), |_, width| told.push(width));
        }
        told
    }

    #[test]
    fn widths_are_judged_once_they_are_known_the_first_ones_too() {
        use Width::{CutOff, Hides, Whole};
        let widths = [20, 20, 45, 20, 21, 20, 20, 8, 80, 44, 30, 12];
        let expected =
            [Whole, Whole, Hides(1), Whole, Whole, Whole, Whole, CutOff, Hides(3), Hides(1), Whole, CutOff];
        assert_eq!(judged(Some(1), &widths), expected);
        assert_eq!(judged(Some(1), &widths[..5]), []);
        // Where only the widths themselves tell the grain, a pulse of 12 ms may still be one of 20.
        assert_eq!(judged(None, &widths)[11], Whole);
    }

    #[test]
    fn quantisation_is_no_fault() {
        // 2 reports or 3, never more: pulses of 18 ms read every 8 ms with a tenth of jitter.
        let widths: Vec<_> =
            (0..200).map(|i: u64| if i.is_multiple_of(4) { 26 - i % 5 } else { 15 + i % 3 }).collect();
        assert!(judged(Some(8), &widths).iter().all(|width| *width == Width::Whole));
        assert!(judged(None, &widths).iter().all(|width| *width == Width::Whole));
    }
}
