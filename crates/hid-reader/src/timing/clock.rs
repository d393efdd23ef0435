//! Interval numbers in place of reading times.

use super::interval::IntervalEstimator;
use super::jitter::Jitter;
use super::{real, single, whole};
use crate::parameters::clock::{
    AS_GUESSED, BEAT_MOVED, BEHIND_FOR, FIRST, FOLLOWS, INTERVAL_UNCERTAIN, LONGEST, MISFITS, NEIGHBOURS,
    NOT_STEADY, ON_BEAT, SAME, SHORTEST, STALLS, STEADY_AFTER, SURE,
};
use std::time::Duration;
use tallywheel_units::Timestamp;

/// A report's place among the intervals.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Sample {
    /// The interval that it was sampled in, counted from some start; the latest that is possible where that is not certain.
    pub(crate) number: u64,
    /// When it was sampled, in intervals from that start, as far as can be told.
    pub(crate) time: f64,
    /// Whether the number is certain.
    pub(crate) certain: bool,
    /// The sample before was taken for certain, and that was wrong: it had waited to be read.
    pub(crate) waited: bool,
    /// So many reports are missing before this one.
    pub(crate) missing: u64,
    /// Nanoseconds since the report before was read.
    pub(crate) gap: u64,
}

/// How much is known about the interval.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Known {
    Nothing,
    Guess,
    Measured,
}

/// The last report whose number is certain.
#[derive(Debug, Clone, Copy, Default)]
struct Anchor {
    read: u64,
    /// By how many intervals it was read after it was sampled, but for what all readings are late.
    late: f64,
    number: u64,
    time: f64,
}

/// Numbers a board's reports.
#[derive(Debug, Clone)]
pub(crate) struct SampleClock {
    /// Nanoseconds; 0 while unknown.
    interval: f64,
    per_nano: f64,
    known: Known,
    /// What the rig file says, in nanoseconds; 0 where it says nothing.
    rig: f64,
    /// The interval when it was last found, in nanoseconds.
    found: u64,
    /// How often another interval was found.
    epoch: u32,
    repeated: u8,
    last: Option<u64>,
    anchor: Anchor,
    /// The anchor before the last report.
    before: Anchor,
    /// Reports since the anchor.
    since: u64,
    /// Reports in a row, an interval apart, that were behind the schedule.
    behind: u8,
    /// Readings in a row off the beat, but whole intervals from each other.
    moved: u8,
    /// Intervals that were measured since the interval was found.
    measured: f64,
    jitter: Jitter,
    estimator: IntervalEstimator,
    /// The part of reports that were not on the beat.
    misfits: f32,
    /// The interval stays what it is.
    fixed: bool,
}

impl SampleClock {
    /// A clock that has seen no report. `interval` is a first guess.
    pub(crate) fn new(interval: Option<Duration>) -> Self {
        let rig =
            interval.map_or(0.0, |interval| real(u64::try_from(interval.as_nanos()).unwrap_or(u64::MAX)));
        let mut clock = Self {
            interval: 0.0,
            per_nano: 0.0,
            known: Known::Nothing,
            rig,
            found: 0,
            epoch: 0,
            repeated: 0,
            last: None,
            anchor: Anchor::default(),
            before: Anchor::default(),
            since: 0,
            behind: 0,
            moved: 0,
            measured: FIRST,
            jitter: Jitter::presumed(),
            estimator: IntervalEstimator::new(),
            misfits: 0.0,
            fixed: false,
        };
        if rig > 0.0 {
            clock.set(rig, Known::Guess);
        }
        clock
    }

    /// A clock whose interval is known for sure.
    #[cfg(test)]
    pub(crate) fn measured(interval: Option<Duration>) -> Self {
        let mut clock = Self::new(interval);
        if clock.is_known() {
            clock.known = Known::Measured;
        }
        clock
    }

    /// The board has shown that it reports at every interval.
    #[cfg(test)]
    pub(crate) const fn is_known_to_be_steady(&mut self) {
        self.repeated = u8::MAX;
    }

    /// The board has shown intervals that are uneven by a tenth.
    #[cfg(test)]
    pub(crate) fn is_uneven(&mut self) {
        for n in 0..400 {
            self.jitter.gap(if n / 2 % 2 == 0 { 0.058 } else { -0.058 });
        }
    }

