//! The curve from degrees to output.
#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "helpers of tests may stop at the first surprise"
)]

mod common;

use approx::assert_abs_diff_eq;
use common::{any_config, any_place, degrees, hand_counts, slip};
use proptest::prelude::*;
use tallywheel_accumulator::{Accumulator, Curve, CurveError, Place};
use tallywheel_units::{AxisValue, Degrees, Normalized};

fn output(output: f64) -> Normalized {
    Normalized::clamped(output)
}

fn points(list: &[(f64, f64)]) -> Vec<(Degrees, Normalized)> {
    list.iter().map(|(x, y)| (degrees(*x), output(*y))).collect()
}

fn curve(list: &[(f64, f64)], neutral: f64) -> Curve {
    Curve::new(&points(list), degrees(neutral)).unwrap()
}

/// `SciPy`'s `PchipInterpolator` (`reference/pchip.py` says how the file was made).
#[test]
fn it_is_the_curve_of_a_reference_library() {
    let pairs = |line: &str| -> Vec<(f64, f64)> {
        let pair = |text: &str| {
            let (x, y) = text.split_once(':').unwrap();
            (x.parse().unwrap(), y.parse().unwrap())
        };
        line.split(' ').skip(1).map(pair).collect()
    };
    let lines: Vec<_> =
        include_str!("reference/pchip.txt").lines().filter(|line| !line.starts_with('#')).collect();
    assert_eq!(lines.len(), 80);
    for two in lines.chunks(2) {
        assert!(two[0].starts_with("curve ") && two[1].starts_with("at "));
        let list = pairs(two[0]);
        let neutral = list.iter().find(|(_, y)| *y == 0.0).unwrap().0;
        let curve = curve(&list, neutral);
        for (x, y) in pairs(two[1]) {
            assert_abs_diff_eq!(curve.at(degrees(x)).get(), y, epsilon = 1e-12);
        }
    }
}

#[test]
fn what_is_no_curve() {
    let wrong = |list: &[(f64, f64)], neutral: f64| Curve::new(&points(list), degrees(neutral)).unwrap_err();
    assert_eq!(wrong(&[], 0.0), CurveError::TooFewPoints);
    assert_eq!(wrong(&[(0.0, 0.0)], 0.0), CurveError::TooFewPoints);
    let at = degrees(5.0);
    assert_eq!(wrong(&[(0.0, -1.0), (5.0, 0.0), (5.0, 1.0)], 5.0), CurveError::DegreesNotRising { at });
    assert_eq!(wrong(&[(0.0, -0.5), (5.0, -1.0), (9.0, 0.0)], 9.0), CurveError::OutputFalls { at });
    assert_eq!(wrong(&[(0.0, -1.0), (9.0, 1.0)], 5.0), CurveError::MissesNeutral { neutral: at });
    assert_eq!(wrong(&[(0.0, -1.0), (5.0, 0.1), (9.0, 1.0)], 5.0), CurveError::MissesNeutral { neutral: at });
}

