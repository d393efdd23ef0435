//! A board on a bus and the host that reads it: samples as even as the bus's frames, readings as late as the host is busy.
//!
//! Nothing in here knows how a reader makes sense of it. The physics is that of USB 2.0 (7.1.12: frames of 1 ms, 0.05 %);
//! how late a host reads is common practice, no source.

use crate::{Chance, Encoder, Report, Reporting, Wheel, WheelCursor, whole};
use tallywheel_units::{ButtonNumber, Buttons, Timestamp};

/// What stands between a wheel's lines and the reader. Times are in seconds.
#[derive(Debug, Clone, Copy)]
pub struct Host {
    /// The true time between two samples.
    pub interval: f64,
    /// When the board reports.
    pub reporting: Reporting,
    /// By how much of itself each interval differs, either way, each from the one before.
    pub uneven: f64,
    /// By how much of itself the interval changes in ten seconds.
    pub drift: f64,
    /// The firmware looks at the lines on a timer of its own of this period, and a report has its last look.
    pub scan: Option<f64>,
    /// How late a report is read on average; exponential.
    pub late: f64,
    /// How often in a second the host stalls.
    pub stalls: f64,
    /// How long a stall lasts, from and to.
    pub stall: (f64, f64),
    /// Each report is lost with this probability.
    pub lost: f64,
    /// Nothing is delivered from each of these moments for so long.
    pub hole: Option<(f64, f64)>,
    /// The clock that times are read from goes in steps of this.
    pub coarse: f64,
}

impl Host {
    /// A host that reads at once what an even board sends.
    #[must_use]
    pub const fn prompt(interval: f64, reporting: Reporting) -> Self {
        Self {
            interval,
            reporting,
            uneven: 0.0,
            drift: 0.0,
            scan: None,
            late: 0.0,
            stalls: 0.0,
            stall: (0.001, 0.015),
            lost: 0.0,
            hole: None,
            coarse: 0.0,
        }
    }
}

/// One wheel's board as a host reads it. An iterator over what is read: the report, and how many edges the lines had
/// truly gone by when it was sampled.
#[derive(Debug)]
pub struct HostedBoard<'a> {
    host: Host,
    wheel: &'a Wheel,
    lines: [ButtonNumber; 2],
    cursor: WheelCursor,
    chance: Chance,
    time: f64,
    /// The end of the stall that is, or the last.
    stalled_until: f64,
    next_stall: f64,
    scan_phase: f64,
    read_last: f64,
    sent: Option<Buttons>,
}

impl<'a> HostedBoard<'a> {
    /// A board that runs until its wheel has come to rest.
    #[must_use]
    pub fn new(host: Host, wheel: &'a Wheel, lines: [ButtonNumber; 2], mut chance: Chance) -> Self {
        let time = host.interval * chance.between(0.0, 1.0);
        let scan_phase = host.scan.map_or(0.0, |scan| chance.between(0.0, scan));
        let mut board = Self {
            host,
            wheel,
            lines,
            cursor: WheelCursor::default(),
            chance,
            time,
            stalled_until: 0.0,
            next_stall: f64::INFINITY,
            scan_phase,
            read_last: 0.0,
            sent: None,
        };
        board.next_stall = board.pause();
        board
    }

    fn exponential(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.chance.between(0.0, 1.0)).ln()
    }

    /// Until the next stall.
    fn pause(&mut self) -> f64 {
        if self.host.stalls > 0.0 { self.exponential(1.0 / self.host.stalls) } else { f64::INFINITY }
    }

    fn read_at(&mut self) -> Timestamp {
        while self.next_stall <= self.time {
            let (shortest, longest) = self.host.stall;
            self.stalled_until = self.next_stall + self.chance.between(shortest, longest);
            self.next_stall += self.pause();
        }
        let late = if self.host.late > 0.0 { self.exponential(self.host.late) } else { 0.0 };
        // What waited is read in one go, some 20 us a report.
        let read = (self.time + late).max(self.stalled_until).max(self.read_last + 20e-6);
        self.read_last = read;
        let read =
            if self.host.coarse > 0.0 { (read / self.host.coarse).floor() * self.host.coarse } else { read };
        Timestamp::from_nanos(whole::nanos(read))
    }

    fn is_delivered(&mut self) -> bool {
        let gone = self.host.hole.is_some_and(|(from, lasts)| (from..from + lasts).contains(&self.time));
        let lost = self.host.lost > 0.0 && self.chance.happens(self.host.lost);
        !(gone || lost)
    }
}

impl Iterator for HostedBoard<'_> {
    type Item = (Report, i64);

    fn next(&mut self) -> Option<(Report, i64)> {
        while self.time < self.wheel.motion.ends() {
            let uneven = self.chance.between(-self.host.uneven, self.host.uneven);
            self.time += self.host.interval * (1.0 + uneven + self.host.drift * self.time / 10.0);
            let looked = self.host.scan.map_or(self.time, |scan| {
                ((self.time - self.scan_phase) / scan).floor().max(0.0) * scan
                    + self.scan_phase.min(self.time)
            });
            let edges = self.wheel.edges(&mut self.cursor, looked);
            let (a, b) = Encoder::lines(edges);
            let buttons = Buttons::NONE.with(self.lines[0], a).with(self.lines[1], b);
            if self.host.reporting == Reporting::OnChange && self.sent == Some(buttons) {
                continue;
            }
            // The firmware knows what it sent, not what arrived.
            self.sent = Some(buttons);
            if !self.is_delivered() {
                continue;
            }
            let at = self.read_at();
            return Some((Report { at, buttons }, edges));
        }
        None
    }
}
