//! What a recording comes to, in one pass: everything that the page shows but the traces.

use super::columns::{Column, Columns, Moment};
use super::intervals::Intervals;
use std::collections::BTreeMap;
use std::time::Duration;
use tallywheel_engine::player::Player;
use tallywheel_engine::tally::{Effect, Tally, TrimTally};
use tallywheel_profile::{Aircraft, Rig, WheelInputs};
use tallywheel_units::{
    BoardIndex, ButtonNumber, Buttons, Counts, FixedCounts, Loss, LossKind, Margin, Timestamp, WheelIndex,
};

/// Columns in the widest plot of a position.
pub const COLUMNS: usize = 648;
/// Losses whose every detail is kept; beyond, only the first ones of each kind and wheel, and the sums.
const LOSSES_KEPT: usize = 100;
/// Losses of one kind on one wheel that are kept whatever came before.
const LOSSES_OF_A_KIND_KEPT: u64 = 3;
/// Pulse widths that the usual width is taken from.
const PULSES_MEASURED: usize = 10_000;

/// A loss and where it was.
#[derive(Debug, Clone, Copy)]
pub struct LocatedLoss {
    /// The board of the wheel.
    pub board: BoardIndex,
    /// The wheel whose counts may be missing.
    pub wheel: WheelIndex,
    /// The loss.
    pub loss: Loss,
}

/// All losses of one kind.
#[derive(Debug, Clone, Copy, Default)]
pub struct LossSum {
    /// The number of losses.
    pub number: u64,
    /// The sum of their margins.
    pub bound: Margin,
}

/// What happened to one wheel.
#[derive(Debug, Clone)]
pub struct WheelSummary {
    /// The name in the rig file.
    pub name: String,
    /// The board that the wheel is on.
    pub board: BoardIndex,
    /// The wheel's buttons and how they are decoded.
    pub inputs: WheelInputs,
    /// The button of its index mark.
    pub index: Option<ButtonNumber>,
    /// Whether its buttons are pressed at rest.
    pub pressed_at_rest: bool,
    /// Whether anything of its board was recorded.
    pub recorded: bool,
    /// The counts since the beginning, forward less backward.
    pub counts: Counts,
    /// The counts since the beginning, forward plus backward.
    pub turned: Counts,
    /// How many counts may be missing.
    pub margin: Margin,
    /// The number of losses.
    pub losses: u64,
    /// The times between two counts in one direction.
    pub intervals: Intervals,
    /// The widths of pulses; empty for quadrature.
    pub pulses: PulseWidths,
}

/// How long the lines of a wheel were pressed and released.
#[derive(Debug, Clone, Default)]
pub struct PulseWidths {
    on: Vec<Duration>,
    shortest_off: Option<Duration>,
    edges: [Option<Timestamp>; 2],
}

impl PulseWidths {
    fn line(&mut self, line: usize, pressed: bool, at: Timestamp) {
        let Some(edge) = self.edges.get_mut(line) else { return };
        let Some(since) = edge.replace(at) else { return };
        let width = at.since(since);
        if !pressed && self.on.len() < PULSES_MEASURED {
            self.on.push(width);
        } else if pressed {
            self.shortest_off = Some(self.shortest_off.map_or(width, |shortest| shortest.min(width)));
        }
    }

    /// The median width of a pulse.
    #[must_use]
    pub fn usual_on(&self) -> Option<Duration> {
        let mut on = self.on.clone();
        on.sort_unstable();
        on.get(on.len() / 2).copied()
    }

    /// The shortest pause between two pulses of one line.
    #[must_use]
    pub const fn shortest_off(&self) -> Option<Duration> {
        self.shortest_off
    }
}

/// What happened to one trim.
#[derive(Debug, Clone)]
pub struct TrimSummary {
    /// The name in the aircraft file.
    pub name: String,
    /// The wheel that moves the trim.
    pub wheel: WheelIndex,
    /// Degrees from the low stop to the high one.
    pub travel: f64,
    /// Degrees from the low stop to neutral.
    pub neutral: f64,
    /// Degrees of one count.
    pub count: f64,
    /// The position over time.
    pub columns: Vec<Column>,
    /// The last position in degrees above the low stop.
    pub degrees: f64,
    /// The last position about neutral, -1 to 1.
    pub normalized: f64,
    /// The last axis value, -32767 to 32767.
    pub axis: i32,
    /// How many counts the last position may be off.
    pub margin: Margin,
    /// The counts that moved the trim.
    pub applied: FixedCounts,
    /// The counts past a stop.
    pub refused: FixedCounts,
}

/// What one board of the rig sent.
#[derive(Debug, Clone)]
pub struct BoardSummary {
    /// The name in the rig file.
    pub name: String,
    /// What the recording calls it.
    pub device: Option<String>,
    /// The number of reports.
    pub reports: u64,
    /// By the rig file.
    pub report_interval: Option<Duration>,
    /// The shortest time between two reports.
    pub shortest: Option<Duration>,
}

/// A hole in the recording itself.
#[derive(Debug, Clone, Copy)]
pub struct Gap {
    /// When the gap begins.
    pub at: Timestamp,
    /// The number of reports that were not written down.
    pub reports: u64,
}

