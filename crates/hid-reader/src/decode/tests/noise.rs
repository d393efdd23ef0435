//! Whatever reports come, whenever: no panic, and the counts are what counting edges by hand gives.

use super::*;
use proptest::prelude::*;

fn wheels() -> impl Strategy<Value = Vec<WheelConfig>> {
    let wiring = prop_oneof![
        Just(None),
        Just(Some(CountsPerCycle::X1)),
        Just(Some(CountsPerCycle::X2)),
        Just(Some(CountsPerCycle::X4)),
    ];
    prop::collection::vec((wiring, any::<bool>()), 1..8).prop_map(|wheels| {
        let lines = (0..).map(|wheel| (2 * wheel + 1, 2 * wheel + 2));
        lines
            .zip(wheels)
            .map(|((first, second), (wiring, pressed_at_rest))| WheelConfig {
                pressed_at_rest,
                ..wiring.map_or(pulses(first, second), |per_cycle| quadrature(first, second, per_cycle))
            })
            .collect()
    })
}

fn two_bytes() -> Layout {
    Layout::from_runs(&[run(None, 0, 1, 16)]).unwrap()
}

proptest! {
    #[test]
    fn any_report_at_any_time(
        wheels in wheels(),
        reports in prop::collection::vec((any::<u64>(), prop::collection::vec(any::<u8>(), 0..5)), 0..300),
        interval in prop::option::of(any::<u64>()),
    ) {
        let interval = interval.map(Duration::from_nanos);
        let mut decoder = BoardDecoder::new(two_bytes(), &wheels, interval).unwrap();
        let mut places = Vec::new();
        for (nanos, report) in &reports {
            decoder.report(Timestamp::from_nanos(*nanos), report, &mut |place, _| places.push(place));
        }
        decoder.unplugged(Timestamp::START, &mut |place, _| places.push(place));
        prop_assert!(places.iter().all(|place| *place < wheels.len()));
    }

    /// Forward edges less backward edges, counted bit by bit, for wheels wired as pulses.
    #[test]
    fn pulses_are_edges(reports in prop::collection::vec(any::<[u8; 2]>(), 1..300), pressed_at_rest in any::<bool>()) {
        let wheel = |first| WheelConfig { pressed_at_rest, ..pulses(first, first + 1) };
        let wheels = [wheel(1), wheel(7), wheel(15)];
        let mut decoder = BoardDecoder::new(two_bytes(), &wheels, None).unwrap();
        let mut tally = [0; 3];
        for report in &reports {
            decoder.report(Timestamp::START, report, &mut |place, event| {
                if let Event::Counts(counts) = event {
                    tally[place] += counts.get();
                }
            });
        }
        let level = |report: &[u8; 2], number: u16| (u16::from_le_bytes(*report) >> (number - 1) & 1 == 1) != pressed_at_rest;
        // Before the first report every line is at rest.
        let edges = |number| {
            let first = usize::from(level(&reports[0], number));
            first + reports.windows(2).filter(|pair| !level(&pair[0], number) && level(&pair[1], number)).count()
        };
        let by_hand = [1, 7, 15].map(|first| {
            i64::try_from(edges(first)).unwrap() - i64::try_from(edges(first + 1)).unwrap()
        });
        prop_assert_eq!(tally, by_hand);
    }
}
