//! What encoder makers publish about resolution and speed, each with its source. No I/O.

use super::quantity::{PartOfCycle, Rate, StepsPerTurn, Turning, TurningUp};
use std::time::Duration;
use tallywheel_units::Degrees;

/// The axis has so many steps from the low stop to the high stop: -32767..32767.
pub const AXIS_STEPS: f64 = 65_534.0;

/// Degrees of wheel rotation for one count: 360 / counts a turn. Kuebler, Basics - incremental encoders, p. 23,
/// and ST RM0440 (encoder mode) for the counts; the division is arithmetic.
#[must_use]
pub fn degrees_per_count(per_turn: StepsPerTurn) -> Degrees {
    Degrees::new(360.0 / per_turn.get()).unwrap_or(Degrees::FULL_TURN)
}

/// Counts a turn that make one count as small as `step`: whole / step. Kuebler, Basics - incremental encoders
/// ("resolution"): 200 mm of circumference at 0.1 mm make 2000. `None` where `step` is not above 0.
#[must_use]
pub fn steps_for(whole: f64, step: f64) -> Option<StepsPerTurn> {
    StepsPerTurn::new(whole / step)
}

/// Counts from the low stop to the high stop; seldom a whole number.
#[must_use]
pub fn counts_stop_to_stop(travel: Degrees, per_turn: StepsPerTurn) -> f64 {
    travel.get() / 360.0 * per_turn.get()
}

/// Steps of the 16-bit axis for one count; below 1 the encoder is finer than the axis.
#[must_use]
pub fn axis_steps_per_count(travel: Degrees, per_turn: StepsPerTurn) -> f64 {
    AXIS_STEPS / counts_stop_to_stop(travel, per_turn)
}

/// Steps a second at a speed: f = n Z / 60 with n in rpm (Pepperl+Fuchs, Rotary Encoders catalogue, p. 739, and
/// "Principles of Rotary Encoders", p. 15).
#[must_use]
pub fn rate(turning: Turning, per_turn: StepsPerTurn) -> Option<Rate> {
    Rate::new(turning.get() * per_turn.get())
}

/// The speed at which steps come at `rate`: n = f 60 / Z, the same formula turned round (same sources).
#[must_use]
pub fn turning(rate: Rate, per_turn: StepsPerTurn) -> Option<Turning> {
    Turning::new(rate.get() / per_turn.get())
}

/// How long one step lasts at a speed (Allen-Bradley 1771-DE manual, appendix B, p. B-2: 360 positions at
/// 60 rpm last 2.8 ms each).
#[must_use]
pub fn dwell(turning: Turning, per_turn: StepsPerTurn) -> Duration {
    Duration::try_from_secs_f64(1.0 / (turning.get() * per_turn.get())).unwrap_or(Duration::MAX)
}

/// The highest rate of steps at which a look every `interval` sees each of them: the shortest step must last
/// longer than an interval. `step` is a step's even length and `shortest` the shortest that the encoder may
/// make of it, both as parts of a cycle, so the ideal limit 1 / interval shrinks by shortest / step. With
/// states of A and B (0.25 T and 0.15 T) this is 60 / (4 PPR interval) rpm, times 0.6.
#[must_use]
pub fn fastest_seen(interval: Duration, step: PartOfCycle, shortest: PartOfCycle) -> Option<Rate> {
    Rate::new(shortest.get() / step.get() / interval.as_secs_f64())
}

/// The highest rate of one board's pulses: it presses for `on`, releases for `off`, and begins again.
#[must_use]
pub fn fastest_pulses(on: Duration, off: Duration) -> Option<Rate> {
    Rate::new(1.0 / (on.as_secs_f64() + off.as_secs_f64()))
}

/// The shortest pulse, or release, that a report every `interval` cannot miss: one that lasts an interval, so
/// that one report falls into it. On and off together take two, which is why a signal needs two looks a cycle.
#[must_use]
pub const fn shortest_pulse(interval: Duration) -> Duration {
    interval
}

