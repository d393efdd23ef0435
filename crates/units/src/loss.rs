use crate::{Counts, Margin, Timestamp};
use std::fmt;
use std::time::Duration;

/// Whether a loss was seen in the reports or concluded from them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Certainty {
    /// The reports themselves prove it.
    Observed,
    /// The reports fit best if it happened.
    Inferred,
}

impl Certainty {
    /// The word used in logs and files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Observed => "observed",
            Self::Inferred => "inferred",
        }
    }
}

/// Whose doing a loss most likely is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Fault {
    /// Encoder, wiring or board.
    Device,
    /// The operating system between board and program.
    Kernel,
    /// This program, or the machine it had to share.
    Program,
    /// What the rig file says of the hardware.
    RigFile,
}

impl Fault {
    /// The word used in logs and files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Device => "device",
            Self::Kernel => "kernel",
            Self::Program => "program",
            Self::RigFile => "rig file",
        }
    }
}

/// What kind of loss: what was seen, not yet what it cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LossKind {
    /// A and B both changed between two reports: at least two edges passed unseen.
    BothLinesChanged,
    /// Count and direction pulses were pressed at the same time.
    PulsesOverlap,
    /// A report was shorter than its descriptor says, or carried an unknown report ID.
    BadReport,
    /// The reader stood still long enough for the kernel's queue of 63 reports to fill.
    ReaderStalled,
    /// The board was unplugged; whatever the wheel did meanwhile is unknown.
    BoardGone,
    /// The first report of a board left open whether a count was before it.
    UnseenStart,
    /// Pulses came as fast as the board can give them out, or nearly: it may have dropped counts.
    TopRate,
    /// Pulses went on at the board's own beat and then stopped dead, as no hand does: a queue drained.
    LatePulses,
    /// A pulse was long enough to be several without a release between them.
    PulsesMerged,
    /// A pulse was cut off before its time.
    PulsesClipped,
    /// No pulse lasts longer than a report and their rhythm has holes: some fall between two reports.
    PulsesTooShort,
    /// In a steady spin one interval was as long as two or more.
    GapInSpin,
    /// A pulse line has been pressed for much longer than any pulse.
    InputStuck,
    /// One of two lines does not move although the other does.
    LineDead,
    /// A turn whose direction is known was counted the other way.
    LinesSwapped,
    /// A wheel whose lines arrive raw sped up or slowed down so hard that several counts fit its reports.
    TurnedTooHard,
    /// Counts come several to a detent, or one to several detents, against what the rig file says.
    WrongCountsPerCycle,
    /// The index mark came at another count than the last time: so many counts are missing or too many. They are
    /// measured, not guessed, and the tally has been put right.
    OffAtIndex,
    /// Turn after turn the index mark is off by the same amount.
    WrongCountsPerTurn,
    /// Reports of a wheel whose lines arrive raw did not come, and were not made up for.
    ReportsMissing,
    /// The board reports at another interval than the rig file says; it takes as long as [`Loss::lasted`] says.
    WrongReportInterval,
}

impl LossKind {
    /// Every kind, in the order of declaration.
    pub const ALL: [Self; 21] = [
        Self::BothLinesChanged,
        Self::PulsesOverlap,
        Self::BadReport,
        Self::ReaderStalled,
        Self::BoardGone,
        Self::UnseenStart,
        Self::TopRate,
        Self::LatePulses,
        Self::PulsesMerged,
        Self::PulsesClipped,
        Self::PulsesTooShort,
        Self::GapInSpin,
        Self::InputStuck,
        Self::LineDead,
        Self::LinesSwapped,
        Self::TurnedTooHard,
        Self::WrongCountsPerCycle,
        Self::OffAtIndex,
        Self::WrongCountsPerTurn,
        Self::ReportsMissing,
        Self::WrongReportInterval,
    ];

