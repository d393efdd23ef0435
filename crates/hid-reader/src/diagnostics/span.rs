//! The form of a span: a row of presses none of which came so long after the one before that nothing can have been
//! dropped between them.
//!
//! A hand's speed has no steps. A board that drops what comes while it is busy makes steps of it: where the counts come
//! faster than the cycle C, every second one is left out, and the interval jumps from about C to about 2 C; where they
//! come slower again, it falls from 2 C to C. (It *folds*, as a signal does that is sampled too slowly.) A board that
//! lets counts wait gives them out at C exactly, and when none wait any more, the interval jumps to that of the hand.
//!
//! So a stroke that speeds up from at least [`SLOWER`] times its shortest interval to it and slows down again as far,
//! without a step, asked for no more than the board gave: it is *smooth*.

use super::Nanos;

/// How much longer than the shortest a stroke's first and last intervals have to be.
const SLOWER: (u64, u64) = (7, 5);
/// Near the shortest interval is what is not longer than this times it.
const NEAR: (u64, u64) = (9, 8);
/// The longest step up from near the shortest interval.
const STEP: (u64, u64) = (4, 3);
/// So many intervals make a stroke.
const ENOUGH: u32 = 7;
/// Of a stroke that speeds up and slows down without a step, so many percent of the intervals are at most [`STEP`] times
/// the shortest: 64 in a minimum-jerk stroke, 62 where the speed is a raised cosine. At a board that is asked for more
/// than it can give out it is 80 and more.
const BOTTOM: u32 = 72;

fn times(interval: Nanos, (of, by): (u64, u64)) -> Nanos {
    interval.saturating_mul(of) / by
}

/// What is known of a stroke while it goes on.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Stroke {
    slowest_before: Nanos,
    shortest: Nanos,
    last: Nanos,
    number: u32,
    /// How many are near the shortest.
    bottom: u32,
    slowing: bool,
    stepped: bool,
}

impl Stroke {
    /// Takes an interval, which is known to within `grain`; tells whether the stroke has turned out to be smooth.
    pub(super) fn interval(&mut self, interval: Nanos, grain: Nanos) -> bool {
        let last = std::mem::replace(&mut self.last, interval);
        self.number = self.number.saturating_add(1);
        if self.number == 1 {
            (self.slowest_before, self.shortest) = (interval, interval);
            return false;
        }
        if self.slowing && interval + grain < last && last >= times(self.shortest, SLOWER) {
            // The next stroke, without a pause.
            *self = Self {
                slowest_before: last,
                shortest: interval,
                last: interval,
                number: 1,
                ..Self::default()
            };
            return false;
        }
        if last <= times(self.shortest, NEAR) + grain / 2 && interval > times(last, STEP) + grain {
            self.stepped = true;
        }
        if self.slowing {
            self.stepped |= interval + last / 8 + grain < last;
        } else {
            self.slowing = interval > times(self.shortest, NEAR) + grain;
            if self.number == 2 {
                self.slowest_before = self.slowest_before.max(interval);
            }
        }
        if interval < self.shortest {
            // Few were counted while it was still getting faster.
            self.shortest = interval;
        }
        self.bottom += u32::from(interval <= times(self.shortest, STEP) + grain / 2);
        !self.stepped
            && self.bottom * 100 <= self.number * BOTTOM
            && self.slowing
            && self.number >= ENOUGH
            && self.shortest >= 5 * grain
            && self.slowest_before >= times(self.shortest, SLOWER)
            && interval >= times(self.shortest, SLOWER)
    }
}

impl Stroke {
    /// Whether it had enough intervals to be called smooth, and was not.
    pub(super) fn is_rough(&self, smooth: bool) -> bool {
        !smooth && self.number >= ENOUGH
    }

    /// A pulse of it was too long to be one.
    pub(super) fn spoil(&mut self) {
        self.stepped = true;
    }
}

/// How often the rhythm folded.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Folds {
    /// The last intervals of the span, newest last.
    last: [Nanos; 6],
    points: u32,
    /// The same with what an encoder's uneven phases may have made.
    jumps: u32,
    pairs: u32,
    here: u32,
    /// The same of intervals that are too long to be folded: there it is the hand or the encoder that is uneven.
    slow: [Nanos; 2],
    uneven: u32,
    rows: u32,
}

impl Folds {
    pub(super) fn begin(&mut self) {
        self.last = [0; 6];
        self.here = 0;
    }

    /// Takes any interval; `longest` is what the cycle cannot be longer than.
    pub(super) fn any(&mut self, interval: Nanos, longest: Nanos) {
        if interval < times(longest, (11, 5)) || interval > 8 * longest {
            self.slow = [0; 2];
            return;
        }
        let [before, middle] = self.slow;
        self.slow = [middle, interval];
        if before > 0 {
            let (low, high) = (before.min(interval), before.max(interval));
            self.rows = self.rows.saturating_add(1);
            self.uneven += u32::from(middle >= times(high, (4, 3)) || times(middle, (4, 3)) <= low);
        }
    }

    /// Whether a hardly moving hand makes jumps too.
    fn is_uneven(&self) -> bool {
        self.rows >= 6 && self.uneven * 4 >= self.rows
    }

    /// Whether hardly anything speaks for a fold.
    pub(super) fn are_rare(&self) -> bool {
        self.jumps <= 1 + self.pairs / 32
    }

    /// How much speaks for a fold in this span.
    pub(super) fn here(&self) -> u32 {
        self.here
    }

    /// Takes an interval of a span, the shortest ever being `least`; tells whether it is certain that the board drops.
    pub(super) fn interval(&mut self, interval: Nanos, least: Nanos, grain: Nanos) -> bool {
        let [earlier, later, _, _, before, middle] = self.last;
        self.last.copy_within(1.., 0);
        if let Some(newest) = self.last.last_mut() {
            *newest = interval;
        }
        if before == 0 {
            return false;
        }
        // An encoder's uneven phases come again after four.
        let alike = |x: Nanos, y: Nanos| 5 * x.abs_diff(y) <= x.max(y) + 5 * grain;
        let known = earlier > 0;
        let again = known && alike(earlier, before) && alike(later, middle);
        let jump = |low: Nanos, high: Nanos| {
            low <= times(least, (13, 10)) + grain
                && high <= times(least, (43, 20)) + 2 * grain
                && high >= times(low + grain / 2, (29, 20)) + grain / 2
        };
        if before.min(middle) <= times(least, (13, 10)) + grain {
            self.pairs = self.pairs.saturating_add(1);
        }
        // Up, and not further up; or down, after what was not further up.
        let points = if jump(before, middle) && interval <= middle + middle / 10 {
            if interval >= times(middle, (17, 20)) { 2 } else { 1 }
        } else if jump(interval, middle) && before >= times(middle, (17, 20)) && before <= middle + middle / 6
        {
            2
        } else {
            0
        };
        self.jumps += points;
        let points = if again {
            0
        } else if known {
            points
        } else {
            points.min(1)
        };
        self.points += points;
        self.here += points;
        if self.pairs >= 512 {
            (self.points, self.jumps, self.pairs) = (self.points / 2, self.jumps / 2, self.pairs / 2);
        }
        self.points >= 5 && self.points * 16 >= self.pairs && !self.is_uneven()
    }
}
