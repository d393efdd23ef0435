//! The tables of the module, and a wheel that loses counts by chance.

use super::*;
use std::fmt::Write;
use std::time::Duration;

const TURN: i64 = 24;

/// A wheel whose mark is on from count 20 of each turn up to its end.
struct Wheel {
    index: Index,
    at: i64,
    log: String,
    steps: u32,
}

impl Wheel {
    fn new(per_turn: i64) -> Self {
        let mut index = Index::new(1);
        index.know(CountsPerTurn::new(u32::try_from(per_turn).unwrap()));
        let mut wheel = Self { index, at: 0, log: String::new(), steps: 0 };
        wheel.show(0, Some(false), true);
        wheel
    }

    fn show(&mut self, counts: i64, on: Option<bool>, live: bool) -> Option<Told> {
        self.steps += 1;
        let at = Timestamp::START.after(Duration::from_millis(8) * self.steps);
        let told = self.index.report(Seen { at, counts: Counts::new(counts), on, live });
        match told {
            None => {}
            Some(Told::Mark(mark)) => {
                let way = if mark.forward { '>' } else { '<' };
                if mark.first {
                    write!(self.log, " {way}first").unwrap();
                } else {
                    write!(self.log, " {way}{:+}", mark.correction.get()).unwrap();
                }
                if !mark.doubt.is_certain() {
                    write!(self.log, "({})", mark.doubt).unwrap();
                }
                assert_eq!(mark.loss.is_some(), !mark.correction.is_zero());
                if let Some(loss) = mark.loss {
                    assert_eq!((loss.kind, loss.certainty), (LossKind::OffAtIndex, Certainty::Observed));
                    assert!(loss.bound.covers(mark.correction) && !loss.bound.covers(-mark.correction));
                }
            }
            Some(Told::Loss(loss)) => write!(self.log, " {} {}", loss.kind.name(), loss.bound).unwrap(),
        }
        told
    }

    /// Turns by so many counts of which `counted` are counted in a row, and then the rest are lost.
    fn turn(&mut self, truly: i64, counted: i64) -> &mut Self {
        for step in 1..=truly.abs() {
            self.at += truly.signum();
            let on = self.at.rem_euclid(TURN) >= 20;
            self.show(if step <= counted.abs() { truly.signum() } else { 0 }, Some(on), true);
        }
        self
    }

    fn told(&mut self) -> String {
        std::mem::take(&mut self.log)
    }
}

/// A wheel that has seen its mark from both sides, ten counts ahead of its start.
fn acquainted() -> Wheel {
    let mut wheel = Wheel::new(TURN);
    assert_eq!(wheel.turn(34, 34).turn(-24, -24).told(), " >first <first");
    assert_eq!(wheel.turn(24, 24).turn(-24, -24).told(), " >+0 <+0");
    assert_eq!(wheel.at, 10);
    wheel
}

#[test]
fn a_mark_that_comes_at_its_place_agrees() {
    assert_eq!(acquainted().turn(48, 48).turn(-48, -48).told(), " >+0 >+0 <+0 <+0");
}

#[test]
fn lost_and_made_up_counts_are_put_right_once() {
    for lost in 2..=8 {
        let mut wheel = acquainted();
        wheel.at += lost;
        assert_eq!(wheel.turn(48, 48).turn(-48, -48).told(), format!(" >+{lost} >+0 <+0 <+0"));
    }
    // Too many: the wheel stands still while five counts are made up.
    let mut wheel = acquainted();
    for _ in 0..5 {
        wheel.show(1, Some(false), true);
    }
    assert_eq!(wheel.turn(48, 48).told(), " >-5 >+0");
}

/// What was lost forward is found by the mark's other end too.
#[test]
fn either_end_of_the_mark_finds_what_was_lost() {
    let mut wheel = acquainted();
    wheel.turn(5, 0);
    assert_eq!(wheel.turn(-24, -24).turn(24, 24).told(), " <+5 >+0");
}

