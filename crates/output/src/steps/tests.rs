use super::model::{HASTE, Line, REPEATS_AFTER, Simulator};
use super::output::{FOUND_AFTER, Steps};
use super::*;
use crate::{ErrorKind, TrimReading};
use proptest::prelude::*;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tallywheel_profile::{KeyPlace, OutputConfig};
use tallywheel_units::{ButtonNumber, Normalized, TrimIndex};

fn button(number: u8) -> ButtonNumber {
    ButtonNumber::new(number).unwrap()
}

const RUDDER: TrimIndex = TrimIndex::new(0);

fn trim() -> StepsTrim {
    StepsTrim { trim: RUDDER, low: button(1), high: button(2) }
}

fn ms(milliseconds: u64) -> Duration {
    Duration::from_millis(milliseconds)
}

/// A wheel, the output and the simulator, in virtual time.
struct Bench {
    pace: Pace,
    line: Line,
    output: Steps<Line>,
    now: Timestamp,
    axis: AxisValue,
    /// How late the machine is with a deadline, at most.
    late: Duration,
    /// How often the simulator reports, and how old its reports are.
    reports: Option<(Duration, Duration)>,
    next_report: Timestamp,
    chance: Pcg64,
    errors: Vec<ErrorKind>,
}

impl Bench {
    /// Everything at neutral.
    fn new(pace: Pace) -> Self {
        Self::at(pace, AxisValue::NEUTRAL)
    }

    fn at(pace: Pace, axis: AxisValue) -> Self {
        let chance = Pcg64::seed_from_u64(7);
        let ends = (0, i32::from(pace.presses));
        let simulator = Simulator::new(nearest::of_axis(axis, pace.presses), ends, chance.clone());
        let line = Line(Arc::new(Mutex::new(simulator)));
        let places = [(trim(), axis)];
        let output = Steps::open("steps".to_owned(), pace, &places, Timestamp::START, line.clone());
        Self {
            pace,
            line,
            output,
            now: Timestamp::START,
            axis,
            late: Duration::ZERO,
            reports: None,
            next_report: Timestamp::START,
            chance,
            errors: vec![],
        }
    }

    fn publish(&mut self) {
        self.line.simulator().pass(self.now);
        let trims = [TrimReading { axis: self.axis, ..TrimReading::NEUTRAL }];
        if let Err(error) = self.output.publish(&Frame { at: self.now, sequence: 0, trims: &trims }) {
            self.errors.push(error.kind());
        }
        let deadline = self.output.deadline();
        assert!(deadline.is_none_or(|at| at > self.now), "it would spin: {deadline:?} at {}", self.now);
    }

    /// The simulator sends what it is now; it arrives `age` later.
    fn report(&mut self, age: Duration) {
        self.line.simulator().pass(self.now);
        let value = self.line.simulator().report(self.pace.presses);
        self.until(self.now.after(age), false);
        self.output.told(self.now, RUDDER, Normalized::clamped(value));
    }

    fn until(&mut self, end: Timestamp, reporting: bool) {
        loop {
            let deadline = self.output.deadline().map(|at| {
                let late = u64::try_from(self.late.as_micros()).unwrap();
                at.max(self.now).after(Duration::from_micros(self.chance.random_range(0..=late)))
            });
            let report = self.reports.filter(|_| reporting).map(|_| self.next_report);
            match (deadline, report) {
                (Some(at), other) if at <= end && other.is_none_or(|other| at <= other) => {
                    self.now = at;
                    self.publish();
                }
                (_, Some(at)) if at <= end => {
                    let (every, age) = self.reports.unwrap();
                    self.now = self.now.max(at);
                    self.next_report = self.now.after(every.max(age + ms(1)));
                    self.report(age);
                }
                _ => break,
            }
        }
        self.now = self.now.max(end);
    }

    fn wait(&mut self, time: Duration) {
        self.until(self.now.after(time), true);
    }

    fn turn(&mut self, axis: i64) {
        self.axis = AxisValue::clamped(axis);
        self.publish();
    }

    /// Waits until nothing is left to press.
    fn rest(&mut self) {
        while let Some(at) = self.output.deadline() {
            self.until(at.max(self.now).after(self.late), true);
        }
        assert!(!self.line.simulator().is_held());
    }

    fn step(&self) -> i32 {
        self.line.simulator().step
    }

    fn nearest(&self) -> i32 {
        nearest::of_axis(self.axis, self.pace.presses)
    }

    fn pressed(&self) -> usize {
        self.line.simulator().presses.len()
    }

