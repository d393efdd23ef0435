//! Notices that the reader stood still so long that the kernel dropped reports.
//!
//! hidraw keeps 63 reports per reader and drops the newest, silently, when it is full (Linux 6.1,
//! drivers/hid/hidraw.c, `hidraw_report_event`; on Windows hidapi asks for 64 buffers). So a reader that was
//! held up finds 63 old reports, reads them as fast as it can, and then the stream goes on with a hole in it.
//! Seen from here, with T the shortest time in which the board can send a report:
//!
//! | what | must be | or else |
//! |---|---|---|
//! | a pause before the first report | at least 63 T | the ring cannot have filled |
//! | 63 reports together | in less than 63 T / 2 | the board sent them live |
//! | gaps among them of T / 2 or more | at most two | the ring held fewer: it ran empty and live reports followed |
//! | the run after that, T not given | ends soon | the board is faster than thought, the ring would be empty |
//!
//! T comes from the rig file. Otherwise it is learned, but only from a stream so even that nothing but a
//! timer makes it: a board that sends only changes says nothing about how fast it can. Until then it is one
//! microframe of high-speed USB, 125 us, which no board undercuts; a reader that catches up needs about 10 us
//! a report, so that is enough to see it.
//!
//! | state \ gap | under T / 2 | T / 2 up to 63 T | 63 T and more |
//! |---|---|---|---|
//! | calm | calm | calm | run of 1 |
//! | run below 63 | run + 1 | run + 1, the third time calm | run of 1 |
//! | run of 63, T given | stall, then calm | likewise | likewise |
//! | run of 63 and more, T not given | run + 1; calm when too long | stall, then calm | stall, then run of 1 |
//!
//! How many reports are gone follows from the pause: at most pause / T + 1 were sent in it, and 63 were kept.

use std::time::Duration;
use tallywheel_units::Timestamp;

/// Reports that the kernel keeps for a reader.
const RING: u32 = 63;
/// High-speed USB's microframe.
const FASTEST_BOARD: Nanos = 125_000;
/// How often a reader that catches up may be held up again.
const HELD_UP: u32 = 2;
/// After so many gaps in a row that no live report leaves, reports are known to have waited. A board with several
/// kinds of report may send one of each at once.
const WAITED: u32 = 3;
/// By how much a run may be longer than the ring, besides what came in while it was read.
const RUN_SLACK: u32 = 8;

/// A length of time. `Duration` would do but for being the slowest part of the fast path.
type Nanos = u64;

/// What a stall may have cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stall {
    /// From the last report before it to the last of the run that gave it away.
    pub(super) lasted: Duration,
    /// How many reports the run had.
    pub(super) reports: u32,
    /// How many reports may be gone, at most.
    pub(super) gone: u64,
}

#[derive(Debug, Clone)]
pub(super) struct StallDetector {
    interval: Interval,
    /// What learns the interval, where it is not given.
    pace: Option<Pace>,
    last: Option<Timestamp>,
    run: Option<Run>,
    /// Gaps in a row that no live report leaves.
    quick: u32,
}

/// T, and what is measured by it.
#[derive(Debug, Clone, Copy)]
struct Interval {
    nanos: Nanos,
    /// A gap below this is no live report's.
    quick: Nanos,
    /// In this time the ring fills.
    full: Nanos,
}

#[derive(Debug, Clone, Copy)]
struct Run {
    pause: Nanos,
    first: Timestamp,
    reports: u32,
    slow: u32,
}

impl StallDetector {
    pub(super) fn new(report_interval: Option<Duration>) -> Self {
        let given = report_interval.map(|given| u64::try_from(given.as_nanos()).unwrap_or(u64::MAX));
        let interval = Interval::new(given.unwrap_or(FASTEST_BOARD));
        Self { interval, pace: given.is_none().then(Pace::default), last: None, run: None, quick: 0 }
    }

    /// Whether the reports are those of a reader that was held up, read faster than the board sends them.
    ///
    /// A pause too short to lose anything is enough: what was waiting is read all at once.
    pub(super) fn catching_up(&self) -> bool {
        self.quick >= WAITED || self.run.is_some_and(|run| run.reports > run.slow + 1)
    }

    /// The report interval in nanoseconds, where it was given or learned.
    pub(super) fn interval(&self) -> Option<Nanos> {
        let known = self.pace.is_none() || self.interval.nanos != FASTEST_BOARD;
        known.then_some(self.interval.nanos)
    }