#[test]
fn half_a_turn_is_taken_as_missing_in_the_direction_of_turning() {
    for (lost, ahead, back) in [(11, "+11", "-11"), (12, "+12", "-12"), (13, "-11", "+11"), (24, "+0", "+0")]
    {
        let mut wheel = acquainted();
        wheel.turn(-6, -6);
        wheel.at += lost;
        assert_eq!(wheel.turn(24, 24).told(), format!(" >{ahead}"));
        let mut wheel = acquainted();
        wheel.turn(-6, -6);
        wheel.at -= lost;
        assert_eq!(wheel.turn(-24, -24).told(), format!(" <{back}"));
    }
}

#[test]
fn a_count_that_is_taken_back_makes_the_mark_two_wide() {
    let mut wheel = acquainted();
    // It comes on one count late now and then.
    let late = |wheel: &mut Wheel| {
        for _ in 0..24 {
            wheel.at += 1;
            let on = wheel.at.rem_euclid(TURN) >= 21;
            wheel.show(1, Some(on), true);
        }
        wheel.told()
    };
    assert_eq!(late(&mut wheel), " >-1(0..+1)");
    assert_eq!(wheel.turn(24, 24).told(), " >+1(-1..+1)");
    assert_eq!(late(&mut wheel), " >+0(-1..+1)");
    assert_eq!(wheel.turn(24, 24).told(), " >+0(-1..+1)");
    wheel.turn(4, 0);
    assert_eq!(wheel.turn(24, 24).told(), " >+4(-1..+1)", "the nearer of the two");
    wheel.show(1, Some(false), true);
    assert_eq!(wheel.turn(24, 24).told(), " >+0(-1..+1)");
}

#[test]
fn one_count_stays_in_doubt_until_the_mark_agrees() {
    let mut wheel = acquainted();
    wheel.turn(1, 0);
    assert_eq!(wheel.turn(48, 48).told(), " >+1(-1..0) >+0");
}

#[test]
fn a_wrong_setting_is_told_once() {
    for (per_turn, forward, backward) in
        [(25, "0..+1", "-1..0"), (23, "-1..0", "0..+1"), (48, "0..+24", "-24..0"), (20, "-4..0", "0..+4")]
    {
        for (way, bound) in [(1, forward), (-1, backward)] {
            let mut wheel = Wheel::new(per_turn);
            let told = wheel.turn(way * 24 * 12, way * 24 * 12).told();
            assert_eq!(told.matches("wrong-counts-per-turn").count(), 1, "{per_turn}: {told}");
            assert!(told.ends_with(&format!("wrong-counts-per-turn {bound}")), "{per_turn} {way}: {told}");
            assert!(told.matches(" >").count() + told.matches(" <").count() <= 5, "{told}");
            wheel.index.forget();
            assert_eq!(wheel.turn(96, 96).told(), "", "it stays wrong when the board comes back");
            wheel.index.know(CountsPerTurn::new(24));
            assert_eq!(wheel.turn(48, 48).told().matches("+0").count(), 1, "a new setting is tried");
        }
    }
    // The same loss three times, and not the fourth.
    let mut wheel = acquainted();
    for _ in 0..3 {
        wheel.turn(3, 0).turn(21, 21);
    }
    assert_eq!(wheel.turn(24, 24).turn(24, 21).told().matches("wrong").count(), 0);
}

#[test]
fn a_contact_that_bounces_and_a_hand_that_trembles_change_nothing() {
    let mut wheel = acquainted();
    // Onto the mark, across it and off with a contact that lets go for a report at each end.
    for at in 1..=40 {
        let on = (10..=13).contains(&at) && ![11, 13].contains(&at) || at == 15;
        wheel.show(1, Some(on), true);
    }
    wheel.at += 40;
    assert_eq!(wheel.told(), " >+0");
    // To the mark's far end and to and fro there, then away.
    wheel.turn(10, 10).told();
    for _ in 0..5 {
        wheel.turn(-2, -2).turn(2, 2);
    }
    assert_eq!(wheel.told(), "", "too near to the mark's end");
    assert_eq!(wheel.turn(-48, -48).turn(48, 48).told(), " <+0 <+0 >+0 >+0");
}

