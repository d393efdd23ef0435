//! Curves, ratios and smoothing, from the files' words to what is published.

use super::*;
use crate::runtime_config::build;
use tallywheel_units::AxisValue;

const RIG: &str = "name = \"bench\"\n[[board]]\nname = \"main\"\nusb = \"1209:7a11\"\n[[wheel]]\nname = \"rudder\"\n\
                   wiring = \"pulses\"\nforward = 3\nbackward = 4\ncounts_per_turn = 96\n";

/// A trim of 600 degrees with neutral at 300 (160 counts, 80) with `keys`, at neutral.
fn tally(keys: &str) -> Tally {
    let rig = tallywheel_profile::rig("rig.toml", RIG).unwrap();
    let text = format!(
        "name = \"x\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 600\nneutral_degrees = 300\n{keys}\n"
    );
    let aircraft = tallywheel_profile::aircraft("a.toml", &text).unwrap();
    build(&rig, &aircraft).unwrap().tally
}

fn ms(ms: u64) -> Timestamp {
    Timestamp::from_micros(ms * 1_000)
}

fn count(tally: &mut Tally, counts: i64) {
    tally.apply(WheelIndex::new(0), Event::Counts(Counts::new(counts)));
}

fn degrees(tally: &Tally) -> f64 {
    tally.readings()[0].degrees.get()
}

#[test]
fn a_curve_is_what_is_published_and_what_is_told() {
    let mut tally = tally("curve = [[150, -0.75], [450, 0.2]]");
    count(&mut tally, 40);
    let published = tally.readings()[0];
    assert_eq!((published.degrees.get(), published.normalized.get()), (450.0, 0.2));
    assert_eq!(published.axis, AxisValue::nearest(Normalized::clamped(0.2)));
    assert_eq!(tally.trims()[0].reading().normalized, published.normalized);
    for (output, degrees) in [(0.2, 450.0), (-0.75, 150.0), (0.0, 300.0), (1.0, 600.0), (-1.0, 0.0)] {
        assert_eq!(tally.trims()[0].degrees_at(Normalized::clamped(output)).get(), degrees);
    }
    count(&mut tally, 1_000);
    assert_eq!(tally.readings()[0].axis, AxisValue::MAX);
}

/// The first ratio is in force; a switch keeps the degrees and only what is turned after it goes otherwise.
#[test]
fn ratios() {
    let mut tally = tally("ratios = [0.5, 2]");
    assert_eq!(tally.trims()[0].ratio(), 0);
    count(&mut tally, 48);
    assert_eq!(degrees(&tally), 390.0);
    let sequence = tally.sequence();
    let change = tally.ratio(0, 1).unwrap();
    assert!(!change.is_visible() && tally.sequence() > sequence, "{change}");
    assert_eq!((degrees(&tally), tally.trims()[0].ratio()), (390.0, 1));
    count(&mut tally, -12);
    assert_eq!(degrees(&tally), 300.0);
    assert_eq!(tally.readings()[0].axis, AxisValue::NEUTRAL);
    assert!(tally.ratio(0, 2).is_none() && tally.ratio(1, 0).is_none());
    assert_eq!(tally.trims()[0].ratio(), 1);
    // The wheel's own tally is the hand's, whatever the ratio.
    assert_eq!(tally.wheel(WheelIndex::new(0)).unwrap().counts, Counts::new(36));
    assert_eq!(tally.trims()[0].applied, FixedCounts::from_counts(Counts::new(36)));
}

#[test]
fn a_trim_without_ratios_has_the_first_only() {
    let mut tally = tally("");
    assert!(!tally.ratio(0, 0).unwrap().is_visible());
    assert!(tally.ratio(0, 1).is_none());
}

/// An aircraft file that is saved again leaves the trim its ratio, as long as there is one like it.
#[test]
fn a_ratio_is_kept_by_its_value() {
    let mut before = tally("ratios = [1, 0.5]");
    before.ratio(0, 1).unwrap();
    for (keys, ratio) in
        [("ratios = [0.5, 1, 3]", 0), ("ratios = [3, 0.25, 0.5]", 2), ("ratios = [1, 2]", 0), ("", 0)]
    {
        let mut after = tally(keys).trims()[0].clone();
        after.keep_ratio(&before.trims()[0]);
        assert_eq!(after.ratio(), ratio, "{keys}");
    }
}

/// What is published glides; what is told of the trim does not.
#[test]
fn smoothing() {
    let mut tally = tally("smoothing_ms = 40");
    tally.glide(ms(0));
    assert_eq!(tally.deadline(ms(0)), None);
    count(&mut tally, 1);
    assert_eq!(degrees(&tally), 300.0, "nothing is published ahead of its time");
    let counted = tally.sequence();
    tally.glide(ms(10));
    assert_eq!((degrees(&tally), tally.deadline(ms(10)), tally.sequence()), (300.0, Some(ms(14)), counted));
    tally.glide(ms(30));
    assert_eq!((degrees(&tally), tally.deadline(ms(30))), (301.875, Some(ms(34))));
    assert!(tally.sequence() > counted, "a frame of its own");
    assert_eq!(tally.trims()[0].reading().degrees.get(), 303.75);
    tally.glide(ms(50));
    assert_eq!((degrees(&tally), tally.deadline(ms(50))), (303.75, None));
    // At rest nothing is new.
    let rested = tally.sequence();
    tally.glide(ms(90));
    assert_eq!(tally.sequence(), rested);
}

/// A place that somebody asks for, or a ratio, is there at once: on the way to it the simulator would be moved.
#[test]
fn what_was_not_counted_does_not_glide() {
    let mut tally = tally("smoothing_ms = 40\nratios = [1, 0.5]");
    count(&mut tally, 10);
    tally.glide(ms(10));
    assert_eq!(degrees(&tally), 300.0);
    tally.resume(0, Place::Low, Margin::CERTAIN);
    assert_eq!(degrees(&tally), 0.0);
    tally.glide(ms(20));
    assert_eq!((degrees(&tally), tally.deadline(ms(20))), (0.0, None));
    count(&mut tally, 10);
    tally.glide(ms(30));
    tally.ratio(0, 1).unwrap();
    assert_eq!(degrees(&tally), 37.5);
    tally.glide(ms(30));
    assert_eq!((degrees(&tally), tally.deadline(ms(30))), (37.5, None));
}

/// The margin is the trim's, not that of what is on its way.
#[test]
fn smoothing_shows_the_margin_of_the_trim() {
    use std::time::Duration;
    use tallywheel_units::Certainty;
    let mut tally = tally("smoothing_ms = 40");
    let bound = Margin::both(Counts::ONE);
    let (kind, certainty, at) = (LossKind::GapInSpin, Certainty::Inferred, ms(5));
    let loss = Loss { kind, certainty, at, lasted: Duration::ZERO, reports: 1, bound };
    count(&mut tally, 5);
    tally.apply(WheelIndex::new(0), Event::Loss(loss));
    tally.glide(ms(10));
    assert_eq!((degrees(&tally), tally.readings()[0].margin), (300.0, bound));
}
