//! Every way to wire one encoder, and how fast each may turn. No I/O.

use super::formulas;
use super::quantity::{CyclesPerTurn, PartOfCycle, StepsPerTurn, Turning, TurningUp};
use std::time::Duration;
use tallywheel_units::{CountsPerCycle, Degrees};

/// Every number of counts that a cycle may yield.
pub const ALL_PER_CYCLE: [CountsPerCycle; 3] = [CountsPerCycle::X1, CountsPerCycle::X2, CountsPerCycle::X4];

/// Who makes counts of the encoder's lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decoder {
    /// The board; it sends pulses (wiring "pulses").
    Board,
    /// Tallywheel, from the lines themselves (wiring "quadrature").
    Tallywheel,
}

/// A board's pulse and the pause after it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pulse {
    /// How long it presses the button.
    pub on: Duration,
    /// How long it releases it before the next.
    pub off: Duration,
}

/// What is known of a wheel, built or not.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// From the low stop to the high stop.
    pub travel: Degrees,
    /// The encoder's cycles in one turn of the wheel, gear included. Unknown where a board decodes and only its
    /// counts are known.
    pub cycles: Option<CyclesPerTurn>,
    /// How it is wired, if it is: who decodes, and counts in one turn of the wheel.
    pub wired: Option<(Decoder, StepsPerTurn)>,
    /// Time between two reports of the board.
    pub interval: Duration,
    /// The board's pulse, if it is known.
    pub pulse: Option<Pulse>,
    /// The fastest that the user turns the wheel.
    pub wanted: Turning,
    /// The coarsest count that the user will have.
    pub step: Option<Degrees>,
}

/// One way to wire the encoder.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// Who decodes.
    pub decoder: Decoder,
    /// Counts in a cycle, where that is known.
    pub per_cycle: Option<CountsPerCycle>,
    /// Counts in one turn of the wheel.
    pub per_turn: StepsPerTurn,
    /// Counts from stop to stop.
    pub counts: f64,
    /// Wheel rotation for one count.
    pub degrees_per_count: Degrees,
    /// Steps of the axis for one count.
    pub axis_steps_per_count: f64,
    /// The fastest turning at which no count can be lost if every edge is in its place. `None`: pulses shorter
    /// than a report are lost at any speed.
    pub fastest: Option<Turning>,
    /// The same for an encoder that uses its whole phase tolerance. It says what can be relied on.
    pub fastest_uneven: Option<Turning>,
    /// How long the full travel takes at `fastest_uneven`.
    pub full_travel: Option<Duration>,
    /// Quadrature: how fast the speed may change where Tallywheel follows the motion. Speed is no limit then.
    pub change: Option<TurningUp>,
    /// Quadrature: the speed that a stroke of [`STROKE_TURNS`] reaches within `change`.
    pub stroke: Option<Turning>,
    /// Whether the rig is wired like this.
    pub wired: bool,
}

/// The stroke that [`Choice::stroke`] is for, in turns: about what a wrist does. Common practice, no source.
pub const STROKE_TURNS: f64 = 0.5;

/// Every choice that the figures allow: pulses first, then quadrature, each from coarse to fine.
#[must_use]
pub fn choices(figures: &Figures) -> Vec<Choice> {
    let mut choices = Vec::new();
    for decoder in [Decoder::Board, Decoder::Tallywheel] {
        for per_cycle in ALL_PER_CYCLE {
            if let Some(cycles) = figures.cycles {
                choices.push(choice(figures, decoder, Some(per_cycle), cycles.steps(per_cycle)));
            }
        }
    }
    if let Some((decoder, per_turn)) = figures.wired
        && !choices.iter().any(|choice| choice.wired)
    {
        choices.insert(0, choice(figures, decoder, None, per_turn));
    }
    choices
}