    /// A report was read at `at`.
    pub(super) fn report(&mut self, at: Timestamp) -> Option<Stall> {
        let last = self.last.replace(at)?;
        let gap = at.nanos().saturating_sub(last.nanos());
        if let Some(learned) = self.pace.as_mut().and_then(|pace| pace.gap(gap)) {
            self.interval = Interval::new(learned.max(FASTEST_BOARD));
        }
        self.quick = if gap < self.interval.quick { self.quick.saturating_add(1) } else { 0 };
        if self.run.is_none() && gap < self.interval.full {
            return None;
        }
        self.after_pause(at, last, gap)
    }

    #[cold]
    fn after_pause(&mut self, at: Timestamp, last: Timestamp, gap: Nanos) -> Option<Stall> {
        let quick = gap < self.interval.quick;
        let mut stall = None;
        if let Some(mut run) = self.run.take() {
            if run.reports >= RING && !quick {
                stall = Some(run.stall(last, self.interval));
            } else {
                run.reports += 1;
                run.slow += u32::from(!quick);
                if !run.is_live(at, self.interval) {
                    let certain = self.pace.is_none() && run.reports == RING;
                    stall = certain.then(|| run.stall(at, self.interval));
                    self.run = stall.is_none().then_some(run);
                }
            }
        }
        if gap >= self.interval.full {
            self.run = Some(Run { pause: gap, first: at, reports: 1, slow: 0 });
        }
        stall
    }

    /// The board is gone; what comes next has nothing to do with what came before.
    pub(super) fn forget(&mut self) {
        (self.last, self.run, self.quick) = (None, None, 0);
        if let Some(pace) = &mut self.pace {
            *pace = Pace::default();
            self.interval = Interval::new(FASTEST_BOARD);
        }
    }
}

impl Interval {
    fn new(nanos: Nanos) -> Self {
        let nanos = nanos.max(1);
        Self { nanos, quick: nanos / 2, full: nanos.saturating_mul(u64::from(RING)) }
    }
}

impl Run {
    /// Whether the board must have sent some of the run while it was being read.
    fn is_live(&self, at: Timestamp, interval: Interval) -> bool {
        let lasted = at.nanos().saturating_sub(self.first.nanos());
        let sent_meanwhile = lasted / interval.nanos;
        self.slow > HELD_UP
            || self.reports <= RING && lasted >= interval.full / 2
            || u64::from(self.reports) > sent_meanwhile.saturating_add(u64::from(RING + RUN_SLACK))
    }

    fn stall(&self, end: Timestamp, interval: Interval) -> Stall {
        let sent = self.pause / interval.nanos + 1;
        Stall {
            lasted: Duration::from_nanos(self.pause) + end.since(self.first),
            reports: self.reports,
            gone: sent.saturating_sub(u64::from(RING)),
        }
    }
}

/// Learns the report interval of a board that sends steadily: four blocks of 256 gaps in a row whose means
/// agree within a tenth and in which no gap is above four means. A mean over 256 gaps hardly feels how late
/// each report was read. A hand does not turn that evenly.
#[derive(Debug, Clone, Copy, Default)]
struct Pace {
    gaps: u32,
    sum: Nanos,
    longest: Nanos,
    /// The mean of the block before.
    mean: Nanos,
    alike: u32,
}

impl Pace {
    const BLOCK: u32 = 256;
    const BLOCKS: u32 = 4;

    /// Takes a gap; gives the interval each time a block bears it out.
    fn gap(&mut self, gap: Nanos) -> Option<Nanos> {
        self.gaps += 1;
        self.sum = self.sum.saturating_add(gap);
        self.longest = self.longest.max(gap);
        if self.gaps < Self::BLOCK { None } else { self.block() }
    }

    fn block(&mut self) -> Option<Nanos> {
        let mean = self.sum / u64::from(Self::BLOCK);
        let even = self.longest <= mean.saturating_mul(4);
        let as_before = mean.abs_diff(self.mean) <= self.mean / 10;
        let alike = match (even, as_before) {
            (false, _) => 0,
            (true, false) => 1,
            (true, true) => self.alike.saturating_add(1),
        };
        *self = Self { mean, alike, ..Self::default() };
        (alike >= Self::BLOCKS).then_some(mean)
    }
}

#[cfg(test)]
mod tests;