/// How fast the speed may change where Tallywheel follows the motion of a quadrature wheel: a T^2 <= 1 edge, a in
/// edges/s^2 and T the report interval. It is no standard's but was measured in simulation (testkit's `grid`): below
/// it nearly every run ends with the right count, and what is in doubt is within the margin.
#[must_use]
pub fn fastest_change(interval: Duration, edges_per_turn: StepsPerTurn) -> Option<TurningUp> {
    let interval = interval.as_secs_f64();
    TurningUp::new(1.0 / (interval * interval * edges_per_turn.get()))
}

/// The speed that a single unhindered stroke of `turns` reaches when it never speeds up more than `change`.
/// The stroke is of minimum-jerk form: peak speed 15/8 L/D, peak acceleration 10/sqrt(3) L/D^2 for a length L in a
/// time D (Flash and Hogan, Journal of Neuroscience 5 (1985); cited from memory, the peaks are the derivatives of its
/// polynomial). `None` where `turns` is not above 0.
#[must_use]
pub fn stroke_peak(turns: f64, change: TurningUp) -> Option<Turning> {
    let lasts = (10.0 / 3.0_f64.sqrt() * turns / change.get()).sqrt();
    Turning::new(15.0 / 8.0 * turns / lasts)
}

/// How long the whole travel takes at a steady speed.
#[must_use]
pub fn full_travel(travel: Degrees, turning: Turning) -> Duration {
    Duration::try_from_secs_f64(travel.get() / 360.0 / turning.get()).unwrap_or(Duration::MAX)
}

#[cfg(test)]
mod tests {
    use super::super::quantity::{CyclesPerTurn, EncoderRatio};
    use super::*;
    use tallywheel_units::CountsPerCycle::{X1, X2, X4};

    fn cycles(number: f64) -> CyclesPerTurn {
        CyclesPerTurn::new(number).unwrap()
    }
    fn steps(number: f64) -> StepsPerTurn {
        StepsPerTurn::new(number).unwrap()
    }
    fn rpm(number: f64) -> Turning {
        Turning::from_rpm(number).unwrap()
    }
    fn travel(degrees: f64) -> Degrees {
        Degrees::new(degrees).unwrap()
    }
    fn ms(number: f64) -> Duration {
        super::super::quantity::milliseconds(number).unwrap()
    }
    #[track_caller]
    fn near(value: f64, expected: f64, within: f64) {
        assert!((value - expected).abs() <= within, "{value}, expected {expected} within {within}");
    }

    /// Kuebler, Basics - incremental encoders, p. 23: 5000 pulses a turn, edges evaluated four times, 20000.
    #[test]
    fn kuebler_edge_multiplication() {
        near(cycles(5000.0).steps(X4).get(), 20_000.0, 0.0);
        near(cycles(5000.0).steps(X2).get(), 10_000.0, 0.0);
        near(cycles(5000.0).steps(X1).get(), 5_000.0, 0.0);
    }

    /// Kuebler, Basics - incremental encoders: 200 mm of circumference at a resolution of 0.1 mm need 2000.
    #[test]
    fn kuebler_required_resolution() {
        near(steps_for(200.0, 0.1).unwrap().get(), 2000.0, 1e-9);
    }

    /// ST RM0440, encoder error: an encoder of 1000 lines counted four times has 4000 counts, 0..3999.
    #[test]
    fn st_thousand_lines() {
        near(cycles(1000.0).steps(X4).get(), 4000.0, 0.0);
        near(degrees_per_count(steps(4000.0)).get(), 0.09, 1e-12);
        near(counts_stop_to_stop(Degrees::FULL_TURN, steps(4000.0)), 4000.0, 0.0);
    }

    /// Allen-Bradley 1771-DE manual, appendix B, p. B-2: 360 positions of 220 us take 79 ms a turn, 758 rpm
    /// (exactly 79.2 ms and 757.6 rpm).
    #[test]
    fn allen_bradley_dwell_per_position() {
        let rate = fastest_seen(Duration::from_micros(220), PartOfCycle::IDEAL, PartOfCycle::IDEAL).unwrap();
        let turning = turning(rate, steps(360.0)).unwrap();
        near(1000.0 / turning.get(), 79.2, 1e-9);
        near(turning.rpm(), 757.575_757, 1e-5);
    }