    fn net(&self) -> i32 {
        self.line.simulator().presses.iter().map(|&(_, step)| step).sum()
    }
}

/// 100 presses, so that a step is 655.34 axis units; no extra presses.
fn plain() -> Pace {
    Pace { extra: 0, ..Pace::new(100) }
}

#[test]
fn the_press_and_the_pause_have_their_time_and_nothing_comes_before_it_is_found() {
    let mut bench = Bench::new(plain());
    bench.turn(2_000);
    assert_eq!(bench.output.deadline(), Some(Timestamp::START.after(FOUND_AFTER)));
    bench.rest();
    let begun: Vec<_> =
        bench.line.simulator().presses.iter().map(|(at, step)| (at.micros() / 1_000, *step)).collect();
    assert_eq!(begun, [(1_000, 1), (1_060, 1), (1_120, 1)]);
    assert_eq!(bench.now.micros(), 1_150_000, "the last release");
    assert_eq!(bench.output.deadline(), None);
}

#[test]
fn an_owed_press_in_the_old_direction_is_cancelled_and_the_one_that_is_down_is_finished() {
    let mut bench = Bench::new(plain());
    bench.turn(20_000);
    bench.wait(ms(1_070));
    assert_eq!((bench.pressed(), bench.line.simulator().is_held()), (2, true));
    bench.turn(-20_000);
    assert!(bench.line.simulator().is_held(), "it has its time");
    bench.wait(ms(20));
    assert!(!bench.line.simulator().is_held());
    bench.rest();
    let simulator = bench.line.simulator();
    assert!(simulator.presses[..2].iter().all(|(_, step)| *step == 1));
    assert!(simulator.presses[2..].iter().all(|(_, step)| *step == -1));
    assert_eq!((simulator.presses.len(), simulator.step), (2 + 33, 19));
}

#[test]
fn the_same_frame_again_presses_nothing() {
    let mut bench = Bench::new(plain());
    bench.wait(ms(2_000));
    for _ in 0..10 {
        bench.publish();
    }
    assert_eq!((bench.pressed(), bench.output.deadline()), (0, None));
    // 655.34 / 2 is the border between two steps.
    bench.turn(327);
    assert_eq!(bench.output.deadline(), None);
    bench.turn(328);
    bench.rest();
    bench.turn(400);
    bench.turn(982);
    assert_eq!((bench.pressed(), bench.output.deadline()), (1, None));
}

#[test]
fn an_older_time_changes_nothing() {
    let mut bench = Bench::new(plain());
    bench.wait(ms(5_000));
    bench.turn(700);
    let trims = [TrimReading { axis: bench.axis, ..TrimReading::NEUTRAL }];
    let early = Frame { at: Timestamp::START, sequence: 0, trims: &trims };
    bench.output.publish(&early).unwrap();
    assert!(bench.line.simulator().is_held());
    assert_eq!(bench.output.deadline(), Some(Timestamp::from_micros(5_030_000)));
}

#[test]
fn each_arrival_at_a_stop_has_its_extra_presses_and_leaving_drops_them() {
    let mut bench = Bench::new(Pace { extra: 5, ..Pace::new(100) });
    bench.turn(32_767);
    bench.rest();
    assert_eq!((bench.pressed(), bench.step()), (55, 100));
    bench.publish();
    // Off the stop and back within the same step: it has arrived again.
    bench.turn(32_766);
    assert_eq!(bench.output.deadline(), None);
    bench.turn(32_767);
    bench.rest();
    assert_eq!(bench.pressed(), 60);
    // Leaving in the middle of them: what is owed comes at once, and nothing else.
    bench.turn(32_766);
    bench.turn(32_767);
    bench.wait(ms(95));
    assert_eq!(bench.pressed(), 62);
    bench.turn(31_000);
    bench.rest();
    assert_eq!((bench.pressed(), bench.step(), bench.nearest()), (62 + 3, 97, 97));
    bench.turn(-32_767);
    bench.rest();
    assert_eq!((bench.pressed(), bench.step()), (65 + 97 + 5, 0));
}

#[test]
fn it_begins_at_a_stop_without_a_press() {
    for axis in [AxisValue::MIN, AxisValue::MAX] {
        let mut bench = Bench::at(Pace::new(100), axis);
        bench.publish();
        bench.wait(ms(5_000));
        assert_eq!((bench.pressed(), bench.output.deadline()), (0, None));
    }
}

