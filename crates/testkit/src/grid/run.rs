use super::Cell;
use crate::{ButtonField, Chance, RawBoard, Report, Sampling};
use rotary_encoder_embedded::Direction;
use rotary_encoder_embedded::quadrature::QuadratureTableMode;
use std::fmt;
use std::time::Duration;
use tallywheel_hid_reader::{BoardDecoder, Event, Layout, WheelConfig, WheelFacts, WheelInputs};
use tallywheel_units::{ButtonNumber, Counts, CountsPerCycle, CountsPerTurn, LossKind, Margin, Timestamp};

/// A wheel that has not moved for so many report intervals rests.
const REST: u32 = 16;

fn interval_of(cell: &Cell) -> Duration {
    Duration::from_secs_f64(cell.interval)
}

/// What came of one run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    /// The seed.
    pub seed: u64,
    /// The hardest acceleration in edges/s^2, times the interval squared.
    pub hardest: f64,
    /// Reports that the board sent.
    pub reports: u64,
    /// Edges that passed, without direction.
    pub edges: u64,
    /// By how much the published table is off at the end.
    pub table: u64,
    /// By how much the published library is.
    pub oracle: u64,
    /// By how much the reader is.
    pub ours: u64,
    /// The margin that the reader stated at the end.
    pub margin: Margin,
    /// When a wheel at rest was first found to have turned by more than the margin that the reader stated.
    pub outside: Option<Timestamp>,
    /// Whether the truth was ever outside it after any report.
    pub turning_outside: bool,
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { seed, hardest, table, ours, margin, .. } = self;
        write!(f, "seed {seed}: a*T^2 {hardest:.2}, off by {ours} (table {table}), margin {margin}")?;
        self.outside.map_or(Ok(()), |at| write!(f, ", truth outside it from {at}"))
    }
}

/// The reader's decoder and what it said.
pub(super) struct Reader {
    decoder: BoardDecoder,
    pub(super) counts: Counts,
    margin: Margin,
    doubt: Margin,
    /// Losses of reports that are missing.
    pub(super) missing: u64,
}

impl Reader {
    pub(super) fn new(
        edges_per_turn: u32,
        interval: Option<Duration>,
        [a, b]: [ButtonNumber; 2],
    ) -> Option<Self> {
        let layout = Layout::from_descriptor(&ButtonField::Sixteen.descriptor()).ok()?;
        let inputs = WheelInputs::Quadrature { a, b, per_cycle: CountsPerCycle::X4 };
        let mut decoder = BoardDecoder::new(
            layout,
            &[WheelConfig { inputs, pressed_at_rest: false, index: None }],
            interval,
        )
        .ok()?;
        let counts_per_turn = CountsPerTurn::new(edges_per_turn);
        decoder.know(0, &WheelFacts { counts_per_turn, ..WheelFacts::default() });
        let (margin, doubt) = (Margin::CERTAIN, Margin::CERTAIN);
        Some(Self { decoder, counts: Counts::ZERO, margin, doubt, missing: 0 })
    }

    fn apply(&mut self, events: &[Event]) {
        for event in events {
            match *event {
                Event::Counts(more) => self.counts += more,
                // A line that is alone is a concern of its own, and here there is none.
                Event::Loss(loss) if loss.kind == LossKind::LineDead => {}
                Event::Loss(loss) => {
                    self.margin += loss.bound;
                    self.missing += u64::from(loss.kind.name() == "reports-missing");
                }
                Event::Doubt(now) | Event::Undecided(now) => self.doubt = now,
                Event::Index(mark) => self.counts += mark.correction,
            }
        }
    }

    /// The margin that it states now.
    pub(super) fn stated(&self) -> Margin {
        self.margin + self.doubt
    }

    /// Whether a wheel that has truly turned by `edges` is within the margin.
    pub(super) fn covers(&self, edges: i64) -> bool {
        self.stated().covers(Counts::new(edges) - self.counts)
    }

    /// Lets time pass without a report until `at`.
    pub(super) fn wait(&mut self, at: Timestamp) {
        while let Some(due) = self.decoder.deadline().filter(|due| *due < at) {
            let mut events = Vec::new();
            self.decoder.rest(due, &mut |_, event| events.push(event));
            self.apply(&events);
        }
    }

    pub(super) fn read(&mut self, report: Report) {
        let bits = report.buttons.bits().to_le_bytes();
        let mut events = Vec::new();
        self.decoder.report(report.at, bits.get(..2).unwrap_or_default(), &mut |_, event| events.push(event));
        self.apply(&events);
    }
}

/// One run: `seconds` of turning. `None` only if the testkit's own descriptor had no such buttons.
#[must_use]
pub fn run(cell: &Cell, seed: u64, seconds: f64, interval_known: bool) -> Option<Outcome> {
    let mut chance = Chance::new(seed.wrapping_mul(1009).wrapping_add(cell.number()));
    let wheel = cell.wheel(seconds, &mut chance);
    let peak = wheel.motion.peak_acceleration();
    let hardest = peak * f64::from(cell.edges_per_turn) * cell.interval * cell.interval;
    let lines = [ButtonNumber::new(1)?, ButtonNumber::new(2)?];
    let [a, b] = lines;
    let mut reader = Reader::new(cell.edges_per_turn, interval_known.then(|| interval_of(cell)), lines)?;
    let mut oracle = QuadratureTableMode::new(1);
    let sampling = Sampling::every(cell.interval, cell.reporting);
    let mut board = RawBoard::new(sampling, Chance::new(chance.seed())).with(&wheel, a, b);
    let mut before: Option<(i64, u8)> = None;
    let (mut start, mut table, mut published) = (0, 0, 0);
    let (mut reports, mut edges, mut outside, mut turning_outside) = (0, 0_u64, None, false);
    let mut end = Timestamp::START;
    let mut moved = Timestamp::START;
    while let Some(report) = board.next() {
        let truth = board.edges(0);
        let phase = u8::try_from(truth.rem_euclid(4)).unwrap_or_default();
        // That crate calls A-leads-B clockwise when its dt is A and its clk is B.
        let direction = oracle.update(report.buttons.pressed(a), report.buttons.pressed(b));
        reader.wait(report.at);
        if let Some((truth, _)) = before
            && report.at.since(moved) > interval_of(cell) * REST
            && !reader.covers(truth - start)
        {
            outside = outside.or(Some(report.at));
        }
        reader.read(report);
        if before.is_none_or(|(was, _)| was != truth) {
            moved = report.at;
        }
        if let Some((was, phase_was)) = before.replace((truth, phase)) {
            edges += truth.abs_diff(was);
            table += match phase.wrapping_sub(phase_was) & 3 {
                1 => 1,
                3 => -1,
                _ => 0,
            };
            published += match direction {
                Direction::Clockwise => 1,
                Direction::Anticlockwise => -1,
                Direction::None => 0,
            };
        } else {
            start = truth;
        }
        turning_outside |= !reader.covers(truth - start);
        reports += 1;
        end = report.at;
    }
    // The board stays silent, or repeats itself; either way the wheel has come to rest.
    reader.wait(end.after(Duration::from_secs(10)));
    let truth = before.map_or(0, |(truth, _)| truth - start);
    let margin = reader.stated();
    if outside.is_none() && !reader.covers(truth) {
        outside = Some(end);
    }
    Some(Outcome {
        seed,
        hardest,
        reports,
        edges,
        table: truth.abs_diff(table),
        oracle: truth.abs_diff(published),
        ours: truth.abs_diff(reader.counts.get()),
        margin,
        outside,
        turning_outside,
    })
}