    fn set(&mut self, interval: f64, known: Known) {
        self.interval = interval.clamp(SHORTEST, LONGEST);
        self.per_nano = 1.0 / self.interval;
        self.known = known;
        self.found = whole(self.interval.round());
        self.epoch += 1;
        self.misfits = 0.0;
        self.behind = 0;
        self.measured = FIRST;
        self.jitter = Jitter::presumed();
    }

    /// Whether an interval is known, or at least guessed.
    #[inline]
    pub(crate) fn is_known(&self) -> bool {
        self.known != Known::Nothing
    }

    /// Whether the interval was measured rather than guessed.
    #[inline]
    pub(crate) fn is_measured(&self) -> bool {
        self.known == Known::Measured
    }

    /// How often another interval was found; numbers of samples go on within one only.
    #[inline]
    pub(crate) const fn epoch(&self) -> u32 {
        self.epoch
    }

    /// The interval when it was found, in nanoseconds; 0 while it is unknown.
    #[inline]
    pub(crate) const fn interval(&self) -> u64 {
        self.found
    }

    /// What the rig file says, in nanoseconds, where that turned out to be another interval than the board's.
    pub(crate) fn is_not_as_in_rig(&self) -> bool {
        self.is_measured() && self.rig > 0.0 && (self.interval / self.rig - 1.0).abs() > SAME
    }

    /// Standard deviation of the time between two samples, in intervals, where there are `intervals` to the next report.
    pub(crate) fn sample_jitter(&self, intervals: f32) -> f32 {
        let beat = single(self.interval_uncertainty()) * intervals.sqrt();
        (self.jitter.sample() * self.jitter.sample() + beat * beat).sqrt()
    }

    /// Standard deviation of what is made of the time of a sample, in intervals.
    #[inline]
    pub(crate) fn uncertainty(&self) -> f32 {
        if self.is_steady() {
            self.jitter.reading() * self.jitter.gain()
        } else {
            self.jitter.reading() * self.jitter.gain().sqrt()
        }
    }

    /// Whether reports were lately read so late that they were off the beat.
    #[inline]
    pub(crate) fn stalls(&self) -> bool {
        self.misfits > STALLS
    }

    /// The next report does not follow on the last.
    pub(crate) fn forget(&mut self) {
        self.last = None;
        self.repeated = 0;
        self.jitter.part();
    }

    /// Whether the board is known to report at every interval; if not, silence says that nothing changes.
    #[inline]
    pub(crate) const fn is_steady(&self) -> bool {
        self.repeated >= STEADY_AFTER
    }

    /// A report was read at `at`; `repeated` says whether it is as the one before to the bit.
    pub(crate) fn report(&mut self, at: Timestamp, repeated: bool) -> Sample {
        if let Some(sample) = self.live(at) {
            return sample;
        }
        let now = at.nanos();
        let Some(last) = self.last.replace(now) else {
            return self.begin(now);
        };
        let gap = now.saturating_sub(last);
        self.repeated = if repeated { self.repeated.saturating_add(1) } else { self.repeated };
        let looks = !self.fixed && (self.known != Known::Measured || self.misfits > MISFITS.1);
        if self.estimator.push(gap) && looks {
            self.look(last);
        }
        if self.known == Known::Nothing {
            self.anchor.read = now;
            return Sample { gap, ..Sample::default() };
        }
        let off = real(now.saturating_sub(self.anchor.read)) * self.per_nano + self.anchor.late;
        let mut sample = if self.is_steady() {
            self.numbered(now, off, real(gap) * self.per_nano)
        } else {
            self.on_beat(now, off, real(gap) * self.per_nano)
        };
        sample.gap = gap;
        sample
    }

    /// As [`Self::report`] for what nearly every report is: one of a board that reports at every interval, an interval after
    /// the last. `None`, and nothing has changed, for any other.
    #[inline]
    pub(crate) fn live(&mut self, at: Timestamp) -> Option<Sample> {
        let now = at.nanos();
        let last = self.last?;
        if self.known != Known::Measured || self.since != 0 || !self.is_steady() {
            return None;
        }
        let gap = now.saturating_sub(last);
        let off = real(gap) * self.per_nano + self.anchor.late - 1.0;
        if !(-0.3..0.3).contains(&off) {
            return None;
        }
        self.last = Some(now);
        let mut sample = self.fix(now, 1, off, single(real(gap) * self.per_nano) - 1.0);
        sample.gap = gap;
        Some(sample)
    }

