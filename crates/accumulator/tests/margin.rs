//! What the margin promises: the truth is within it, it is no wider than need be, and it ends.
#![allow(clippy::unwrap_used, reason = "helpers of tests may stop at the first surprise")]

mod common;

use common::{any_config, any_place, counts, degrees, hand_counts, remember, slip};
use proptest::prelude::*;
use std::collections::BTreeSet;
use tallywheel_accumulator::{Accumulator, Place, TrimConfig};
use tallywheel_units::{Counts, Degrees, FixedCounts, Margin, StopStyle};

/// A wheel that misses nothing, in 128 bits: where the trim really is.
#[derive(Debug, Clone, Copy)]
struct TrueTrim {
    config: TrimConfig,
    position: i128,
}

impl TrueTrim {
    fn new(trim: &Accumulator) -> Self {
        Self { config: *trim.config(), position: i128::from(trim.reading().position.raw()) }
    }

    fn travel(&self) -> i128 {
        i128::from(self.config.travel_counts().raw())
    }

    fn turn(&mut self, by: i64) {
        let step = i128::from(by) << FixedCounts::FRACTION_BITS;
        self.position += if self.config.reversed() { -step } else { step };
        if self.config.stops() == StopStyle::Slip {
            self.position = self.position.clamp(0, self.travel());
        }
    }

    fn visible(&self) -> i128 {
        self.position.clamp(0, self.travel())
    }

    fn is_within(&self, trim: &Accumulator) -> bool {
        let reading = trim.reading();
        if reading.margin.is_unknown() {
            return true;
        }
        let wide = |c: Counts| i128::from(c.get()) << FixedCounts::FRACTION_BITS;
        let off = self.visible() - i128::from(reading.position.raw());
        -wide(reading.margin.low()) <= off && off <= wide(reading.margin.high())
    }
}

#[derive(Debug, Clone)]
enum Event {
    /// Seen by both.
    Turn(Counts),
    /// Turned but not counted, or counted wrongly: `missed` of it before and after the counts that did come,
    /// told with a bound around it.
    Loss {
        before: i64,
        seen: i64,
        after: i64,
        more_low: i64,
        more_high: i64,
    },
    /// Turned any way for any time unseen.
    Blind(Vec<i64>),
    Align(Place),
}

fn event() -> impl Strategy<Value = Event> {
    let missed = || prop_oneof![3 => -4..=4i64, 1 => -60..=60i64];
    let slack = || prop_oneof![Just(0i64), 0..10i64];
    prop_oneof![
        12 => hand_counts().prop_map(Event::Turn),
        6 => (missed(), -20..=20i64, missed(), slack(), slack()).prop_map(
            |(before, seen, after, more_low, more_high)| Event::Loss { before, seen, after, more_low, more_high }
        ),
        1 => prop::collection::vec(-500..500i64, 0..4).prop_map(Event::Blind),
        1 => any_place().prop_map(Event::Align),
    ]
}

/// What went unseen each way, and a bit more.
fn bound_of(missed: [i64; 2], more_low: i64, more_high: i64) -> Margin {
    let backward: i64 = missed.iter().map(|by| by.min(&0)).sum();
    let forward: i64 = missed.iter().map(|by| by.max(&0)).sum();
    Margin::new(Counts::new(backward - more_low), Counts::new(forward + more_high))
}