#[test]
fn presses_that_were_missed_are_made_good_at_a_stop() {
    let mut bench = Bench::new(Pace { extra: 4, ..Pace::new(100) });
    bench.line.simulator().misses = 0.1;
    bench.turn(20_000);
    bench.turn(-3_000);
    bench.rest();
    bench.line.simulator().misses = 0.0;
    let missed = bench.line.simulator().missed;
    assert!((1..=4).contains(&missed), "a useless seed: {missed}");
    assert_ne!(bench.step(), bench.nearest());
    bench.turn(if bench.step() > bench.nearest() { -32_767 } else { 32_767 });
    bench.rest();
    assert_eq!(bench.step(), bench.nearest(), "at the stop");
    bench.turn(12_345);
    bench.rest();
    assert_eq!(bench.step(), bench.nearest());
}

#[test]
fn the_simulators_report_corrects_what_it_missed() {
    let mut bench = Bench::new(plain());
    bench.line.simulator().misses = 0.3;
    bench.turn(20_000);
    bench.rest();
    assert!(bench.line.simulator().missed > 3, "a useless seed");
    assert_ne!(bench.step(), bench.nearest());
    bench.reports = Some((ms(200), ms(150)));
    bench.wait(ms(20_000));
    assert_eq!(bench.step(), bench.nearest());
    let pressed = bench.pressed();
    bench.wait(ms(20_000));
    assert_eq!((bench.pressed(), bench.output.deadline()), (pressed, None));
}

/// A report that was on its way while a button was pressed tells nothing about that press.
#[test]
fn a_report_from_before_the_settling_is_not_believed() {
    let mut bench = Bench::new(plain());
    bench.wait(ms(2_000));
    bench.turn(700);
    let old = bench.line.simulator().report(100) - 0.02;
    bench.wait(ms(10));
    for wait in [0, 30, 400] {
        bench.wait(ms(wait));
        bench.output.told(bench.now, RUDDER, Normalized::clamped(old));
    }
    bench.rest();
    assert_eq!((bench.pressed(), bench.step()), (1, bench.nearest()));
    // Settled, the same words are the truth.
    bench.wait(ms(600));
    bench.output.told(bench.now, RUDDER, Normalized::clamped(old));
    assert_eq!(bench.output.deadline().map(|at| at <= bench.now), Some(true));
}

#[test]
fn a_simulator_that_clamps_is_not_fought_and_followed_again_at_once() {
    let mut bench = Bench::new(plain());
    bench.line.simulator().ends = (20, 80);
    bench.reports = Some((ms(100), ms(50)));
    for (axis, end, back) in [(32_767, 80, 13_000), (-32_767, 20, -15_000)] {
        bench.turn(axis);
        bench.wait(ms(30_000));
        assert_eq!(bench.step(), end);
        let pressed = bench.pressed();
        bench.wait(ms(30_000));
        assert_eq!(bench.pressed(), pressed, "it went on pressing");
        // Still beyond the simulator's end: there is nothing to press.
        bench.turn(axis / 10 * 9);
        bench.wait(ms(5_000));
        assert_eq!(bench.pressed(), pressed);
        // Inside again: only the steps from that end.
        bench.turn(back);
        bench.rest();
        assert_eq!(bench.step(), bench.nearest());
        assert_eq!(bench.pressed() - pressed, usize::try_from((end - bench.step()).abs()).unwrap());
    }
}

#[test]
fn an_end_that_was_none_is_tried_again_when_the_wheel_moves_on() {
    let mut bench = Bench::new(plain());
    bench.reports = Some((ms(100), ms(50)));
    // Paused, the simulator takes no press.
    bench.line.simulator().misses = 1.0;
    bench.turn(10_000);
    bench.wait(ms(20_000));
    let pressed = bench.pressed();
    bench.wait(ms(20_000));
    assert_eq!((bench.pressed(), bench.step()), (pressed, 50));
    bench.line.simulator().misses = 0.0;
    bench.turn(11_000);
    bench.rest();
    assert_eq!(bench.step(), bench.nearest());
    // And an end from beyond which the simulator reports is none.
    bench.line.simulator().misses = 1.0;
    bench.turn(20_000);
    bench.wait(ms(20_000));
    bench.line.simulator().misses = 0.0;
    bench.line.simulator().step = 75;
    bench.wait(ms(10_000));
    assert_eq!(bench.step(), bench.nearest());
}