    fn begin(&mut self, now: u64) -> Sample {
        self.since = 0;
        (self.behind, self.moved) = (0, 0);
        let number = self.anchor.number + 1;
        self.anchor = Anchor { read: now, late: 0.0, number, time: self.anchor.time + 1.0 };
        self.before = self.anchor;
        Sample { number, time: self.anchor.time, certain: true, ..Sample::default() }
    }

    /// A sample `intervals` after the anchor, read so much of an interval after that.
    #[inline]
    fn fix(&mut self, now: u64, intervals: u64, off: f64, gap_off: f32) -> Sample {
        let gain = f64::from(self.jitter.gain());
        let moved = off * gain;
        self.before = self.anchor;
        self.anchor = Anchor {
            read: now,
            late: off - moved,
            number: self.anchor.number + intervals,
            time: self.anchor.time + real(intervals) + moved,
        };
        self.since = 0;
        (self.behind, self.moved) = (0, 0);
        if intervals <= NEIGHBOURS {
            self.jitter.gap(gap_off);
        } else {
            self.jitter.part();
        }
        if self.known == Known::Measured {
            self.measured += 1.0;
            let follows = (6.0 / (self.measured * (self.measured + 1.0))).max(FOLLOWS);
            if intervals <= NEIGHBOURS {
                self.interval *= 1.0 + follows * off;
                self.per_nano = 1.0 / self.interval;
            }
        }
        self.misfits -= self.misfits * MISFITS.0;
        Sample { number: self.anchor.number, time: self.anchor.time, certain: true, ..Sample::default() }
    }

    /// A sample whose number is certain, but which was read off the beat.
    fn fix_late(&mut self, now: u64, intervals: u64, off: f64) -> Sample {
        self.before = self.anchor;
        self.anchor = Anchor {
            read: now,
            late: off,
            number: self.anchor.number + intervals,
            time: self.anchor.time + real(intervals),
        };
        self.since = 0;
        (self.behind, self.moved) = (0, 0);
        self.jitter.part();
        Sample { number: self.anchor.number, time: self.anchor.time, certain: true, ..Sample::default() }
    }

    /// A report of a board that reports at every interval, `off` intervals after the anchor.
    fn numbered(&mut self, now: u64, off: f64, gap: f64) -> Sample {
        let intervals = self.since + 1;
        let behind = off - real(intervals);
        if behind.abs() < 0.5 {
            return if intervals == 1 {
                self.fix(now, intervals, behind, single(gap) - 1.0)
            } else {
                self.fix_late(now, intervals, behind)
            };
        }
        if behind < 0.0 {
            // More reports than there were intervals: the board is faster than thought, or one had been read late before.
            self.misfit();
            let sample = self.fix_late(now, intervals, 0.0);
            return sample;
        }
        if gap > NOT_STEADY {
            self.repeated = 0;
        }
        self.behind = if (0.5..1.5).contains(&gap) { self.behind + 1 } else { 0 };
        if self.behind >= BEHIND_FOR {
            let missing = whole(behind.round());
            if missing <= 1 {
                self.misfit();
            }
            let mut sample = self.fix_late(now, intervals + missing, 0.0);
            sample.missing = missing;
            return sample;
        }
        self.since = intervals;
        let number = self.anchor.number + intervals;
        Sample { number, time: self.anchor.time + real(intervals), certain: true, ..Sample::default() }
    }