fn happen(event: &Event, trim: &mut Accumulator, truth: &mut TrueTrim) {
    match event {
        Event::Turn(by) => {
            trim.count(*by);
            truth.turn(by.get());
        }
        Event::Loss { before, seen, after, more_low, more_high } => {
            truth.turn(*before);
            truth.turn(*seen);
            truth.turn(*after);
            trim.count(Counts::new(*seen));
            trim.lose(bound_of([*before, *after], *more_low, *more_high));
        }
        Event::Blind(path) => {
            for by in path {
                truth.turn(*by);
            }
            trim.lose(Margin::UNKNOWN);
        }
        Event::Align(place) => {
            trim.align(*place);
            *truth = TrueTrim::new(trim);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    #[test]
    fn the_truth_is_within_the_margin(
        config in any_config(),
        start in any_place(),
        events in prop::collection::vec(event(), 0..60),
    ) {
        let mut trim = Accumulator::new(config, start);
        let mut truth = TrueTrim::new(&trim);
        for event in &events {
            happen(event, &mut trim, &mut truth);
            prop_assert!(truth.is_within(&trim), "{event:?}: {truth:?} and {:?}", trim.reading());
        }
    }

    /// The margin is exactly as wide as what may be true: all truths that the losses allow, one by one.
    #[test]
    fn the_margin_is_no_wider_than_need_be(
        travel in 1..40u32,
        start in 0.0..=1.0f64,
        stops in common::stop_style(),
        reversed in any::<bool>(),
        events in prop::collection::vec((-8..=8i64, 0..4i64, 0..4i64), 0..25),
    ) {
        // Neither neutral nor the start is a whole number of counts; the travel is 1/3 count more than whole.
        let travel = degrees(f64::from(travel) + 1.0 / 3.0);
        let config = TrimConfig::new(common::per_turn(360), travel, Degrees::ZERO, stops, reversed).unwrap();
        let mut trim = Accumulator::new(config, Place::At(degrees(travel.get() * start)));
        let first = TrueTrim::new(&trim);
        let mut truths = BTreeSet::from([first.position]);
        for (seen, low, high) in events {
            trim.count(Counts::new(seen));
            trim.lose(Margin::new(Counts::new(low), Counts::new(high)));
            let moved = |position: i128, by: i64| {
                let mut truth = TrueTrim { position, ..first };
                truth.turn(by);
                truth.position
            };
            truths = truths.iter().map(|position| moved(*position, seen)).collect();
            truths = truths.iter().flat_map(|p| (-low..=high).map(move |lost| moved(*p, lost))).collect();

            let visible = |position: &i128| (*position).clamp(0, first.travel());
            let lowest = truths.iter().map(visible).min().unwrap();
            let highest = truths.iter().map(visible).max().unwrap();
            let here = i128::from(trim.reading().position.raw());
            let up = |raw: i128| i64::try_from((raw + (1 << 20) - 1) >> 20).unwrap();
            let exact = Margin::new(Counts::new(up(here - lowest)), Counts::new(up(highest - here)));
            prop_assert_eq!(trim.reading().margin, exact);
        }
    }

    /// Once all that was possible has been wound past a slipping stop there is no doubt left, and not before.
    #[test]
    fn winding_past_a_stop_ends_the_doubt(
        (travel, start) in (1..400i64).prop_flat_map(|travel| (Just(travel), 0..=travel)),
        low in 0..50i64,
        high in 0..50i64,
        upwards in any::<bool>(),
    ) {
        // One count a degree.
        let at = |counts: i64| Degrees::new(counts.to_string().parse().unwrap()).unwrap();
        let config = TrimConfig::new(common::per_turn(360), at(travel), at(0), StopStyle::Slip, false).unwrap();
        let mut trim = Accumulator::new(config, Place::At(at(start)));
        trim.lose(Margin::new(Counts::new(low), Counts::new(high)));
        let doubtful = !trim.reading().margin.is_certain();
        // From the far end of the doubt to the stop.
        let far = if upwards { travel - (start - low).max(0) } else { (start + high).min(travel) };
        let wind = |counts: i64| Counts::new(if upwards { counts } else { -counts });
        trim.count(wind(far - 1));
        prop_assert_eq!(trim.reading().margin.is_certain(), !doubtful);
        trim.count(wind(1));
        prop_assert!(trim.reading().margin.is_certain());
        trim.count(wind(-1));
        prop_assert!(trim.reading().margin.is_certain());
    }

    /// A reference ends every doubt.
    #[test]
    fn a_reference_makes_it_certain(
        config in any_config(),
        start in any_place(),
        events in prop::collection::vec(event(), 0..20),
        place in any_place(),
    ) {
        let mut trim = Accumulator::new(config, start);
        let mut truth = TrueTrim::new(&trim);
        for event in &events {
            happen(event, &mut trim, &mut truth);
        }
        trim.align(place);
        prop_assert!(trim.reading().margin.is_certain());
        prop_assert_eq!(trim, Accumulator::new(config, place));
    }

    /// When stops slip, an unknown position is proved by winding one way by the travel, from wherever it is.
    #[test]
    fn a_stop_proves_an_unknown_position(
        travel in 1..400u32,
        start in 0.0..=1.0f64,
        blind in prop::collection::vec(-500..500i64, 0..5),
        upwards in any::<bool>(),
    ) {
        let mut trim = Accumulator::new(slip(360, f64::from(travel), 0.0), Place::At(degrees(f64::from(travel) * start)));
        let mut truth = TrueTrim::new(&trim);
        happen(&Event::Blind(blind), &mut trim, &mut truth);
        let one = if upwards { 1 } else { -1 };
        for wound in 0..travel {
            prop_assert_eq!(trim.reading().margin, Margin::UNKNOWN, "after {} of {}", wound, travel);
            happen(&Event::Turn(Counts::new(one)), &mut trim, &mut truth);
        }
        prop_assert_eq!(trim.reading().margin, Margin::CERTAIN);
        prop_assert_eq!(truth.visible(), i128::from(trim.reading().position.raw()));
    }
}

/// Stops that remember prove nothing: the wheel may be wound any number of turns past them.
#[test]
fn stops_that_remember_leave_an_unknown_position_unknown() {
    let mut trim = Accumulator::new(remember(96, 580.0, 320.0), Place::Neutral);
    trim.lose(Margin::UNKNOWN);
    for counts in [100_000, -200_000, 100_000, i64::MIN, i64::MIN, i64::MIN, i64::MIN] {
        trim.count(Counts::new(counts));
        assert_eq!(trim.reading().margin, Margin::UNKNOWN);
    }
    trim.align(Place::Low);
    assert!(trim.reading().margin.is_certain());
}

/// Of a trim that remembers, the margin is that of the position that shows: nothing while the doubt is hidden
/// behind the stop, and there again when the trim comes back.
#[test]
fn doubt_behind_a_remembering_stop_comes_back_with_the_trim() {
    let mut trim = Accumulator::new(remember(96, 580.0, 320.0), Place::High);
    trim.lose(Margin::both(Counts::new(3)));
    assert_eq!(trim.reading().margin, Margin::new(Counts::new(3), Counts::ZERO));
    trim.count(Counts::new(10));
    assert!(trim.reading().margin.is_certain());
    trim.count(Counts::new(-12));
    assert_eq!(trim.reading().margin, Margin::new(Counts::new(3), Counts::new(2)));
}

#[test]
fn one_side_may_be_unknown_alone() {
    let mut trim = Accumulator::new(slip(96, 580.0, 320.0), Place::Neutral);
    trim.lose(Margin::new(Margin::UNKNOWN.low(), Counts::ONE));
    let margin = trim.reading().margin;
    assert!(margin.is_unknown());
    assert_eq!(margin.high(), Counts::ONE);
    // 84 counts down and the one above: the low stop is reached for certain.
    trim.count(Counts::new(-87));
    assert!(trim.reading().margin.is_certain());
}

/// At the low stop nothing can be lost downwards, however much it was.
#[test]
fn a_stop_proves_an_unknown_loss_towards_it() {
    let mut trim = Accumulator::new(slip(96, 580.0, 320.0), Place::Low);
    trim.lose(Margin::new(Margin::UNKNOWN.low(), Counts::ZERO));
    assert_eq!(trim.reading().margin, Margin::CERTAIN);
}

#[test]
fn a_reversed_trim_has_its_doubt_on_the_other_side() {
    let config =
        TrimConfig::new(common::per_turn(96), degrees(580.0), degrees(320.0), StopStyle::Slip, true).unwrap();
    let mut trim = Accumulator::new(config, Place::Neutral);
    trim.lose(Margin::new(Counts::new(2), Counts::new(5)));
    assert_eq!(trim.reading().margin, Margin::new(Counts::new(5), Counts::new(2)));
}

/// A limited loss after an unknown one does not make the position known again.
#[test]
fn unknown_stays_unknown_whatever_else_is_lost() {
    let mut trim = Accumulator::new(slip(96, 580.0, 320.0), Place::Neutral);
    trim.lose(Margin::UNKNOWN);
    trim.lose(Margin::both(Counts::ONE));
    trim.lose(Margin::CERTAIN);
    assert_eq!(trim.reading().margin, Margin::UNKNOWN);
    assert_eq!(trim.reading().position, FixedCounts::from_degrees(degrees(320.0), common::per_turn(96)));
    assert_eq!(trim.count(Counts::ONE).moved, counts(1));
}