/// Everything that the page shows.
#[derive(Debug, Clone)]
pub struct ReportFacts {
    /// The name of the rig.
    pub rig: String,
    /// The name of the aircraft.
    pub aircraft: String,
    /// When the first report was read.
    pub begin: Timestamp,
    /// When the recording ends.
    pub end: Timestamp,
    /// The number of reports.
    pub reports: u64,
    /// The number of lines that are not valid.
    pub bad_lines: usize,
    /// The boards, in the order of the rig file.
    pub boards: Vec<BoardSummary>,
    /// The wheels, in the order of the rig file.
    pub wheels: Vec<WheelSummary>,
    /// The trims, in the order of the aircraft file.
    pub trims: Vec<TrimSummary>,
    /// In the order of time; not all of them, see [`Self::losses`].
    pub lost: Vec<LocatedLoss>,
    /// Every kind that happened.
    pub losses: BTreeMap<LossKind, LossSum>,
    /// The holes of the recording, in the order of time.
    pub gaps: Vec<Gap>,
}

impl ReportFacts {
    /// All losses, of any kind.
    #[must_use]
    pub fn loss_number(&self) -> u64 {
        self.losses.values().fold(0, |all, sum| all.saturating_add(sum.number))
    }
}

/// Plays the whole recording.
#[must_use]
pub fn gather(player: &mut Player, rig: &Rig, aircraft: &Aircraft) -> ReportFacts {
    let recording = player.recording();
    let begin = recording.reports.first().map_or(Timestamp::START, |report| report.at);
    let marked = recording.marks.last().map_or(Timestamp::START, |mark| mark.at);
    let end = player.end().max(marked).max(begin);
    let gaps = recording.marks.iter().filter_map(|mark| match mark.kind {
        tallywheel_hid_reader::MarkKind::Gap { reports } => Some(Gap { at: mark.at, reports }),
        tallywheel_hid_reader::MarkKind::Unplugged => None,
    });
    let (gaps, bad_lines) = (gaps.collect(), recording.bad_lines.len());
    let devices = recording.devices.len();
    let mut boards: Vec<_> = rig.boards.iter().map(board).collect();
    let mut wheels: Vec<_> = rig.wheels.iter().map(wheel).collect();
    for device in 0..devices {
        let Some(index) = player.board(device) else { continue };
        wheels.iter_mut().filter(|wheel| wheel.board == index).for_each(|wheel| wheel.recorded = true);
        if let Some(board) = boards.get_mut(index.get()) {
            board.device = player.recording().devices.get(device).map(|device| device.name.clone());
        }
    }
    let counts: Vec<_> = player.tally().trims().iter().map(|trim| count_degrees(rig, trim.wheel)).collect();
    let mut plots: Vec<_> = player
        .tally()
        .trims()
        .iter()
        .zip(&counts)
        .zip(&aircraft.trims)
        .map(|((trim, count), said)| {
            Columns::new(begin, end, COLUMNS, moment(trim, *count, said.travel.get()))
        })
        .collect();
    let mut pass = Pass {
        rig,
        boards,
        wheels,
        lost: Vec::new(),
        losses: BTreeMap::new(),
        of_a_kind: BTreeMap::new(),
        last: vec![None; devices],
        lines: vec![Buttons::NONE; devices],
    };

    let mut events = Vec::new();
    let mut sequence = player.tally().sequence();
    loop {
        let next = player.next();
        let due = player.recording().reports.get(next).map(|report| (report.device, report.at));
        let Some(happened) = player.step() else { break };
        events.extend_from_slice(happened);
        if let Some((device, at)) = due.filter(|_| player.next() > next) {
            pass.report(player, device, at);
        }
        let changed = player.tally().sequence() != sequence;
        sequence = player.tally().sequence();
        let at = events.last().map(|event| event.at).or(due.map(|(_, at)| at)).unwrap_or(end);
        for happened in events.drain(..) {
            pass.event(happened.at, happened.board, happened.wheel, happened.effect);
            let lost = matches!(happened.effect, Effect::Lost(_));
            let trims = plots.iter_mut().zip(player.tally().trims());
            for (plot, _) in trims.filter(|(_, trim)| lost && trim.wheel == happened.wheel) {
                plot.lose(happened.at);
            }
        }
        if changed {
            for (((plot, trim), count), said) in
                plots.iter_mut().zip(player.tally().trims()).zip(&counts).zip(&aircraft.trims)
            {
                plot.set(at, moment(trim, *count, said.travel.get()));
            }
        }
    }

    let trims = player.tally().trims().iter().zip(plots).zip(counts).zip(&aircraft.trims);
    let trims = trims.map(|(((trim, plot), count), said)| {
        let reading = trim.reading();
        TrimSummary {
            name: said.name.clone(),
            wheel: trim.wheel,
            travel: said.travel.get(),
            neutral: said.neutral.get(),
            count,
            columns: plot.finish(),
            degrees: reading.degrees.get(),
            normalized: reading.normalized.get(),
            axis: reading.axis.get(),
            margin: reading.margin,
            applied: trim.applied,
            refused: trim.refused,
        }
    });
    let trims = trims.collect();
    pass.settle(player.tally());
    ReportFacts {
        rig: rig.name.clone(),
        aircraft: aircraft.name.clone(),
        begin,
        end,
        reports: player.tally().reports(),
        bad_lines,
        boards: pass.boards,
        wheels: pass.wheels,
        trims,
        lost: pass.lost,
        losses: pass.losses,
        gaps,
    }
}

