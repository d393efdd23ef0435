//! Whole boards: several wheels, lines pressed at rest, report IDs, bad reports, unplugging.

mod noise;
mod together;

use super::pulses::Pulses;
use super::quadrature::Quadrature;
use super::wheel::unseen_start;
use super::*;
use crate::layout::ButtonRun;
use expect_test::{Expect, expect};
use std::fmt::Write;
use tallywheel_units::{ButtonNumber, CountsPerCycle};

fn button(number: u8) -> ButtonNumber {
    ButtonNumber::new(number).unwrap()
}

fn run(report_id: Option<u8>, first_bit: u32, first: u8, buttons: u8) -> ButtonRun {
    ButtonRun { report_id, first_bit, first_button: button(first), buttons }
}

/// Eight buttons in one byte.
fn one_byte() -> Layout {
    Layout::from_runs(&[run(None, 0, 1, 8)]).unwrap()
}

fn pulses(forward: u8, backward: u8) -> WheelConfig {
    let inputs = WheelInputs::Pulses { forward: button(forward), backward: button(backward) };
    WheelConfig { inputs, pressed_at_rest: false, index: None }
}

fn quadrature(a: u8, b: u8, per_cycle: CountsPerCycle) -> WheelConfig {
    WheelConfig {
        inputs: WheelInputs::Quadrature { a: button(a), b: button(b), per_cycle },
        pressed_at_rest: false,
        index: None,
    }
}

/// What the reports, a millisecond apart, give, one line each. A report "gone" is an unplugging.
fn check(layout: Layout, wheels: &[WheelConfig], reports: &[&[u8]], expected: Expect) {
    let mut decoder = BoardDecoder::new(layout, wheels, None).unwrap();
    let mut log = String::new();
    for (place, report) in (0..).zip(reports) {
        let at = Timestamp::from_micros(place * 1000);
        write!(log, "{report:02x?}").unwrap();
        let mut sink = |wheel: usize, event: Event| match event {
            Event::Counts(counts) => write!(log, "; wheel {wheel} {:+}", counts.get()).unwrap(),
            Event::Loss(loss) => {
                write!(log, "; wheel {wheel} {} {} at {}", loss.kind.name(), loss.bound, loss.at).unwrap();
            }
            Event::Doubt(doubt) => write!(log, "; wheel {wheel} doubt {doubt}").unwrap(),
            Event::Undecided(doubt) => write!(log, "; wheel {wheel} undecided {doubt}").unwrap(),
            Event::Index(mark) => write!(log, "; wheel {wheel} mark {:+}", mark.correction.get()).unwrap(),
        };
        if *report == b"gone" {
            decoder.unplugged(at, &mut sink)
        } else {
            decoder.report(at, report, &mut sink)
        }
        log.push('\n');
    }
    expected.assert_eq(&log);
}