    /// The same page: at 60 rpm each position lasts 2.8 ms (2.778).
    #[test]
    fn allen_bradley_at_sixty_rpm() {
        near(dwell(rpm(60.0), steps(360.0)).as_secs_f64() * 1e3, 2.777_777, 1e-5);
    }

    /// "Polling vs. Interrupts" (stored page about a motor with an encoder): 3400 rpm at 16 counts a turn are
    /// 907 a second (906.67).
    #[test]
    fn polling_versus_interrupts_pulse_rate() {
        near(rate(rpm(3400.0), steps(16.0)).unwrap().get(), 906.666_667, 1e-5);
    }

    /// FIRST robotics forum, thread 94195 (a team, not a vendor): inputs looked at 153,000 times a second see
    /// 76.5 kHz on a channel at most; an encoder of 250 cycles counted four times gives 1000 counts a turn.
    #[test]
    fn first_robotics_sampling_limit() {
        let look = Duration::from_secs_f64(1.0 / 153_000.0);
        let pulse = shortest_pulse(look);
        // A duration holds whole nanoseconds, 6536 for 6535.9.
        near(fastest_pulses(pulse, pulse).unwrap().get(), 76_500.0, 2.0);
        near(cycles(250.0).steps(X4).get(), 1000.0, 0.0);
    }

    /// picbasic forum, thread 3316: 50 slots at a turn a second are 200 states a second, 5 ms each; the author
    /// needs looks every 1 ms, as his shortest states are a fifth as long.
    #[test]
    fn picbasic_uneven_states() {
        near(rate(Turning::new(1.0).unwrap(), cycles(50.0).steps(X4)).unwrap().get(), 200.0, 1e-9);
        near(dwell(Turning::new(1.0).unwrap(), steps(200.0)).as_secs_f64(), 0.005, 1e-9);
        let fifth = PartOfCycle::new(0.25 / 5.0).unwrap();
        near(fastest_seen(ms(1.0), PartOfCycle::IDEAL, fifth).unwrap().get(), 200.0, 1e-9);
    }

    /// Pepperl+Fuchs, Rotary Encoders catalogue, p. 739 (n = f 60 / Z), at points that lie on the printed
    /// chart's axes: Z 10000 at 150 kHz is 900 rpm, 5000 at 25 kHz 300 rpm, 1200 at 5000 rpm 100 kHz.
    #[test]
    fn pepperl_fuchs_chart_points() {
        let at = |khz: f64, z: f64| turning(Rate::new(khz * 1e3).unwrap(), steps(z)).unwrap().rpm();
        near(at(150.0, 10_000.0), 900.0, 1e-9);
        near(at(25.0, 5000.0), 300.0, 1e-9);
        near(rate(rpm(5000.0), steps(1200.0)).unwrap().get(), 100_000.0, 1e-6);
    }

    /// The table that the project derived from the sources above (pulses a turn, degrees a count at four counts
    /// a cycle, ms an edge at 60 rpm, ideal rpm at reports every 1, 4, 8 and 10 ms), every row and column.
    #[test]
    fn the_derived_table() {
        let table = [
            (12.0, 7.5, 20.83, [1250.0, 312.5, 156.25, 125.0]),
            (24.0, 3.75, 10.417, [625.0, 156.25, 78.125, 62.5]),
            (30.0, 3.0, 8.333, [500.0, 125.0, 62.5, 50.0]),
            (100.0, 0.9, 2.5, [150.0, 37.5, 18.75, 15.0]),
            (256.0, 0.351_562_5, 0.977, [58.59, 14.65, 7.32, 5.86]),
            (600.0, 0.15, 0.417, [25.0, 6.25, 3.125, 2.5]),
        ];
        for (pulses, degrees, edge, limits) in table {
            let edges = cycles(pulses).steps(X4);
            near(degrees_per_count(edges).get(), degrees, 1e-9);
            near(dwell(rpm(60.0), edges).as_secs_f64() * 1e3, edge, 0.006);
            for (interval, limit) in [1.0, 4.0, 8.0, 10.0].into_iter().zip(limits) {
                let ideal = fastest_seen(ms(interval), PartOfCycle::IDEAL, PartOfCycle::IDEAL).unwrap();
                near(turning(ideal, edges).unwrap().rpm(), limit, 0.006);
                let uneven = fastest_seen(ms(interval), PartOfCycle::IDEAL, PartOfCycle::UNEVEN).unwrap();
                near(turning(uneven, edges).unwrap().rpm(), limit * 0.6, 0.006);
            }
        }
    }