#[test]
fn reversing_on_the_mark_comes_upon_the_same_end() {
    let mut wheel = acquainted();
    wheel.turn(11, 11);
    assert_eq!(wheel.told(), " >+0");
    // Back off it the way it came, an eighth of a turn and more, and on again.
    assert_eq!(wheel.turn(-6, -6).turn(6, 6).told(), " >+0");
    assert_eq!(wheel.turn(-48, -48).told(), " <+0 <+0");
}

#[test]
fn what_tells_nothing() {
    // On from the start: no edge until it has been off.
    let mut wheel = Wheel::new(TURN);
    wheel.index.forget();
    wheel.at = 21;
    wheel.show(1, Some(true), true);
    assert_eq!(wheel.turn(24, 24).told(), " >first");
    // Never told.
    let mut wheel = Wheel::new(TURN);
    wheel.index.forget();
    for on in [None, None, Some(true)] {
        wheel.show(10, on, true);
    }
    assert_eq!(wheel.told(), "");
    // Several counts at once, late pulses, lost reports.
    for (counts, live) in [(2, true), (-2, true), (1, false), (0, false)] {
        let mut wheel = acquainted();
        wheel.turn(9, 9);
        assert_eq!(wheel.show(counts, Some(true), live), None);
        assert_eq!(wheel.show(1, Some(true), true), None, "too late");
    }
    let mut wheel = acquainted();
    wheel.turn(9, 9).index.interrupt();
    assert_eq!(wheel.turn(2, 2).told(), "");
    // No counts yet, so no direction.
    let mut wheel = Wheel::new(TURN);
    assert_eq!(wheel.show(0, Some(true), true), None);
    // Too few counts a turn.
    let mut wheel = Wheel::new(7);
    assert_eq!(wheel.turn(48, 14).told(), "");
    // Nobody knows how many.
    let mut index = Index::new(1);
    index.know(None);
    for on in [false, true] {
        let seen = Seen { at: Timestamp::START, counts: Counts::new(9), on: Some(on), live: true };
        assert_eq!(index.report(seen), None);
    }
}

#[test]
fn an_unplugged_board_begins_anew() {
    let mut wheel = acquainted();
    wheel.index.forget();
    wheel.at += 7;
    wheel.show(0, Some(false), true);
    assert_eq!(wheel.turn(20, 20).turn(24, 24).told(), " >first >+0");
}

/// The other end was first seen after a loss that nobody knew of: its place is not the right one.
#[test]
fn a_place_that_may_be_wrong_is_forgotten() {
    let mut wheel = Wheel::new(TURN);
    wheel.turn(34, 34);
    wheel.turn(3, 0);
    assert_eq!(wheel.turn(-24, -24).told(), " >first <first");
    assert_eq!(wheel.turn(24, 24).told(), " >+3");
    assert_eq!(wheel.turn(-48, -48).turn(48, 48).told(), " <first <+0 >+0 >+0");
}

#[test]
fn no_number_is_too_large() {
    let mut index = Index::new(1);
    index.know(CountsPerTurn::new(1_000_000));
    let mut on = false;
    for counts in [i64::MAX, 1, 1, i64::MIN, -1, -1, i64::MIN, 1, i64::MAX, 1] {
        on = !on;
        index.report(Seen { at: Timestamp::START, counts: Counts::new(counts), on: Some(on), live: true });
    }
    assert_eq!(index.report(Seen { at: Timestamp::START, counts: Counts::ZERO, on: None, live: true }), None);
}