    /// The word used in logs and files; it never changes between versions.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::BothLinesChanged => "both-lines-changed",
            Self::PulsesOverlap => "pulses-overlap",
            Self::BadReport => "bad-report",
            Self::ReaderStalled => "reader-stalled",
            Self::BoardGone => "board-gone",
            Self::UnseenStart => "unseen-start",
            Self::TopRate => "top-rate",
            Self::LatePulses => "late-pulses",
            Self::PulsesMerged => "pulses-merged",
            Self::PulsesClipped => "pulses-clipped",
            Self::PulsesTooShort => "pulses-too-short",
            Self::GapInSpin => "gap-in-spin",
            Self::InputStuck => "input-stuck",
            Self::LineDead => "line-dead",
            Self::LinesSwapped => "lines-swapped",
            Self::TurnedTooHard => "turned-too-hard",
            Self::WrongCountsPerCycle => "wrong-counts-per-cycle",
            Self::OffAtIndex => "off-at-index",
            Self::WrongCountsPerTurn => "wrong-counts-per-turn",
            Self::ReportsMissing => "reports-missing",
            Self::WrongReportInterval => "wrong-report-interval",
        }
    }

    /// Whose doing it most likely is.
    #[must_use]
    pub const fn fault(self) -> Fault {
        match self {
            Self::BothLinesChanged
            | Self::PulsesOverlap
            | Self::BadReport
            | Self::BoardGone
            | Self::UnseenStart
            | Self::TopRate
            | Self::LatePulses
            | Self::PulsesMerged
            | Self::PulsesClipped
            | Self::PulsesTooShort
            | Self::GapInSpin
            | Self::InputStuck
            | Self::LineDead
            | Self::TurnedTooHard
            | Self::OffAtIndex
            | Self::ReportsMissing => Fault::Device,
            Self::ReaderStalled => Fault::Program,
            Self::LinesSwapped
            | Self::WrongCountsPerCycle
            | Self::WrongCountsPerTurn
            | Self::WrongReportInterval => Fault::RigFile,
        }
    }

    /// The likely cause, one clause without a full stop.
    #[must_use]
    pub const fn cause(self) -> &'static str {
        match self {
            Self::BothLinesChanged => "the wheel turned faster than the board reports",
            Self::PulsesOverlap => "the board's pulses are longer than the time between two counts",
            Self::BadReport => "the board sent a report that its own descriptor does not describe",
            Self::ReaderStalled => "the machine was too busy or asleep, and the kernel keeps only 63 reports",
            Self::BoardGone => "the board was unplugged or its cable is loose",
            Self::UnseenStart => {
                "the wheel was turning when the board was opened, or the board reports changes only"
            }
            Self::TopRate => "the wheel turned faster than the board can give out pulses",
            Self::LatePulses => "the board queues its pulses and was behind when the wheel had stopped",
            Self::PulsesMerged => "the board's pause between two pulses is too short to be seen",
            Self::PulsesClipped => "the board cuts a pulse off when the next count comes",
            Self::PulsesTooShort => "the board's pulses are shorter than the time between two reports",
            Self::GapInSpin => "the board or a contact of the encoder missed a count while the wheel spun",
            Self::InputStuck => "a button of the board hangs, or its line touches another wire",
            Self::LineDead => "a wire of the encoder is off or shorted",
            Self::LinesSwapped => "the wheel's two lines are exchanged",
            Self::TurnedTooHard => {
                "the wheel sped up or slowed down too hard for the board's report interval"
            }
            Self::WrongCountsPerCycle => {
                "the board's or the rig file's counts per cycle do not fit the encoder's detents"
            }
            Self::OffAtIndex => "counts were lost or made up since the index mark last came",
            Self::WrongCountsPerTurn => {
                "every turn from index mark to index mark has another number of counts than the rig file says"
            }
            Self::ReportsMissing => {
                "the board or the bus left reports out, and the wheel may have turned meanwhile"
            }
            Self::WrongReportInterval => "the board reports at another interval than the rig file says",
        }
    }

    /// What the user can do, one clause without a full stop.
    #[must_use]
    pub const fn advice(self) -> &'static str {
        match self {
            Self::BothLinesChanged => "set a shorter report interval on the board, or fewer counts per turn",
            Self::PulsesOverlap => "set a shorter pulse on the board, or fewer counts per turn",
            Self::BadReport => "check the [[board]] section of the rig file and the board's firmware",
            Self::ReaderStalled => "close what keeps the machine busy, then align the wheel",
            Self::BoardGone => "plug it in again and align the wheel if it was turned meanwhile",
            Self::UnseenStart => "let the wheel rest while the program starts, or align it afterwards",
            Self::TopRate => "set shorter pulses or fewer counts per cycle on the board, or turn more slowly",
            Self::LatePulses => "set shorter pulses or fewer counts per cycle on the board",
            Self::PulsesMerged => "set a pause of at least two report intervals between pulses on the board",
            Self::PulsesClipped => "set a shorter pulse on the board, or fewer counts per cycle",
            Self::PulsesTooShort => "set pulses of at least two report intervals on the board",
            Self::GapInSpin => "check the encoder's contacts and wires, then align the wheel",
            Self::InputStuck => "free the button or mend the wire, then align the wheel",
            Self::LineDead => {
                "check the wires of both lines and the encoder's common wire, then align the wheel"
            }
            Self::TurnedTooHard => "set a shorter report interval on the board, or fewer counts per turn",
            Self::LinesSwapped => {
                "exchange the two buttons of the wheel in the rig file, or set reversed = true"
            }
            Self::WrongCountsPerCycle => {
                "set counts per cycle on the board, or counts_per_turn in the rig file, so that both agree"
            }
            Self::OffAtIndex => {
                "nothing, it is put right; if it comes often, look at the other losses, or at the encoder's wires"
            }
            Self::WrongCountsPerTurn => {
                "set counts_per_turn in the rig file to what one turn counts; until then the mark puts nothing right"
            }
            Self::ReportsMissing => {
                "plug the board in without a hub or with a shorter cable, then align the wheel"
            }
            Self::WrongReportInterval => {
                "set report_interval_ms in the rig file to what the board does; until then the measured one is used"
            }
        }
    }
}