struct Pass<'a> {
    rig: &'a Rig,
    boards: Vec<BoardSummary>,
    wheels: Vec<WheelSummary>,
    lost: Vec<LocatedLoss>,
    losses: BTreeMap<LossKind, LossSum>,
    of_a_kind: BTreeMap<(LossKind, WheelIndex), u64>,
    /// Per device of the recording: when its last report was read.
    last: Vec<Option<Timestamp>>,
    /// Per device: its buttons after that.
    lines: Vec<Buttons>,
}

impl Pass<'_> {
    fn report(&mut self, player: &Player, device: usize, at: Timestamp) {
        let Some(index) = player.board(device) else { return };
        let Some(board) = self.boards.get_mut(index.get()) else { return };
        board.reports = board.reports.saturating_add(1);
        if let Some(last) = self.last.get_mut(device).and_then(|last| last.replace(at)) {
            let gap = at.since(last);
            board.shortest = Some(board.shortest.map_or(gap, |shortest| shortest.min(gap)));
        }
        let buttons = player.buttons(device);
        let Some(before) = self.lines.get_mut(device) else { return };
        let changed = before.bits() ^ buttons.bits();
        *before = buttons;
        if changed == 0 {
            return;
        }
        for wheel in self.wheels.iter_mut().filter(|wheel| wheel.board == index) {
            if matches!(wheel.inputs, WheelInputs::Pulses { .. }) {
                for (line, button) in wheel.inputs.buttons().into_iter().enumerate() {
                    if changed & button.mask() != 0 {
                        wheel.pulses.line(line, buttons.pressed(button) != wheel.pressed_at_rest, at);
                    }
                }
            }
        }
    }

    fn event(&mut self, at: Timestamp, board: BoardIndex, wheel: WheelIndex, effect: Effect) {
        let Some(facts) = self.wheels.get_mut(wheel.get()) else { return };
        match effect {
            Effect::Counted(counts) => facts.intervals.count(at, counts),
            Effect::Doubted(_) | Effect::Agreed => {}
            Effect::Lost(loss) => {
                facts.losses = facts.losses.saturating_add(1);
                if loss.bound.is_unknown() {
                    facts.intervals.forget();
                    facts.pulses.edges = [None; 2];
                }
                let sum = self.losses.entry(loss.kind).or_default();
                sum.number = sum.number.saturating_add(1);
                sum.bound += loss.bound;
                let kind = self.of_a_kind.entry((loss.kind, wheel)).or_default();
                *kind = kind.saturating_add(1);
                if self.lost.len() < LOSSES_KEPT || *kind <= LOSSES_OF_A_KIND_KEPT {
                    self.lost.push(LocatedLoss { board, wheel, loss });
                }
            }
        }
    }

    fn settle(&mut self, tally: &Tally) {
        debug_assert_eq!(self.wheels.len(), self.rig.wheels.len());
        for (index, wheel) in (0_u8..).map(WheelIndex::new).zip(&mut self.wheels) {
            if let Some(tally) = tally.wheel(index) {
                (wheel.counts, wheel.turned, wheel.margin) = (tally.counts, tally.turned, tally.stated());
            }
        }
    }
}

fn board(board: &tallywheel_profile::Board) -> BoardSummary {
    BoardSummary {
        name: board.name.clone(),
        device: None,
        reports: 0,
        report_interval: board.report_interval,
        shortest: None,
    }
}

fn wheel(wheel: &tallywheel_profile::Wheel) -> WheelSummary {
    WheelSummary {
        name: wheel.name.clone(),
        board: wheel.board,
        inputs: wheel.inputs,
        index: wheel.index,
        pressed_at_rest: wheel.pressed_at_rest,
        recorded: false,
        counts: Counts::ZERO,
        turned: Counts::ZERO,
        margin: Margin::CERTAIN,
        losses: 0,
        intervals: Intervals::default(),
        pulses: PulseWidths::default(),
    }
}

fn count_degrees(rig: &Rig, wheel: WheelIndex) -> f64 {
    rig.wheels.get(wheel.get()).map_or(0.0, |wheel| 360.0 / f64::from(wheel.per_turn.get()))
}

fn moment(trim: &TrimTally, count: f64, travel: f64) -> Moment {
    let reading = trim.reading();
    let position = reading.degrees.get();
    let reach = |counts: Counts| FixedCounts::from_counts(counts).to_f64() * count;
    let (low, high) = if reading.margin.is_unknown() {
        (travel, travel)
    } else {
        (reach(reading.margin.low()), reach(reading.margin.high()))
    };
    Moment { position, band_low: (position - low).max(0.0), band_high: (position + high).min(travel) }
}
