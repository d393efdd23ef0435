use crate::{ButtonField, Report};
use std::collections::VecDeque;
use std::time::Duration;
use tallywheel_hid_reader::{BoardDecoder, Event, Layout, WheelConfig, WheelFacts};
use tallywheel_units::{ButtonNumber, Counts, LossKind, Margin, Timestamp};

/// How many losses there were of each kind, in the order of [`LossKind::ALL`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Kinds([u64; LossKind::ALL.len()]);

impl Kinds {
    fn add(&mut self, kind: LossKind) {
        if let Some(number) = LossKind::ALL.iter().position(|k| *k == kind).and_then(|n| self.0.get_mut(n)) {
            *number += 1;
        }
    }

    /// The kinds that there were, with their numbers.
    pub fn iter(&self) -> impl Iterator<Item = (LossKind, u64)> + '_ {
        LossKind::ALL.into_iter().zip(self.0).filter(|(_, number)| *number > 0)
    }

    /// Whether there was one of `kind`.
    #[must_use]
    pub fn has(&self, kind: LossKind) -> bool {
        self.iter().any(|(k, _)| k == kind)
    }
}

/// What the decoder made of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Outcome {
    /// Reports read.
    pub reports: u64,
    /// Sum of the counts.
    pub counts: Counts,
    /// Sum of the bounds of all losses.
    pub margin: Margin,
    /// The losses by kind.
    pub kinds: Kinds,
    /// What may yet be put right.
    pub doubt: Margin,
}

/// The buttons of every bench: forward and backward, or A and B.
pub(super) fn buttons() -> [ButtonNumber; 2] {
    [1, 2].map(|n| ButtonNumber::new(n).unwrap_or(ButtonNumber::LAST))
}

/// A decoder on its bench.
#[derive(Debug)]
pub(super) struct Bench {
    decoder: BoardDecoder,
    outcome: Outcome,
    last: Option<Report>,
}

impl Bench {
    /// `None` only if the descriptor of the testkit had no such buttons.
    pub(super) fn new(wheel: WheelConfig, interval: Option<f64>, facts: &WheelFacts) -> Option<Self> {
        let layout = Layout::from_descriptor(&ButtonField::Sixteen.descriptor()).ok()?;
        let mut decoder = BoardDecoder::new(layout, &[wheel], interval.map(Duration::from_secs_f64)).ok()?;
        decoder.know(0, facts);
        Some(Self { decoder, outcome: Outcome::default(), last: None })
    }

    pub(super) fn read(&mut self, report: Report) {
        self.last = Some(report);
        let outcome = &mut self.outcome;
        while let Some(at) = self.decoder.deadline().filter(|at| *at < report.at) {
            self.decoder.rest(at, &mut |_, event| outcome.take(event));
        }
        outcome.reports += 1;
        let bits = report.buttons.bits().to_le_bytes();
        self.decoder.report(report.at, bits.get(..2).unwrap_or(&[]), &mut |_, event| outcome.take(event));
    }

    /// The board says once more where its buttons stand, a second after `ends` and again a little later: a
    /// board that sends only changes does so as soon as a button on it is pressed and released.
    pub(super) fn touch(&mut self, ends: f64) {
        for late in [1.0, 1.1] {
            if let Some(report) = self.last {
                let at = Timestamp::from_nanos(crate::whole::nanos(ends + late)).max(report.at);
                self.read(Report { at, ..report });
            }
        }
    }

    /// Somebody says how far the wheel has truly turned.
    pub(super) fn confirm(&mut self, turned: i64) {
        let (at, outcome) = (self.last.map_or(Timestamp::START, |report| report.at), &mut self.outcome);
        self.decoder.confirm(0, at, Counts::new(turned), &mut |_, event| outcome.take(event));
    }

    pub(super) fn outcome(&self) -> Outcome {
        self.outcome
    }
}

impl Outcome {
    fn take(&mut self, event: Event) {
        match event {
            Event::Counts(counts) => self.counts += counts,
            Event::Doubt(doubt) | Event::Undecided(doubt) => self.doubt = doubt,
            Event::Index(mark) => self.counts += mark.correction,
            Event::Loss(loss) => {
                self.margin += loss.bound;
                self.kinds.add(loss.kind);
            }
        }
    }

    /// Whether the truth lies within the margin.
    #[must_use]
    pub fn covers(&self, truth: i64) -> bool {
        (self.margin + self.doubt).covers(Counts::new(truth) - self.counts)
    }
}

/// The kernel's ring of 63 reports with a reader that sleeps once: what comes while it is full is
/// dropped. The reader needs 10 us a report to catch up.
pub(super) fn through_the_ring(
    reports: impl Iterator<Item = Report>,
    sleep: (f64, f64),
    mut read: impl FnMut(Report),
) {
    const RING: usize = 63;
    let (from, until) = (sleep.0, sleep.0 + sleep.1);
    let wakes = Timestamp::from_nanos(crate::whole::nanos(until));
    let mut ring = VecDeque::new();
    let mut now = wakes;
    for report in reports {
        let at = report.at.seconds();
        if at >= from && at < until {
            if ring.len() < RING {
                ring.push_back(report);
            }
            continue;
        }
        // What is read late is read at the time of reading.
        while at >= until
            && now < report.at
            && let Some(late) = ring.pop_front()
        {
            read(Report { at: now, ..late });
            now = now.after(Duration::from_micros(10));
        }
        read(Report { at: report.at.max(now.min(report.at)), ..report });
    }
}
