//! What to do, in sentences.

use super::choice::{Choice, Decoder, Figures, STROKE_TURNS};
use super::formulas;
use super::quantity::{StepsPerTurn, Turning};
use tallywheel_units::{CountsPerCycle, Degrees};

/// How well a choice keeps up with the hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fit {
    /// It loses counts at the wanted speed.
    Loses,
    /// The lines turn faster than every edge is seen, and Tallywheel follows their motion.
    Follows,
    /// No count can be lost at the wanted speed.
    Safe,
}

/// How well `choice` keeps up with `wanted`.
#[must_use]
pub fn fit(choice: &Choice, wanted: Turning) -> Fit {
    if choice.fastest_uneven.is_some_and(|turning| turning >= wanted) {
        Fit::Safe
    } else if choice.stroke.is_some_and(|turning| turning >= wanted) {
        Fit::Follows
    } else {
        Fit::Loses
    }
}

/// What a choice is called: the rig file's word and the counts a cycle.
#[must_use]
pub fn name(choice: &Choice) -> String {
    let wiring = match choice.decoder {
        Decoder::Board => "pulses",
        Decoder::Tallywheel => "quadrature",
    };
    choice.per_cycle.map_or_else(|| wiring.to_owned(), |per_cycle| format!("{wiring} x{}", per_cycle.get()))
}

/// The best choice: it keeps up as well as any, is fine enough if one is, and then is the finest; where none
/// keeps up, the fastest.
#[must_use]
pub fn best<'c>(figures: &Figures, choices: &'c [Choice]) -> Option<&'c Choice> {
    let key = |choice: &Choice| (fit(choice, figures.wanted), fine_enough(figures, choice));
    let speed = |choice: &Choice| match fit(choice, figures.wanted) {
        Fit::Safe | Fit::Follows => 0.0,
        Fit::Loses => choice.fastest_uneven.map_or(0.0, Turning::get),
    };
    choices.iter().max_by(|one, other| {
        key(one)
            .cmp(&key(other))
            .then(speed(one).total_cmp(&speed(other)))
            .then(one.per_turn.get().total_cmp(&other.per_turn.get()))
            // As fine and as fast: the lines themselves tell more about losses than a board's pulses do.
            .then((one.decoder == Decoder::Tallywheel).cmp(&(other.decoder == Decoder::Tallywheel)))
    })
}

fn fine_enough(figures: &Figures, choice: &Choice) -> bool {
    figures.step.is_none_or(|step| choice.degrees_per_count <= step)
}

/// The recommendation, a sentence each.
#[must_use]
pub fn advice(figures: &Figures, choices: &[Choice]) -> Vec<String> {
    let mut said = Vec::new();
    let wanted = figures.wanted;
    if let Some(wired) = choices.iter().find(|choice| choice.wired) {
        said.push(format!("As it is wired ({}), {}.", name(wired), verdict(wired, wanted)));
    }
    match best(figures, choices) {
        Some(best) if best.wired && choices.len() > 1 && fit(best, wanted) > Fit::Loses => {
            said.push("Keep it: no other wiring of this encoder does better.".to_owned());
        }
        Some(best) if !best.wired => said.push(format!(
            "{} {}: {} counts from stop to stop, {:.2}\u{b0} each; {}.",
            match (fit(best, wanted), figures.wired) {
                (Fit::Loses, _) => "Nothing keeps up; the nearest is",
                (_, Some(_)) => "Better is",
                (_, None) => "Choose",
            },
            name(best),
            whole(best.counts),
            best.degrees_per_count.get(),
            verdict(best, wanted),
        )),
        _ => {}
    }
    if let Some(best) = best(figures, choices)
        && fit(best, wanted) != Fit::Safe
        && let Some(interval) = interval_for(best, wanted)
    {
        said.push(format!(
            "A board that reports every {interval:.1} ms or faster would be safe at that speed."
        ));
    }
    if let (Some(pulse), true) = (figures.pulse, choices.iter().any(|c| c.decoder == Decoder::Board))
        && (pulse.on < figures.interval || pulse.off < figures.interval)
    {
        said.push(
            "The board's pulse or pause is shorter than the time between two of its reports, so pulses are \
             lost at any speed: set both at least as long."
                .to_owned(),
        );
    }
    if let Some(step) = figures.step {
        said.push(enough(figures, choices, step));
    }
    if choices.iter().any(|choice| choice.axis_steps_per_count < 1.0) {
        said.push(
            "Some of these are finer than the axis has steps: that is lost on the simulator.".to_owned(),
        );
    }
    if figures.cycles.is_none() {
        said.push(
            "The rig file does not say how many cycles the encoder has; with --cycles-per-turn (and --encoder-ratio) \
             the other wirings are shown too."
                .to_owned(),
        );
    }
    said
}

fn verdict(choice: &Choice, wanted: Turning) -> String {
    match (fit(choice, wanted), choice.fastest_uneven, choice.stroke) {
        (Fit::Safe, Some(limit), _) => {
            format!("no count can be lost up to {limit}, and you turn at {wanted} at most")
        }
        (Fit::Follows, Some(limit), Some(stroke)) => format!(
            "every edge is seen up to {limit}; past that Tallywheel follows the motion, in strokes of {STROKE_TURNS} \
             turns up to {stroke}, so it should keep up with {wanted} and says by its margin where it is not sure. \
             It needs report_interval_ms in the rig file, or a board that reports at a steady beat"
        ),
        (_, Some(limit), _) => format!("counts are lost above {limit}, and you turn at up to {wanted}"),
        _ => "counts may be lost at any speed".to_owned(),
    }
}