/// Steps of twice the size that the file says: the goal cannot be met, and nobody may quarrel for ever.
#[test]
fn a_simulator_with_other_steps_is_left_alone_in_the_end() {
    let mut bench = Bench::new(plain());
    bench.turn(656);
    bench.rest();
    bench.wait(ms(1_000));
    let mut believed = 52;
    let mut corrections = 0;
    for _ in 0..100 {
        bench.wait(ms(1_000));
        let value = f64::from(believed) / 50.0 - 1.0;
        let before = bench.net();
        bench.output.told(bench.now, RUDDER, Normalized::clamped(value));
        bench.rest();
        if bench.net() != before {
            believed += 2 * (bench.net() - before);
            corrections += 1;
        }
    }
    assert_eq!(corrections, 8);
    // The wheel moves on, and it is followed.
    bench.turn(6_554);
    assert!(bench.output.deadline().is_some());
}

#[test]
fn a_device_that_is_lost_loses_no_press() {
    let mut bench = Bench::new(plain());
    bench.wait(ms(2_000));
    bench.turn(10_000);
    bench.wait(ms(100));
    bench.line.simulator().broken = 1;
    bench.rest();
    assert_eq!(bench.errors, [ErrorKind::Resend]);
    assert_eq!(bench.step(), bench.nearest());
    assert_eq!(bench.pressed(), 15);
    // While a button is held, too.
    bench.turn(0);
    bench.line.simulator().broken = 1;
    bench.rest();
    assert_eq!((bench.errors.len(), bench.step()), (2, bench.nearest()));
}

#[test]
fn what_is_held_is_let_go_at_the_end() {
    let mut bench = Bench::new(plain());
    bench.turn(10_000);
    bench.wait(ms(1_010));
    assert!(bench.line.simulator().is_held());
    let line = bench.line.clone();
    drop(bench);
    assert!(!line.simulator().is_held());
}

#[test]
fn two_trims_walk_beside_each_other() {
    #[derive(Clone, Default)]
    struct Log(Arc<Mutex<Vec<(u8, bool)>>>);
    impl buttons::Buttons for Log {
        type Button = ButtonNumber;
        const LOST: buttons::Lost = buttons::Lost { reason: "gone", cure: "none" };
        fn renew(&mut self) -> Result<(), OutputError> {
            Ok(())
        }
        fn hold(&mut self, button: ButtonNumber, held: bool) -> std::io::Result<()> {
            self.0.lock().unwrap().push((button.get(), held));
            Ok(())
        }
    }
    let log = Log::default();
    let other = StepsTrim { trim: TrimIndex::new(1), low: button(4), high: button(9) };
    let places = [(trim(), AxisValue::NEUTRAL), (other, AxisValue::MAX)];
    let mut output = Steps::open("steps".to_owned(), plain(), &places, Timestamp::START, log.clone());
    let reading = |axis| TrimReading { axis: AxisValue::clamped(axis), ..TrimReading::NEUTRAL };
    let trims = [reading(700), reading(31_000)];
    let mut at = Timestamp::from_micros(3_000_000);
    loop {
        output.publish(&Frame { at, sequence: 0, trims: &trims }).unwrap();
        let Some(next) = output.deadline() else { break };
        at = next;
    }
    let seen = log.0.lock().unwrap().clone();
    let of = |button| seen.iter().filter(|(number, held)| *number == button && *held).count();
    assert_eq!([of(1), of(2), of(4), of(9)], [0, 1, 3, 0]);
    assert_eq!(seen[..2], [(2, true), (4, true)], "neither waits for the other");
    let short = [reading(0)];
    let error = output.publish(&Frame { at, sequence: 1, trims: &short }).unwrap_err();
    assert_eq!(error.kind(), ErrorKind::ChangeConfig);
}

#[test]
fn nothing_is_allocated_per_frame() {
    struct Nowhere;
    impl buttons::Buttons for Nowhere {
        type Button = ButtonNumber;
        const LOST: buttons::Lost = buttons::Lost { reason: "gone", cure: "none" };
        fn renew(&mut self) -> Result<(), OutputError> {
            Ok(())
        }
        fn hold(&mut self, _button: ButtonNumber, _held: bool) -> std::io::Result<()> {
            Ok(())
        }
    }
    let places = [(trim(), AxisValue::NEUTRAL)];
    let mut output = Steps::open("steps".to_owned(), Pace::new(100), &places, Timestamp::START, Nowhere);
    let mut presses = 0;
    let counted = allocation_counter::measure(|| {
        for step in 0..2_000_u32 {
            let axis = AxisValue::clamped(i64::from(step % 400) * 300 - 60_000);
            let trims = [TrimReading { axis, ..TrimReading::NEUTRAL }];
            let at = Timestamp::from_micros(u64::from(step) * 10_000);
            output.publish(&Frame { at, sequence: 0, trims: &trims }).unwrap();
            output.told(at, RUDDER, Normalized::NEUTRAL);
            presses += u32::from(output.deadline().is_some());
        }
    });
    assert!(presses > 1_000);
    assert_eq!(counted.count_total, 0);
}

