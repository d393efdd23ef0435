use crate::{Chance, Encoder, Report, Reporting, Sampling, Wheel, WheelCursor};
use tallywheel_units::{ButtonNumber, Buttons, Timestamp};

/// A board that passes lines A and B on as two buttons. An iterator over its reports.
#[derive(Debug)]
pub struct RawBoard<'a> {
    sampling: Sampling,
    wheels: Vec<Line<'a>>,
    chance: Chance,
    time: f64,
    ends: f64,
    read_last: Timestamp,
    sent: Option<Buttons>,
}

#[derive(Debug)]
struct Line<'a> {
    wheel: &'a Wheel,
    a: ButtonNumber,
    b: ButtonNumber,
    cursor: WheelCursor,
    edges: i64,
}

impl<'a> RawBoard<'a> {
    /// A board that runs until the last of its wheels has come to rest.
    #[must_use]
    pub fn new(sampling: Sampling, chance: Chance) -> Self {
        Self {
            sampling,
            wheels: Vec::new(),
            chance,
            time: 0.0,
            ends: 0.0,
            read_last: Timestamp::START,
            sent: None,
        }
    }

    /// With a wheel on two buttons.
    #[must_use]
    pub fn with(mut self, wheel: &'a Wheel, a: ButtonNumber, b: ButtonNumber) -> Self {
        self.ends = self.ends.max(wheel.motion.ends());
        self.wheels.push(Line { wheel, a, b, cursor: WheelCursor::default(), edges: 0 });
        self
    }

    /// What the lines of the wheel added as number `index` truly showed at the last report, in edges.
    #[must_use]
    pub fn edges(&self, index: usize) -> i64 {
        self.wheels.get(index).map_or(0, |line| line.edges)
    }

    /// When the last report was sampled, in seconds of virtual time.
    #[must_use]
    pub const fn time(&self) -> f64 {
        self.time
    }

    fn sample(&mut self) -> Buttons {
        let mut buttons = Buttons::NONE;
        for line in &mut self.wheels {
            line.edges = line.wheel.edges(&mut line.cursor, self.time);
            let (a, b) = Encoder::lines(line.edges);
            buttons = buttons.with(line.a, a).with(line.b, b);
        }
        buttons
    }
}

impl Iterator for RawBoard<'_> {
    type Item = Report;

    fn next(&mut self) -> Option<Report> {
        while self.time < self.ends {
            self.time += self.sampling.step(&mut self.chance);
            let buttons = self.sample();
            if self.sampling.reporting == Reporting::OnChange && self.sent == Some(buttons) {
                continue;
            }
            self.sent = Some(buttons);
            self.read_last = self.sampling.read_at(self.time, &mut self.chance).max(self.read_last);
            return Some(Report { at: self.read_last, buttons });
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Chance, Hand};
    use rotary_encoder_embedded::Direction;
    use rotary_encoder_embedded::quadrature::QuadratureTableMode;

    fn wheel(seed: u64, edges_per_turn: u32, peak: f64) -> Wheel {
        let mut chance = Chance::new(seed);
        let motion = Hand::wrist(peak).turns(0.0, 5.0, &mut chance);
        let encoder = Encoder::ideal(edges_per_turn)
            .with_phase_error(&mut chance)
            .with_bounce(&mut chance)
            .with_sliding_noise(&mut chance);
        Wheel { motion, encoder, detents: None, offset: 0.5 }
    }

    /// The crate rotary-encoder-embedded, which decodes by the published table, must find every edge where
    /// there is less than half an edge per report.
    #[test]
    fn a_published_decoder_finds_the_truth_where_sampling_is_fast_enough() {
        let (a, b) = (ButtonNumber::new(1).unwrap(), ButtonNumber::new(2).unwrap());
        for (seed, reporting) in (0..10).flat_map(|s| [(s, Reporting::Fixed), (s, Reporting::OnChange)]) {
            let wheel = wheel(seed, 96, 1.0);
            let mut board =
                RawBoard::new(Sampling::every(0.001, reporting), Chance::new(seed)).with(&wheel, a, b);
            let first = board.next().unwrap();
            let start = board.edges(0);
            let mut oracle = QuadratureTableMode::new(1);
            oracle.update(first.buttons.pressed(a), first.buttons.pressed(b));
            let mut sum = 0;
            while let Some(report) = board.next() {
                // That crate calls A-leads-B clockwise when its dt is A and its clk is B.
                match oracle.update(report.buttons.pressed(a), report.buttons.pressed(b)) {
                    Direction::Clockwise => sum += 1,
                    Direction::Anticlockwise => sum -= 1,
                    Direction::None => {}
                }
                assert_eq!(sum, board.edges(0) - start, "seed {seed}, {reporting:?}, {}", report.at);
            }
        }
    }

    #[test]
    fn reports_on_change_are_those_of_a_fixed_board_without_the_repeats() {
        let (a, b) = (ButtonNumber::new(1).unwrap(), ButtonNumber::new(2).unwrap());
        let wheel = wheel(1, 400, 2.0);
        let run = |reporting| -> Vec<Report> {
            RawBoard::new(Sampling::every(0.004, reporting), Chance::new(9)).with(&wheel, a, b).collect()
        };
        let mut fixed = run(Reporting::Fixed);
        let all = fixed.len();
        fixed.dedup_by_key(|report| report.buttons);
        assert_eq!(fixed, run(Reporting::OnChange));
        assert!(fixed.len() < all * 4 / 5);
    }

    #[test]
    fn intervals_keep_to_their_jitter() {
        let wheel = wheel(1, 96, 1.0);
        let (a, b) = (ButtonNumber::new(1).unwrap(), ButtonNumber::new(2).unwrap());
        let board =
            RawBoard::new(Sampling::every(0.008, Reporting::Fixed), Chance::new(2)).with(&wheel, a, b);
        let times: Vec<_> = board.map(|report| report.at.nanos()).collect();
        let gaps: Vec<_> = times.windows(2).map(|w| w[1] - w[0]).collect();
        assert!(gaps.iter().all(|gap| (7_200_000..=8_800_000).contains(gap)));
        assert!(gaps.iter().any(|gap| *gap < 7_400_000) && gaps.iter().any(|gap| *gap > 8_600_000));
    }
}