fn choice(
    figures: &Figures,
    decoder: Decoder,
    per_cycle: Option<CountsPerCycle>,
    per_turn: StepsPerTurn,
) -> Choice {
    let Figures { travel, interval, .. } = *figures;
    // The lines are sampled, whatever is made of them later: fewer counts a cycle do not let them turn faster.
    let edges = figures.cycles.map(|cycles| cycles.steps(CountsPerCycle::X4));
    let seen = |shortest| {
        let rate = formulas::fastest_seen(interval, PartOfCycle::IDEAL, shortest)?;
        formulas::turning(rate, edges?)
    };
    let (fastest, fastest_uneven) = match decoder {
        Decoder::Tallywheel => (seen(PartOfCycle::IDEAL), seen(PartOfCycle::UNEVEN)),
        Decoder::Board => {
            let even = pulses(figures).and_then(|rate| formulas::turning(rate, per_turn));
            // From one count to the next at x1 is a whole cycle, always; at x2 and x4 it is one or two states,
            // each of which may be 0.15 T instead of 0.25 T. A board with a queue evens that out again.
            let uneven = match per_cycle {
                Some(CountsPerCycle::X1) => 1.0,
                _ => PartOfCycle::UNEVEN.get() / PartOfCycle::IDEAL.get(),
            };
            (even, even.and_then(|even| Turning::new(even.get() * uneven)))
        }
    };
    let change = edges
        .filter(|_| decoder == Decoder::Tallywheel)
        .and_then(|edges| formulas::fastest_change(interval, edges));
    let same = |(by, steps): (Decoder, StepsPerTurn)| {
        by == decoder && (steps.get() - per_turn.get()).abs() < 1e-6 * per_turn.get()
    };
    Choice {
        decoder,
        per_cycle,
        per_turn,
        counts: formulas::counts_stop_to_stop(travel, per_turn),
        degrees_per_count: formulas::degrees_per_count(per_turn),
        axis_steps_per_count: formulas::axis_steps_per_count(travel, per_turn),
        fastest,
        fastest_uneven,
        full_travel: fastest_uneven.map(|turning| formulas::full_travel(travel, turning)),
        change,
        stroke: change.and_then(|change| formulas::stroke_peak(STROKE_TURNS, change)),
        wired: figures.wired.is_some_and(same),
    }
}

/// The highest rate of counts at which a board is sure to lose none, by the rule that the reader's diagnostics judge by;
/// `None` where its pulses or pauses are too short for its reports.
fn pulses(figures: &Figures) -> Option<super::quantity::Rate> {
    let shortest = formulas::shortest_pulse(figures.interval);
    let pulse = figures.pulse.unwrap_or(Pulse { on: shortest, off: shortest });
    let between = tallywheel_hid_reader::free_of_loss(pulse.on, pulse.off, figures.interval)?;
    super::quantity::Rate::new(1.0 / between.as_secs_f64())
}

#[cfg(test)]
mod tests {
    use super::super::quantity::milliseconds;
    use super::*;

    fn figures() -> Figures {
        Figures {
            travel: Degrees::new(580.0).unwrap(),
            cycles: CyclesPerTurn::new(24.0),
            wired: None,
            interval: milliseconds(4.0).unwrap(),
            pulse: None,
            wanted: Turning::new(2.0).unwrap(),
            step: None,
        }
    }

    #[test]
    fn six_choices_and_the_wired_one_is_marked() {
        let wired = Some((Decoder::Tallywheel, StepsPerTurn::new(96.0).unwrap()));
        let all = choices(&Figures { wired, ..figures() });
        assert_eq!(all.len(), 6);
        let marked: Vec<_> = all.iter().filter(|choice| choice.wired).collect();
        assert_eq!(marked.len(), 1);
        assert_eq!((marked[0].decoder, marked[0].per_cycle), (Decoder::Tallywheel, Some(CountsPerCycle::X4)));
    }

    #[test]
    fn a_board_whose_cycles_nobody_knows_is_one_choice() {
        let wired = Some((Decoder::Board, StepsPerTurn::new(24.0).unwrap()));
        let all = choices(&Figures { wired, cycles: None, ..figures() });
        assert_eq!(all.len(), 1);
        // 125 pulses a second at a report every 4 ms (one pressed, one released), 24 a turn; 70 % of it are promised.
        assert!((all[0].fastest.unwrap().get() - 0.7 * 125.0 / 24.0).abs() < 1e-4);
        assert!(all[0].wired && all[0].change.is_none());
    }

    #[test]
    fn sampling_limits_quadrature_alike_at_every_counts_per_cycle() {
        let all = choices(&figures());
        let quadrature: Vec<_> =
            all.iter().filter(|c| c.decoder == Decoder::Tallywheel).map(|c| c.fastest).collect();
        // 24 pulses at 4 ms: 156.25 rpm, the derived table of the formulas' tests.
        assert!(quadrature.iter().all(|turning| (turning.unwrap().rpm() - 156.25).abs() < 1e-9));
    }

    #[test]
    fn a_pulse_shorter_than_a_report_is_never_safe() {
        let ms = |n| milliseconds(n).unwrap();
        for (on, off, safe) in [(3.0, 20.0, false), (20.0, 3.0, false), (4.0, 4.0, true)] {
            let all = choices(&Figures { pulse: Some(Pulse { on: ms(on), off: ms(off) }), ..figures() });
            let board = all.iter().filter(|choice| choice.decoder == Decoder::Board);
            assert!(board.into_iter().all(|choice| choice.fastest.is_some() == safe), "{on} {off}");
        }
    }
}