    /// A report of a board that reports on change, `off` intervals after the anchor.
    fn on_beat(&mut self, now: u64, mut off: f64, gap: f64) -> Sample {
        let mut waited = false;
        if gap < 0.5 && self.since == 0 && self.anchor.number > self.before.number + 1 {
            // The sample before had waited too, so it is not as old as it was thought to be.
            self.anchor = self.before;
            self.since = 1;
            off = real(now.saturating_sub(self.anchor.read)) * self.per_nano + self.anchor.late;
            waited = true;
        }
        let least = self.since + 1;
        let number = whole(off.round()).max(least);
        let beside = off - real(number);
        let (deviations, low, high) = ON_BEAT;
        let reading = self.jitter.reading();
        let beat = single(self.interval_uncertainty() * off);
        let spread = (2.0 * reading * reading
            + beat * beat
            + self.jitter.sample() * self.jitter.sample() * single(real(number.min(100))))
        .sqrt();
        let mut limit = f64::from((deviations * spread).clamp(low, high));
        let apart = (gap - gap.round()).abs() < f64::from((deviations * reading).clamp(low, high));
        self.moved = if gap > 0.5 && apart && self.since > 0 { self.moved + 1 } else { 0 };
        if self.moved >= BEAT_MOVED {
            limit = 0.5;
        }
        if beside.abs() <= limit && (gap >= 0.5 || least == number) {
            let gap_off = if self.since == 0 { single(gap - gap.round().max(1.0)) } else { 0.0 };
            let mut sample = if self.since == 0 && beside.abs() < f64::from(high) && number < SURE {
                self.fix(now, number, beside, gap_off)
            } else {
                let off = if self.moved >= BEAT_MOVED || number >= SURE { 0.0 } else { beside };
                self.fix_late(now, number, off)
            };
            sample.waited = waited;
            return sample;
        }
        self.misfit();
        let most = whole((off + limit).floor());
        if most <= least {
            // It can be no other, however late it was read; or there are more reports than there were intervals.
            let late = if off < real(least) - 0.5 { 0.0 } else { off - real(least) };
            let mut sample = self.fix_late(now, least, late);
            sample.waited = waited;
            return sample;
        }
        self.since = least;
        let number = self.anchor.number + most;
        let time = self.anchor.time + real(most);
        Sample { number, time, certain: false, waited, ..Sample::default() }
    }

    /// The relative uncertainty of the interval.
    fn interval_uncertainty(&self) -> f64 {
        let measured = f64::from(self.jitter.reading()) / self.measured;
        if self.known == Known::Measured { measured.max(INTERVAL_UNCERTAIN) } else { AS_GUESSED }
    }

    fn misfit(&mut self) {
        self.misfits += (1.0 - self.misfits) * MISFITS.0;
    }

    /// Looks for the interval in the last gaps.
    #[cold]
    fn look(&mut self, last: u64) {
        let steady = self.is_steady();
        let found = if steady { self.estimator.mean() } else { self.estimator.find() };
        let Some(found) = found else { return };
        let is_same = (found / self.interval - 1.0).abs() < SAME;
        if self.known == Known::Guess && is_same {
            self.known = Known::Measured;
            self.interval = found;
            self.per_nano = 1.0 / found;
            self.misfits = 0.0;
        } else if !is_same {
            self.set(found, Known::Measured);
            self.since = 0;
            self.anchor = Anchor { read: last, late: 0.0, ..self.anchor };
            self.before = self.anchor;
        } else {
            self.misfits = 0.0;
        }
    }

    /// Number and time of the last sample before `sample`, the last one taken, whose number was certain.
    pub(crate) const fn previous(&self, sample: &Sample) -> (u64, f64) {
        let anchor = if sample.certain { self.before } else { self.anchor };
        (anchor.number, anchor.time)
    }

    /// The last sample whose number is certain.
    pub(crate) fn standing(&self) -> Sample {
        Sample { number: self.anchor.number, time: self.anchor.time, certain: true, ..Sample::default() }
    }

    /// A clock for reports from before, by what is known of the interval now.
    pub(crate) fn rewound(&self) -> Self {
        let mut clock = self.clone();
        clock.last = None;
        clock.known = Known::Measured;
        clock.since = 0;
        clock.fixed = true;
        clock
    }

    /// So many whole intervals have gone by until `at` without a report.
    pub(crate) fn silent_until(&self, at: Timestamp, most: u32) -> u32 {
        let Some(last) = self.last.filter(|_| self.is_known()) else { return 0 };
        let gone = whole(real(at.nanos().saturating_sub(last)) * self.per_nano + 1e-6);
        u32::try_from(gone).unwrap_or(u32::MAX).min(most)
    }

    /// The moment so many intervals after the last report.
    pub(crate) fn after(&self, intervals: u32) -> Option<Timestamp> {
        let last = self.last.filter(|_| self.is_known())?;
        Some(Timestamp::from_nanos(last.saturating_add(whole((self.interval * f64::from(intervals)).ceil()))))
    }

    /// Goes on where `before` stands, but for another guess of the rig file.
    pub(crate) fn take_over(&mut self, before: &Self) {
        let rig = self.rig;
        self.clone_from(before);
        let changed = (rig - before.rig).abs() > 0.5;
        self.rig = rig;
        if changed && !self.is_measured() {
            if rig > 0.0 {
                self.set(rig, Known::Guess);
            } else {
                self.known = Known::Nothing;
                self.epoch += 1;
            }
        }
    }
}