/// The report interval in ms at which `choice` would be safe at `wanted`.
fn interval_for(choice: &Choice, wanted: Turning) -> Option<f64> {
    let limit = choice.fastest_uneven?;
    let now = match choice.decoder {
        // The interval is in the pulse's own times, which the board's settings give.
        Decoder::Board => return None,
        Decoder::Tallywheel => 1000.0 / (choice.fastest?.get() * edges(choice)?.get()),
    };
    Some(now * limit.get() / wanted.get()).filter(|interval| *interval >= 0.125)
}

fn edges(choice: &Choice) -> Option<StepsPerTurn> {
    StepsPerTurn::new(choice.per_turn.get() * 4.0 / f64::from(choice.per_cycle?.get()))
}

fn enough(figures: &Figures, choices: &[Choice], step: Degrees) -> String {
    let needed = formulas::steps_for(360.0, step.get()).map_or(0.0, StepsPerTurn::get);
    let cycles = (needed / f64::from(CountsPerCycle::X4.get())).ceil();
    if choices.iter().any(|choice| fine_enough(figures, choice) && fit(choice, figures.wanted) > Fit::Loses) {
        format!(
            "Counts of {:.2}\u{b0} need {:.0} counts a turn, which is within reach.",
            step.get(),
            needed.ceil()
        )
    } else {
        format!(
            "Counts of {:.2}\u{b0} need {:.0} counts a turn and this does not give them at that speed: take an \
             encoder of {cycles:.0} cycles a turn or a gear that makes as many.",
            step.get(),
            needed.ceil()
        )
    }
}

/// Counts for people: whole ones without a fraction.
#[must_use]
pub fn whole(counts: f64) -> String {
    if (counts - counts.round()).abs() < 1e-6 { format!("{counts:.0}") } else { format!("{counts:.1}") }
}

#[cfg(test)]
mod tests {
    use super::super::choice::{Pulse, choices};
    use super::super::quantity::{CyclesPerTurn, milliseconds};
    use super::*;
    use expect_test::{Expect, expect};

    fn check(change: impl Fn(&mut Figures), expected: Expect) {
        let mut figures = Figures {
            travel: Degrees::new(580.0).unwrap(),
            cycles: CyclesPerTurn::new(24.0),
            wired: None,
            interval: milliseconds(4.0).unwrap(),
            pulse: None,
            wanted: Turning::new(1.5).unwrap(),
            step: None,
        };
        change(&mut figures);
        expected.assert_eq(&advice(&figures, &choices(&figures)).join("\n"));
    }

    #[test]
    fn a_coarse_encoder_is_safe() {
        check(
            |_| {},
            expect![
                "Choose quadrature x4: 154.7 counts from stop to stop, 3.75° each; no count can be lost up to 1.56 turns/s, and you turn at 1.50 turns/s at most."
            ],
        );
    }

    #[test]
    fn a_fine_encoder_is_followed() {
        check(
            |figures| figures.cycles = CyclesPerTurn::new(100.0),
            expect![[r#"
                Choose quadrature x4: 644.4 counts from stop to stop, 0.90° each; every edge is seen up to 0.38 turns/s; past that Tallywheel follows the motion, in strokes of 0.5 turns up to 6.90 turns/s, so it should keep up with 1.50 turns/s and says by its margin where it is not sure. It needs report_interval_ms in the rig file, or a board that reports at a steady beat.
                A board that reports every 1.0 ms or faster would be safe at that speed."#]],
        );
    }

    #[test]
    fn a_very_fine_encoder_on_a_slow_board_loses() {
        check(
            |figures| {
                figures.cycles = CyclesPerTurn::new(600.0);
                figures.interval = milliseconds(10.0).unwrap();
            },
            expect![
                "Nothing keeps up; the nearest is pulses x1: 966.7 counts from stop to stop, 0.60° each; counts are lost above 0.058 turns/s, and you turn at up to 1.50 turns/s."
            ],
        );
    }

    #[test]
    fn a_board_that_pulses_slowly() {
        check(
            |figures| {
                figures.wired = Some((Decoder::Board, StepsPerTurn::new(24.0).unwrap()));
                figures.cycles = None;
                let pulse = milliseconds(40.0).unwrap();
                figures.pulse = Some(Pulse { on: pulse, off: pulse });
            },
            expect![[r#"
                As it is wired (pulses), counts are lost above 0.25 turns/s, and you turn at up to 1.50 turns/s.
                The rig file does not say how many cycles the encoder has; with --cycles-per-turn (and --encoder-ratio) the other wirings are shown too."#]],
        );
    }

    #[test]
    fn a_step_that_is_asked_for() {
        check(
            |figures| figures.step = Degrees::new(1.0),
            expect![[r#"
                Choose quadrature x4: 154.7 counts from stop to stop, 3.75° each; no count can be lost up to 1.56 turns/s, and you turn at 1.50 turns/s at most.
                Counts of 1.00° need 360 counts a turn and this does not give them at that speed: take an encoder of 90 cycles a turn or a gear that makes as many."#]],
        );
    }

    #[test]
    fn a_pulse_that_no_report_catches() {
        check(
            |figures| {
                let pulse = milliseconds(2.0).unwrap();
                figures.pulse = Some(Pulse { on: pulse, off: pulse });
            },
            expect![[r#"
                Choose quadrature x4: 154.7 counts from stop to stop, 3.75° each; no count can be lost up to 1.56 turns/s, and you turn at 1.50 turns/s at most.
                The board's pulse or pause is shorter than the time between two of its reports, so pulses are lost at any speed: set both at least as long."#]],
        );
    }
}