    /// The same section: 24 pulses just pass at their own 60 rpm with 10 ms reports (62.5) and fail with the
    /// phase tolerance (37.5). Boards that pulse: 500 counts a second at 1 ms, 62.5 at 8 ms, 50 at 10 ms.
    #[test]
    fn the_derived_limits_of_pulses() {
        for (interval, limit) in [(1.0, 500.0), (8.0, 62.5), (10.0, 50.0)] {
            let pulse = shortest_pulse(ms(interval));
            near(fastest_pulses(pulse, pulse).unwrap().get(), limit, 1e-9);
        }
        let uneven = fastest_seen(ms(10.0), PartOfCycle::IDEAL, PartOfCycle::UNEVEN).unwrap();
        near(turning(uneven, cycles(24.0).steps(X4)).unwrap().rpm(), 37.5, 1e-9);
    }

    /// An invented rig, worked out by hand: an encoder of 30 cycles, on the wheel's shaft or geared up 2.5 times, and
    /// a board that reports every 10 ms.
    #[test]
    fn an_invented_rig() {
        let plain = cycles(30.0).with_ratio(EncoderRatio::DIRECT).steps(X1);
        let geared = cycles(30.0).with_ratio(EncoderRatio::new(2.5).unwrap()).steps(X1);
        near(counts_stop_to_stop(travel(580.0), plain), 48.333_333, 1e-5);
        near(counts_stop_to_stop(travel(580.0), geared), 120.833_333, 1e-5);
        near(degrees_per_count(geared).get(), 4.8, 1e-12);
        near(axis_steps_per_count(travel(580.0), geared), 542.35, 0.01);
        let pulse = shortest_pulse(ms(10.0));
        let rate = fastest_pulses(pulse, pulse).unwrap();
        near(rate.get(), 50.0, 1e-9);
        near(turning(rate, plain).unwrap().get(), 1.666_667, 1e-5);
        near(turning(rate, geared).unwrap().get(), 0.666_667, 1e-5);
        near(full_travel(travel(580.0), turning(rate, geared).unwrap()).as_secs_f64(), 2.416_667, 1e-5);
    }

    /// The stroke's formulas against a simulated stroke that has the same peak speed.
    #[test]
    fn a_stroke_at_the_limit_has_the_acceleration_of_the_limit() {
        let change = fastest_change(ms(4.0), steps(400.0)).unwrap();
        near(change.get(), 156.25, 1e-9);
        let peak = stroke_peak(0.5, change).unwrap();
        let mut motion = tallywheel_testkit::Motion::resting_at(0.0);
        motion.stroke(0.5, peak.get());
        near(motion.peak_acceleration(), change.get(), 1e-6);
        near(motion.peak_speed(), peak.get(), 1e-9);
    }

    #[test]
    fn nothing_that_is_no_quantity_gets_in() {
        for number in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(CyclesPerTurn::new(number), None);
            assert_eq!(Turning::new(number), None);
            assert_eq!(super::super::quantity::milliseconds(number), None);
        }
        assert_eq!(steps_for(360.0, 0.0), None);
        assert_eq!(stroke_peak(0.0, fastest_change(ms(4.0), steps(400.0)).unwrap()), None);
        // Absurd figures end at the longest there is instead of a panic.
        assert_eq!(full_travel(travel(36_000.0), Turning::new(1e-300).unwrap()), Duration::MAX);
    }
}