#[test]
fn several_wheels_of_both_wirings() {
    check(
        one_byte(),
        &[pulses(1, 2), quadrature(3, 4, CountsPerCycle::X4), pulses(8, 7)],
        &[&[0], &[0b0001], &[0b0100], &[0b1110], &[0b1000], &[0b1000_0000], &[0b0100_0000], &[0]],
        expect![[r"
            [00]
            [01]; wheel 0 +1
            [04]; wheel 1 +1; wheel 1 doubt -16..+16
            [0e]; wheel 0 -1; wheel 1 +1; wheel 1 doubt -32..+32
            [08]; wheel 1 +1; wheel 1 doubt -48..+48
            [80]; wheel 1 +1; wheel 1 doubt -64..+64; wheel 2 +1
            [40]; wheel 2 -1
            [00]
        "]],
    );
}

#[test]
fn the_first_report_tells_where_the_lines_stand_and_may_be_a_press() {
    check(
        one_byte(),
        &[pulses(1, 2), quadrature(3, 4, CountsPerCycle::X4)],
        &[&[0b1101], &[0b1100], &[0b1000]],
        expect![[r"
            [0d]; wheel 0 +1; wheel 0 unseen-start -1..0 at 0.000000 s
            [0c]
            [08]; wheel 1 +1; wheel 1 doubt -16..+16
        "]],
    );
}

/// The board reports changes only, so its late first report may be an edge; a steady board's early one is not.
#[test]
fn a_late_first_report_may_hide_an_edge() {
    for (ms, hidden) in [(255, false), (301, true)] {
        let wheels = [pulses(1, 2), quadrature(3, 4, CountsPerCycle::X4)];
        let mut decoder = BoardDecoder::new(one_byte(), &wheels, None).unwrap();
        decoder.opened(Timestamp::from_micros(1000));
        let mut events = Vec::new();
        let at = Timestamp::from_micros(1000 + ms * 1000);
        decoder.report(at, &[0b0100], &mut |place, event| events.push((place, event)));
        let doubt = Event::Loss(unseen_start(at, Margin::both(Counts::ONE)));
        assert_eq!(events, if hidden { vec![(1, doubt)] } else { vec![] }, "{ms} ms");
        events.clear();
        decoder.report(at, &[0b1100], &mut |place, event| events.push((place, event)));
        assert_eq!(events, [(1, Event::Counts(Counts::ONE))], "only the first report leaves it open");
    }
}

#[test]
fn lines_pressed_at_rest_count_when_released() {
    let pressed_at_rest = |config| WheelConfig { pressed_at_rest: true, ..config };
    check(
        one_byte(),
        &[pressed_at_rest(pulses(1, 2)), pressed_at_rest(quadrature(3, 4, CountsPerCycle::X4))],
        // Wheel 0 presses forward by letting go; wheel 1 goes 00 10 11 with both pressed at rest.
        &[&[0b1111], &[0b1110], &[0b1111], &[0b1011], &[0b0011]],
        expect![[r"
            [0f]
            [0e]; wheel 0 +1
            [0f]
            [0b]; wheel 1 +1; wheel 1 doubt -16..+16
            [03]; wheel 1 +1; wheel 1 doubt -32..+32
        "]],
    );
}

#[test]
fn overlaps_and_skipped_states_are_losses() {
    check(
        one_byte(),
        &[pulses(1, 2), quadrature(3, 4, CountsPerCycle::X4), quadrature(5, 6, CountsPerCycle::X1)],
        &[&[0], &[0b0011_1101], &[0b0011_1111]],
        expect![[r"
            [00]
            [3d]; wheel 0 +1; wheel 1 doubt -16..+16; wheel 2 doubt -4..+4
            [3f]; wheel 0 -1; wheel 0 pulses-overlap -1..+1 at 0.002000 s
        "]],
    );
}

/// Each report tells about its own buttons only: a wheel waits for the first report that has them.
#[test]
fn reports_with_ids_start_one_by_one() {
    let layout = Layout::from_runs(&[run(Some(1), 8, 1, 2), run(Some(2), 8, 3, 2)]).unwrap();
    check(
        layout,
        &[pulses(1, 2), pulses(3, 4)],
        &[&[1, 0], &[1, 1], &[2, 1], &[2, 0], &[2, 1], &[1, 1], &[1, 0], &[1, 2], &[9, 3]],
        expect![[r"
            [01, 00]
            [01, 01]; wheel 0 +1
            [02, 01]; wheel 1 +1; wheel 1 unseen-start -1..0 at 0.002000 s
            [02, 00]
            [02, 01]; wheel 1 +1
            [01, 01]
            [01, 00]
            [01, 02]; wheel 0 -1
            [09, 03]
        "]],
    );
}

#[test]
fn a_bad_report_changes_nothing_but_the_margin() {
    check(
        Layout::from_runs(&[run(None, 0, 1, 2), run(None, 8, 3, 2)]).unwrap(),
        &[pulses(1, 2), pulses(3, 4)],
        &[&[1, 0], &[0], &[], &[1, 1]],
        expect![[r"
            [01, 00]; wheel 0 +1; wheel 0 unseen-start -1..0 at 0.000000 s
            [00]; wheel 0 bad-report -1..+1 at 0.001000 s; wheel 1 bad-report -1..+1 at 0.001000 s
            []; wheel 0 bad-report -1..+1 at 0.002000 s; wheel 1 bad-report -1..+1 at 0.002000 s
            [01, 01]; wheel 1 +1
        "]],
    );
}

#[test]
fn a_bad_report_is_a_loss_for_its_own_wheels() {
    let layout = Layout::from_runs(&[run(Some(1), 8, 1, 2), run(Some(2), 8, 3, 2)]).unwrap();
    check(
        layout,
        &[pulses(1, 2), pulses(3, 4)],
        &[&[2], &[]],
        expect![[r"
            [02]; wheel 1 bad-report -1..+1 at 0.000000 s
            []; wheel 0 bad-report -1..+1 at 0.001000 s; wheel 1 bad-report -1..+1 at 0.001000 s
        "]],
    );
}

#[test]
fn unplugging_forgets_where_the_lines_stood() {
    check(
        one_byte(),
        &[pulses(1, 2), quadrature(3, 4, CountsPerCycle::X2)],
        &[&[0], b"gone", &[0b0101], &[0b0001], &[0b0000], &[0b0001]],
        expect![[r"
            [00]
            [67, 6f, 6e, 65]; wheel 0 board-gone unknown at 0.001000 s; wheel 1 board-gone unknown at 0.001000 s
            [05]; wheel 0 +1; wheel 0 unseen-start -1..0 at 0.002000 s
            [01]; wheel 1 -1; wheel 1 doubt -8..+8
            [00]
            [01]; wheel 0 +1
        "]],
    );
}

#[test]
fn wheels_must_fit_the_board() {
    let new = |wheels: &[WheelConfig]| BoardDecoder::new(one_byte(), wheels, None).map(|_| ());
    assert_eq!(new(&[]), Ok(()));
    assert_eq!(
        new(&[pulses(1, 2), pulses(3, 9)]),
        Err(ConfigError::NoSuchButton { wheel: 1, button: button(9) })
    );
    assert_eq!(
        new(&[pulses(5, 5)]),
        Err(ConfigError::ButtonTwice { button: button(5), first: 0, second: 0 })
    );
    let twice = new(&[pulses(1, 2), quadrature(3, 2, CountsPerCycle::X1)]).unwrap_err();
    assert_eq!(twice, ConfigError::ButtonTwice { button: button(2), first: 0, second: 1 });
    assert_eq!(twice.to_string(), "button 2 is two lines at once, of wheel 0 and of wheel 1");
}

#[test]
fn buttons_are_those_last_reported() {
    let mut decoder = BoardDecoder::new(one_byte(), &[], None).unwrap();
    let mut nothing = |_, _| {};
    decoder.report(Timestamp::START, &[0b1010_0000], &mut nothing);
    assert_eq!(decoder.buttons().bits(), 0b1010_0000);
    decoder.report(Timestamp::START, &[], &mut nothing);
    assert_eq!(decoder.buttons().bits(), 0b1010_0000);
    decoder.unplugged(Timestamp::START, &mut nothing);
    assert_eq!(decoder.buttons(), Buttons::NONE);
}

/// A gap of n reports hides at most this many counts; the formulas against counting it out.
#[test]
fn what_a_gap_can_hide() {
    let quadrature = |per_cycle| Decoding::Quadrature(Box::new(Quadrature::new(per_cycle)));
    for gone in 1..40_i64 {
        let hidden = |decoding: &Decoding| decoding.hidden_in(gone.unsigned_abs()).get();
        // Quadrature: any true move of at most gone + 1 edges that the table cannot tell from 0 or one edge.
        let off = (-gone - 1..=gone + 1)
            .flat_map(|edges| [-1, 0, 1].map(|seen| edges - seen))
            .filter(|off| off % 4 == 0)
            .max();
        assert_eq!(Some(hidden(&quadrature(CountsPerCycle::X4))), off, "{gone} reports");
        assert_eq!(Some(hidden(&quadrature(CountsPerCycle::X1)) * 4), off);
        // Pulses: released, then in turn pressed and released, then released again or still pressed.
        let presses = (1..=gone).filter(|report| report % 2 == 1).count();
        assert_eq!(hidden(&Decoding::Pulses(Pulses::default())), i64::try_from(presses).unwrap());
    }
    assert_eq!(quadrature(CountsPerCycle::X4).hidden_in(u64::MAX), Counts::new(i64::MAX));
}

/// One decoder takes over from another in the middle of a turn: together they count as one would. The pulsing
/// wheel is known to the second, the other is new to it, with its lines exchanged.
#[test]
fn taking_over_misses_nothing_and_counts_nothing_twice() {
    let before = [pulses(1, 2), quadrature(3, 4, CountsPerCycle::X4)];
    let after = [quadrature(4, 3, CountsPerCycle::X4), pulses(1, 2)];
    let reports: [u8; 8] = [0b0000, 0b0101, 0b1101, 0b1001, 0b0001, 0b0100, 0b1101, 0b1001];
    let new = |wheels: &[WheelConfig]| BoardDecoder::new(one_byte(), wheels, None).unwrap();
    // What each report counts: pulses, quadrature.
    let count = |decoder: &mut BoardDecoder, place: usize| {
        let mut counts = [0; 2];
        let at = Timestamp::from_micros(u64::try_from(place).unwrap() * 1000);
        decoder.report(at, &[reports[place]], &mut |wheel, event| {
            if let Event::Counts(n) = event {
                counts[wheel] += n.get();
            }
        });
        counts
    };
    let mut one = new(&before);
    let whole: Vec<_> = (0..reports.len()).map(|place| count(&mut one, place)).collect();
    assert_eq!(
        whole.iter().map(|counts| counts[1].abs()).sum::<i64>(),
        7,
        "every report but the first is an edge"
    );
    for change in 1..reports.len() {
        let mut decoder = new(&before);
        (0..change).for_each(|place| assert_eq!(count(&mut decoder, place), whole[place]));
        let mut next = new(&after);
        next.take_over(&decoder);
        for (place, [pulses, quadrature]) in whole.iter().enumerate().skip(change) {
            assert_eq!(count(&mut next, place), [-quadrature, *pulses], "change {change}, report {place}");
        }
    }
}

/// With buttons elsewhere in the report, what was known says nothing.
#[test]
fn taking_over_another_layout_begins_anew() {
    let mut before = BoardDecoder::new(one_byte(), &[pulses(1, 2)], None).unwrap();
    before.report(Timestamp::START, &[0b1], &mut |_, _| {});
    let shifted = Layout::from_runs(&[run(None, 1, 1, 4)]).unwrap();
    let mut after = BoardDecoder::new(shifted, &[pulses(1, 2)], None).unwrap();
    after.take_over(&before);
    assert_eq!(after.buttons(), Buttons::NONE);
    let mut told = Vec::new();
    after.report(Timestamp::START, &[0b10], &mut |_, event| told.push(event));
    assert!(
        matches!(told.as_slice(), [Event::Counts(_), Event::Loss(loss)] if loss.kind == LossKind::UnseenStart)
    );
}

/// Reports in which only another wheel changed do not make a board one that reports at every interval: the wheel's silence
/// still says that it rests. While the interval is being found something is in doubt, and nothing is lost.
#[test]
fn another_wheels_changes_do_not_make_a_board_steady() {
    let wheels = [quadrature(1, 2, CountsPerCycle::X4), pulses(3, 4)];
    let mut decoder = BoardDecoder::new(one_byte(), &wheels, None).unwrap();
    let (mut at, mut tally, mut edge) = (Timestamp::START, 0_i64, 0_usize);
    let mut report = |at: Timestamp, byte: u8, tally: &mut i64| {
        decoder.report(at, &[byte], &mut |wheel, event| match event {
            Event::Counts(counts) if wheel == 0 => *tally += counts.get(),
            Event::Loss(loss) if wheel == 0 => panic!("{loss:?}"),
            _ => {}
        });
    };
    let millis = |at: Timestamp, millis: u64| at.after(Duration::from_millis(millis));
    report(at, 0, &mut tally);
    for n in 0..200 {
        at = millis(at, 4);
        report(at, if n % 2 == 0 { 4 } else { 0 }, &mut tally);
    }
    for steps in [41_i64, -66, 30, -90, 10, 20] {
        for _ in 0..steps.unsigned_abs() {
            at = millis(at, 4);
            edge = if steps > 0 { edge + 1 } else { edge + 3 } % 4;
            report(at, [0, 1, 3, 2][edge], &mut tally);
        }
        at = millis(at, 700);
    }
    assert_eq!(tally, 41 - 66 + 30 - 90 + 10 + 20);
}