/// A suspected or observed missing count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Loss {
    /// What was seen.
    pub kind: LossKind,
    /// Seen or concluded.
    pub certainty: Certainty,
    /// When the evidence was complete.
    pub at: Timestamp,
    /// How long the evidence took to gather; zero for a single report.
    pub lasted: Duration,
    /// How many reports the evidence is made of.
    pub reports: u32,
    /// By how much the loss may have put the tally off. With [`LossKind::OffAtIndex`] by how much it did, on one
    /// side, before it was put right.
    pub bound: Margin,
}

impl Loss {
    /// How many counts were lost forward, or made up where negative, if that was measured and put right.
    #[must_use]
    pub fn measured(&self) -> Option<Counts> {
        (self.kind == LossKind::OffAtIndex).then(|| self.bound.high() - self.bound.low())
    }
}

impl fmt::Display for Loss {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} ({}, {}): {} counts; {}; {}",
            self.kind.name(),
            self.certainty.name(),
            self.kind.fault().name(),
            self.bound,
            self.kind.cause(),
            self.kind.advice(),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn every_kind_has_its_own_name_and_full_texts() {
        let names: HashSet<_> = LossKind::ALL.iter().map(|k| k.name()).collect();
        assert_eq!(names.len(), LossKind::ALL.len());
        for kind in LossKind::ALL {
            assert!(kind.name().bytes().all(|b| b.is_ascii_lowercase() || b == b'-'), "{}", kind.name());
            assert!(!kind.cause().is_empty() && !kind.cause().ends_with('.'), "{}", kind.name());
            assert!(!kind.advice().is_empty() && !kind.advice().ends_with('.'), "{}", kind.name());
        }
    }

    #[test]
    fn only_what_an_index_mark_says_is_measured() {
        let (certainty, at, lasted) = (Certainty::Observed, Timestamp::START, Duration::ZERO);
        let of = |kind, counts| {
            let bound = Margin::new(Counts::new(i64::min(counts, 0)), Counts::new(i64::max(counts, 0)));
            Loss { kind, certainty, at, lasted, reports: 2, bound }.measured()
        };
        for counts in [-3, 5] {
            assert_eq!(of(LossKind::OffAtIndex, counts), Some(Counts::new(counts)));
            assert_eq!(of(LossKind::WrongCountsPerTurn, counts), None);
        }
    }

    #[test]
    fn a_loss_reads_as_a_sentence() {
        let loss = Loss {
            kind: LossKind::BoardGone,
            certainty: Certainty::Observed,
            at: Timestamp::START,
            lasted: Duration::ZERO,
            reports: 0,
            bound: Margin::UNKNOWN,
        };
        assert_eq!(
            loss.to_string(),
            "board-gone (observed, device): unknown counts; the board was unplugged or its cable is loose; \
             plug it in again and align the wheel if it was turned meanwhile"
        );
    }
}