#[test]
fn what_cannot_work_here_is_told() {
    let key = |name| KeyPlace::from_name(name).unwrap();
    let keys = KeysTrim { trim: RUDDER, low: key("F13"), high: key("F14") };
    let config = OutputConfig::Keys { trims: vec![keys], pace: plain() };
    assert_eq!(crate::check(&config), if cfg!(windows) { Ok(()) } else { Err(ConfigProblem::NoKeys) });
    assert_eq!(config.name(), "keys F13 F14");
    let one = [trim()];
    let frame = Frame { at: Timestamp::START, sequence: 0, trims: &[] };
    assert_eq!(places(&one, Some(&frame)), Err(ConfigProblem::NoSuchTrim(RUDDER)));
    assert_eq!(places(&one, None), Ok(vec![(trim(), AxisValue::NEUTRAL)]));
}

/// Paces at which the model simulator counts each press once.
fn pace() -> impl Strategy<Value = Pace> {
    (1..=400_u16, 1..200_u64, 20..200_u64, 0..10_u8).prop_map(|(presses, press, pause, extra)| Pace {
        press: ms(press),
        pause: ms(pause),
        extra,
        ..Pace::new(presses)
    })
}

/// Turns: where to, and how long until the next.
fn turns() -> impl Strategy<Value = Vec<(i64, u64)>> {
    let axis = prop_oneof![
        6 => -32_767..=32_767_i64,
        1 => Just(-32_767_i64),
        1 => Just(32_767_i64),
        2 => -400..400_i64,
    ];
    proptest::collection::vec((axis, prop_oneof![0..5_u64, 0..300_u64, 0..20_000_u64]), 1..40)
}

proptest! {
    /// The simulator ends on the step nearest to the position, whatever the wheel does and however late the
    /// machine is, as long as it is not so late that a held button repeats.
    #[test]
    fn presses_net_to_the_position(pace in pace(), turns in turns(), late in 0..90_u64) {
        let mut bench = Bench::new(pace);
        bench.late = ms(late);
        prop_assume!(pace.press + bench.late < REPEATS_AFTER && pace.pause >= HASTE);
        let mut arrivals = 0;
        let begun = bench.step();
        for (axis, wait) in turns {
            let stop = axis.abs() == 32_767 && AxisValue::clamped(axis) != bench.axis;
            arrivals += usize::from(stop);
            bench.turn(axis);
            bench.wait(ms(wait));
        }
        bench.rest();
        prop_assert_eq!(bench.step(), bench.nearest());
        // Without the extra presses, which the simulator's end has swallowed, the net is the way gone.
        let most = i32::try_from(arrivals * usize::from(pace.extra)).unwrap();
        prop_assert!((bench.net() - (bench.nearest() - begun)).abs() <= most);
        if pace.extra == 0 {
            prop_assert_eq!(bench.net(), bench.nearest() - begun);
        }
        let simulator = bench.line.simulator();
        for pair in simulator.presses.windows(2) {
            prop_assert!(pair[1].0.since(pair[0].0) >= pace.press + pace.pause);
        }
    }

    /// With reports it also gets there when presses are missed, and when the machine is so late that held
    /// buttons repeat; and then there is rest.
    #[test]
    fn reports_bring_it_there_whatever_goes_wrong(
        pace in pace(),
        turns in turns(),
        late in 0..600_u64,
        misses in 0.0..0.4_f64,
        every in 20..2_000_u64,
        age in 0..450_u64,
    ) {
        let mut bench = Bench::new(pace);
        bench.late = ms(late);
        bench.reports = Some((ms(every), ms(age)));
        bench.line.simulator().misses = misses;
        for (axis, wait) in turns {
            bench.turn(axis);
            bench.wait(ms(wait));
        }
        bench.rest();
        bench.line.simulator().misses = 0.0;
        bench.late = Duration::ZERO;
        bench.wait(ms(120_000));
        // Whoever gave up while all went wrong tries again when the wheel moves.
        let end = bench.axis.get();
        bench.turn(i64::from(if end > 0 { end - 20_000 } else { end + 20_000 }));
        bench.wait(ms(120_000));
        prop_assert_eq!(bench.step(), bench.nearest());
        let pressed = bench.pressed();
        bench.wait(ms(60_000));
        prop_assert_eq!(bench.pressed(), pressed);
    }
}