/// Points of a curve from stop to stop: from the travel and neutral, which may be at a stop, and inner points.
fn any_curve() -> impl Strategy<Value = (Vec<(Degrees, Normalized)>, Degrees, Degrees)> {
    let neutral = prop_oneof![1 => Just(0.0), 1 => Just(1.0), 1 => Just(0.5), 4 => 0.001..0.999f64];
    let inner = prop::collection::vec((0.0..1.0f64, prop_oneof![1 => Just(0.0), 5 => 0.0..=1.0f64]), 0..6);
    (1.0..2_000.0f64, neutral, inner.clone(), inner).prop_map(|(travel, neutral, below, above)| {
        let at = travel * neutral;
        let side = |inner: Vec<(f64, f64)>| {
            let (mut xs, mut ys): (Vec<_>, Vec<_>) = inner.into_iter().unzip();
            xs.sort_by(f64::total_cmp);
            ys.sort_by(f64::total_cmp);
            xs.into_iter().zip(ys).collect::<Vec<_>>()
        };
        let mut list = vec![(at, 0.0)];
        if at > 0.0 {
            list.push((0.0, -1.0));
            list.extend(side(below).into_iter().map(|(x, y)| (x * at, y - 1.0)));
        }
        if at < travel {
            list.push((travel, 1.0));
            list.extend(side(above).into_iter().map(|(x, y)| (at + x * (travel - at), y)));
        }
        list.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        // At one place the fixed point stays: -1, 0 or 1.
        list.dedup_by(|b, a| {
            let same = a.0 == b.0;
            if same && b.1.fract() == 0.0 {
                *a = *b;
            }
            same
        });
        (points(&list), degrees(travel), degrees(at))
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    #[test]
    fn it_goes_through_its_points_and_beyond_none((list, travel, neutral) in any_curve(), parts in prop::collection::vec(0.0..=1.0f64, 20)) {
        let curve = Curve::new(&list, neutral).unwrap();
        for (x, y) in &list {
            prop_assert_eq!(curve.at(*x), *y);
        }
        prop_assert_eq!(curve.at(degrees(-1.0)), list[0].1);
        prop_assert_eq!(curve.at(degrees(travel.get() + 1.0)), list[list.len() - 1].1);
        for pair in list.windows(2) {
            let mut last = pair[0].1.get();
            let mut parts = parts.clone();
            parts.sort_by(f64::total_cmp);
            for part in parts {
                let place = pair[0].0.get() + (pair[1].0.get() - pair[0].0.get()) * part;
                let here = curve.at(degrees(place));
                prop_assert!(pair[0].1 <= here && here <= pair[1].1);
                // It never falls, but for the last bit of a float.
                prop_assert!(here.get() >= last - 1e-15, "{place}: {here:?} after {last}");
                last = here.get();
            }
        }
    }

    #[test]
    fn there_and_back_by_the_inverse((list, _, neutral) in any_curve(), wanted in -1.0..=1.0f64) {
        let curve = Curve::new(&list, neutral).unwrap();
        let (lowest, highest) = (list[0].1, list[list.len() - 1].1);
        let wanted = output(wanted);
        let reached = curve.at(curve.degrees_at(wanted));
        let possible = output(wanted.get().clamp(lowest.get(), highest.get()));
        // Where the curve is steep, one float of degrees is more than one of output.
        let steepest = list.windows(2).map(|pair| (pair[1].1.get() - pair[0].1.get()) / (pair[1].0.get() - pair[0].0.get()));
        let steepest = steepest.fold(0.0, f64::max);
        let nearest = 1e-14 + 3.0 * steepest * 2_000.0 * f64::EPSILON;
        prop_assert!((reached.get() - possible.get()).abs() <= nearest, "{reached:?} {possible:?}");
        prop_assert_eq!(curve.degrees_at(Normalized::NEUTRAL), neutral);
        if neutral > Degrees::ZERO {
            prop_assert_eq!(curve.degrees_at(Normalized::MIN), Degrees::ZERO);
        }
        if neutral < list[list.len() - 1].0 {
            prop_assert_eq!(curve.degrees_at(Normalized::MAX), list[list.len() - 1].0);
        }
    }

    /// Stops and neutral are exact, on any wheel, and turning there and back gives the same output.
    #[test]
    fn a_trim_along_a_curve_is_exact_where_it_counts(
        config in any_config(),
        start in any_place(),
        by in hand_counts(),
        inner in 0.0..=1.0f64,
    ) {
        let (travel, neutral) = (config.travel().get(), config.neutral().get());
        let mut list = vec![(neutral, 0.0)];
        if neutral > 0.0 {
            list.insert(0, (0.0, -1.0));
        }
        let place = neutral + (travel - neutral) / 3.0;
        if neutral < place && place < travel {
            list.push((place, inner));
        }
        if neutral < travel {
            list.push((travel, 1.0));
        }
        let curve = curve(&list, neutral);
        let at = |place| Accumulator::new(config, place).reading().along(&curve);
        prop_assert_eq!(at(Place::Neutral).axis, AxisValue::NEUTRAL);
        prop_assert_eq!(at(Place::Low).axis, if neutral > 0.0 { AxisValue::MIN } else { AxisValue::NEUTRAL });
        prop_assert_eq!(at(Place::High).axis, if neutral < travel { AxisValue::MAX } else { AxisValue::NEUTRAL });
        let mut trim = Accumulator::new(config, start);
        let before = trim.reading().along(&curve);
        let applied = trim.count(by);
        if applied.refused == tallywheel_units::FixedCounts::ZERO {
            trim.count(-by);
            prop_assert_eq!(trim.reading().along(&curve), before);
        }
    }

    /// Without a curve the inverse is that of the straight lines.
    #[test]
    fn there_and_back_by_straight_lines(config in any_config(), wanted in -1.0..=1.0f64) {
        for (output, place) in [(-1.0, Place::Low), (0.0, Place::Neutral), (1.0, Place::High)] {
            let degrees = Accumulator::new(config, place).reading().degrees;
            prop_assert_eq!(config.degrees_at(self::output(output)), degrees);
        }
        let place = config.degrees_at(output(wanted));
        let reading = Accumulator::new(config, Place::At(place)).reading();
        let side = if wanted < 0.0 { config.neutral() } else { degrees(config.travel().get() - config.neutral().get()) };
        let count = 360.0 / f64::from(config.per_turn().get());
        if side.get() > count / 1e3 {
            // Neutral, travel and place are each rounded to 2^-20 count.
            let rounding = 3.0 * count / 1_048_576.0 / side.get();
            prop_assert!((reading.normalized.get() - wanted).abs() <= rounding + 1e-12);
        }
    }
}

/// An output that a stretch of the curve has: the end that is farther from neutral.
#[test]
fn the_inverse_on_a_level_stretch() {
    let list = [
        (0.0, -1.0),
        (50.0, -1.0),
        (60.0, -0.5),
        (70.0, -0.5),
        (100.0, 0.0),
        (150.0, 0.0),
        (200.0, 0.5),
        (220.0, 0.5),
        (250.0, 1.0),
        (300.0, 1.0),
    ];
    let curve = curve(&list, 150.0);
    for (wanted, place) in [(-1.0, 0.0), (-0.5, 60.0), (0.0, 150.0), (0.5, 220.0), (1.0, 300.0)] {
        assert_eq!(curve.degrees_at(output(wanted)), degrees(place), "{wanted}");
    }
}

/// The example in the file's key: 600 degrees, neutral in the middle.
#[test]
fn a_curve_in_figures() {
    let list = [(0.0, -1.0), (100.0, -0.9), (250.0, -0.3), (300.0, 0.0), (600.0, 1.0)];
    let curve = curve(&list, 300.0);
    let trim = |place| Accumulator::new(slip(96, 600.0, 300.0), Place::At(degrees(place))).reading();
    let axes = [0.0, 100.0, 250.0, 300.0, 600.0].map(|place| trim(place).along(&curve).axis.get());
    // 32767 x 0.9 = 29490.3, x 0.3 = 9830.1; 100 and 250 degrees are no whole counts of this wheel.
    assert_eq!(axes, [-32767, -29490, -9830, 0, 32767]);
    assert!(trim(175.0).along(&curve).normalized < trim(175.0).normalized, "the curve hangs below the line");
}
