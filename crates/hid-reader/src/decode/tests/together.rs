//! Wheels that are calm together are told the same as wheels that are taken one by one, at the same reports.

use super::*;
use proptest::prelude::*;

/// Something that happens to a board.
#[derive(Debug, Clone)]
enum Happening {
    /// So many reports of a board whose wheels turn at so many eighths of an edge per report; the times in
    /// microseconds by which a report is off its interval are repeated.
    Turn {
        reports: u16,
        eighths: [i8; WHEELS],
        jitter: Vec<i16>,
    },
    /// Nothing is heard for so many microseconds.
    Silence(u32),
    /// So many reports at once.
    Burst(u8),
    /// A report that is too short.
    Bad,
    /// A report about other buttons.
    Other,
    Unplugged,
    /// Another decoder takes over.
    Exchange,
    /// A knock: both lines of a wheel at once.
    Knock(usize),
}

const WHEELS: usize = 3;
const MILLI: u64 = 1_000_000;

fn happening() -> impl Strategy<Value = Happening> {
    use Happening::*;
    let speed = || prop_oneof![4 => Just(0), 4 => -5..=5_i8, 1 => -24..=24_i8];
    let turn = (1..200_u16, [speed(), speed(), speed()], prop::collection::vec(-200..=200_i16, 1..20));
    let turn = turn.prop_map(|(reports, eighths, jitter)| Turn { reports, eighths, jitter });
    prop_oneof![
        12 => turn,
        1 => (0..200_000_u32).prop_map(Silence),
        1 => (1..90_u8).prop_map(Burst),
        1 => Just(Bad),
        1 => Just(Other),
        1 => Just(Unplugged),
        1 => Just(Exchange),
        1 => (0..WHEELS).prop_map(Knock),
    ]
}

/// Two decoders of one board, of which one never has its wheels together.
struct Pair {
    wheels: [WheelConfig; 4],
    interval: Option<Duration>,
    /// The board tells of some wheels in one kind of report and of the others in another.
    split: bool,
    decoders: [BoardDecoder; 2],
    nanos: u64,
    /// Of each wheel in eighths.
    places: [i64; WHEELS],
    pulse: bool,
    together: u32,
}

impl Pair {
    fn new(interval: Option<Duration>, split: bool) -> Self {
        let pressed_at_rest = WheelConfig { pressed_at_rest: true, ..quadrature(3, 4, CountsPerCycle::X2) };
        let wheels = [
            quadrature(6, 5, CountsPerCycle::X4),
            pressed_at_rest,
            quadrature(1, 2, CountsPerCycle::X1),
            pulses(7, 8),
        ];
        let decoders = std::array::from_fn(|_| Self::decoder(&wheels, interval, split));
        Self { wheels, interval, split, decoders, nanos: 0, places: [0; WHEELS], pulse: false, together: 0 }
    }

    fn decoder(wheels: &[WheelConfig], interval: Option<Duration>, split: bool) -> BoardDecoder {
        let others = run(Some(3), 8, 9, 4);
        let layout = if split {
            Layout::from_runs(&[run(Some(1), 8, 1, 4), run(Some(2), 8, 5, 4), others])
        } else {
            Layout::from_runs(&[run(Some(1), 8, 1, 8), others])
        };
        BoardDecoder::new(layout.unwrap(), wheels, interval).unwrap()
    }

    fn lines(&self) -> u8 {
        let gray = |place: i64| [0b00, 0b01, 0b11, 0b10][usize::try_from(place.div_euclid(8) & 3).unwrap()];
        let [one, two, three] = self.places.map(gray);
        one << 4 | two << 2 | three | u8::from(self.pulse) << 6
    }

    /// The same of both, and whether they tell the same of each wheel.
    fn both(&mut self, mut act: impl FnMut(&mut BoardDecoder, Timestamp, &mut dyn FnMut(usize, Event))) {
        let [mut told, mut expected] = [const { [const { Vec::new() }; 4] }; 2];
        let at = Timestamp::from_nanos(self.nanos);
        let [together, apart] = &mut self.decoders;
        apart.part();
        act(together, at, &mut |wheel, event| told[wheel].push(event));
        act(apart, at, &mut |wheel, event| expected[wheel].push(event));
        assert_eq!(told, expected, "at {at}");
        assert_eq!(together.deadline(), apart.deadline(), "at {at}");
        self.together += u32::from(together.raw.as_ref().unwrap().calm.is_together());
    }

    fn sample(&mut self) {
        let lines = self.lines();
        self.report(&[1, lines]);
        if self.split {
            self.report(&[2, lines >> 4]);
        }
    }

    fn report(&mut self, report: &[u8]) {
        self.both(|decoder, at, mut sink| decoder.report(at, report, &mut sink));
    }

    /// Time passes, and decoders that want to be asked then are asked.
    fn wait(&mut self, nanos: u64) {
        let until = self.nanos + nanos;
        while let Some(due) = self.decoders[0].deadline().filter(|due| due.nanos() <= until) {
            self.nanos = due.nanos();
            self.both(|decoder, at, mut sink| decoder.rest(at, &mut sink));
        }
        self.nanos = until;
    }

    fn happen(&mut self, happening: &Happening) {
        match happening {
            Happening::Turn { reports, eighths, jitter } => {
                for (report, jitter) in (0..*reports).zip(jitter.iter().cycle()) {
                    self.wait(MILLI.saturating_add_signed(i64::from(*jitter) * 1000));
                    for (place, eighths) in self.places.iter_mut().zip(eighths) {
                        *place += i64::from(*eighths);
                    }
                    self.pulse = report % 16 == 7;
                    self.sample();
                }
            }
            Happening::Silence(micros) => self.wait(u64::from(*micros) * 1000),
            Happening::Burst(reports) => {
                for _ in 0..*reports {
                    self.wait(9000);
                    self.places[0] += 2;
                    self.sample();
                }
            }
            Happening::Bad => self.report(&[1]),
            Happening::Other => self.report(&[3, 5]),
            Happening::Unplugged => self.both(|decoder, at, mut sink| decoder.unplugged(at, &mut sink)),
            Happening::Exchange => {
                let next = std::array::from_fn(|n| {
                    let mut next = Self::decoder(&self.wheels, self.interval, self.split);
                    next.take_over(&self.decoders[n]);
                    next
                });
                self.decoders = next;
            }
            Happening::Knock(wheel) => self.places[*wheel] += 16,
        }
    }
}

proptest! {
    #[test]
    fn together_and_apart_are_told_the_same(
        given in any::<bool>(),
        split in any::<bool>(),
        happenings in prop::collection::vec(happening(), 1..40),
    ) {
        let mut pair = Pair::new(given.then_some(Duration::from_nanos(MILLI)), split);
        happenings.iter().for_each(|happening| pair.happen(happening));
    }
}

/// What is compared above is not the same twice.
#[test]
fn calm_wheels_are_together_after_a_rest() {
    let mut pair = Pair::new(None, false);
    let turn = |reports, eighths| Happening::Turn { reports, eighths, jitter: vec![0] };
    pair.happen(&turn(100, [0; WHEELS]));
    let before = pair.together;
    pair.happen(&turn(1000, [3, -2, 0]));
    assert_eq!(pair.together - before, 1000);
    pair.happen(&turn(30, [3, 12, 0]));
    assert!(!pair.decoders[0].raw.as_ref().unwrap().calm.is_together(), "one is followed");
    let before = pair.together;
    pair.happen(&turn(100, [3, 0, 0]));
    assert!((50..100).contains(&(pair.together - before)), "and they meet again");
}
