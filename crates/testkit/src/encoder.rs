use crate::chance::fixed_noise;
use crate::whole::{floor, real};
use crate::{Chance, Cursor, Motion};

/// An incremental encoder's two lines, as a data sheet describes them. Lengths are in edges (a quarter of a
/// cycle) unless they say otherwise.
#[derive(Debug, Clone)]
pub struct Encoder {
    edges_per_turn: u32,
    /// How far edge n lies from place n, for n mod 4.
    shifts: [f64; 4],
    /// How much a single edge may lie off in addition.
    scatter: f64,
    /// How wide the place around an edge is where its contact chatters.
    chatter: f64,
    /// How long a stretch of sliding noise is.
    noise: f64,
    seed: u64,
}

impl Encoder {
    /// Ideal lines: every edge in its place.
    #[must_use]
    pub const fn ideal(edges_per_turn: u32) -> Self {
        Self { edges_per_turn, shifts: [0.0; 4], scatter: 0.0, chatter: 0.0, noise: 0.0, seed: 0 }
    }

    /// A phase difference of 0.25 T +- 0.1 T (EC16 data sheet, facts 2.4): no state is shorter than 0.15 T,
    /// which is 0.6 edges. Where the four edges lie is drawn once for the encoder, and each edge differs a
    /// little from its pattern.
    #[must_use]
    pub fn with_phase_error(mut self, chance: &mut Chance) -> Self {
        // Edges 0 and 2 belong to A, 1 and 3 to B. The pattern takes up to 0.17 edges either way and the
        // scatter 0.03, so that no two neighbours come nearer than 1 - 2 * 0.2 = 0.6 edges.
        self.shifts = std::array::from_fn(|_| chance.between(-0.17, 0.17));
        self.scatter = 0.03;
        self.seed = chance.seed();
        self
    }

    /// Edges that lie up to 0.3 edges off their places, as worn or cheap encoders have them (common practice, no source).
    #[must_use]
    pub fn with_uneven_phases(mut self, chance: &mut Chance) -> Self {
        self.shifts = std::array::from_fn(|_| chance.between(-0.3, 0.3));
        self.seed = chance.seed();
        self
    }

    /// Contact bounce of a mechanical encoder: 2 ms (PEC11R, PEC12R data sheets) to 5 ms (PEC11) at 15 rpm
    /// (facts 2.4). It belongs to a place on the track rather than to a time, so it is taken as a length,
    /// 0.0005 to 0.00125 turns around each edge. While the wheel stands still, so do the contacts.
    #[must_use]
    pub fn with_bounce(mut self, chance: &mut Chance) -> Self {
        self.chatter = 0.25 * chance.between(0.002, 0.005) * f64::from(self.edges_per_turn);
        self.seed = chance.seed();
        self
    }

    /// Sliding noise of a mechanical encoder: at most 2 ms at 360 degrees/s (EC16, DPL12 data sheets, facts
    /// 2.4), so up to 0.002 turns long, in the middle of one state out of thirty.
    #[must_use]
    pub fn with_sliding_noise(mut self, chance: &mut Chance) -> Self {
        self.noise = chance.between(0.0, 0.002) * f64::from(self.edges_per_turn);
        self.seed = chance.seed();
        self
    }

    /// Edges per turn, four for each cycle.
    #[must_use]
    pub const fn edges_per_turn(&self) -> u32 {
        self.edges_per_turn
    }

    /// Where edge `n` is, in edges.
    fn edge(&self, n: i64) -> f64 {
        let shift = match n.rem_euclid(4) {
            0 => self.shifts[0],
            1 => self.shifts[1],
            2 => self.shifts[2],
            _ => self.shifts[3],
        };
        let scatter = if self.scatter > 0.0 {
            self.scatter * (2.0 * fixed_noise(self.seed, n.cast_unsigned()) - 1.0)
        } else {
            0.0
        };
        real(n) + shift + scatter
    }

    /// The number of edges at or below `position` (in edges): what perfect contacts would show.
    #[must_use]
    pub fn edges_passed(&self, position: f64) -> i64 {
        let n = floor(position);
        if self.edge(n + 1) <= position {
            n + 1
        } else if self.edge(n) <= position {
            n
        } else {
            n - 1
        }
    }

    /// What the lines show at `position` (in edges) and `moment` (in s): the edges passed, or one more or less
    /// while a contact chatters or slides. This is the truth that a decoder can know.
    #[must_use]
    pub fn shows(&self, position: f64, moment: f64) -> i64 {
        let passed = self.edges_passed(position);
        let slot = floor(moment * 1e4); // a chattering contact may change ten times in a millisecond
        let wavers = |edge: i64| {
            (position - self.edge(edge)).abs() < self.chatter / 2.0
                && fixed_noise(
                    self.seed ^ 0xC0,
                    edge.wrapping_mul(0x1_0001).wrapping_add(slot).cast_unsigned(),
                ) < 0.5
        };
        if self.chatter > 0.0 {
            if wavers(passed) {
                return passed - 1;
            }
            if wavers(passed + 1) {
                return passed + 1;
            }
        }
        if self.noise > 0.0 && fixed_noise(self.seed ^ 0x51, passed.cast_unsigned()) < 1.0 / 30.0 {
            let middle = (self.edge(passed) + self.edge(passed + 1)) / 2.0;
            if (position - middle).abs() < self.noise / 2.0 {
                let up = fixed_noise(self.seed ^ 0xAB, passed.cast_unsigned()) < 0.5;
                return if up { passed + 1 } else { passed - 1 };
            }
        }
        passed
    }

    /// The levels of lines A and B after `edges` edges; A leads B when the number grows (facts 2.1:
    /// 00 -> 10 -> 11 -> 01 -> 00).
    #[must_use]
    pub const fn lines(edges: i64) -> (bool, bool) {
        match edges.rem_euclid(4) {
            0 => (false, false),
            1 => (true, false),
            2 => (true, true),
            _ => (false, true),
        }
    }
}

/// What a wheel with detents adds to a hand's motion: it hurries out of one detent and into the next.
#[derive(Debug, Clone, Copy)]
pub struct Detents {
    /// Detents in a turn.
    pub per_turn: u32,
    /// How strong they are, 0 to 1; at 1 the wheel would stand still on top of each detent.
    pub depth: f64,
    /// The speed in turns/s at which the wheel's own mass halves their effect.
    pub half_at: f64,
}

impl Detents {
    fn bend(&self, position: f64, speed: f64) -> f64 {
        let parts = f64::from(self.per_turn);
        let ease = 1.0 / (1.0 + (speed / self.half_at) * (speed / self.half_at));
        position
            - ease * self.depth * (std::f64::consts::TAU * parts * position).sin()
                / (std::f64::consts::TAU * parts)
    }
}

/// A wheel: how it moves and what its encoder shows.
#[derive(Debug, Clone)]
pub struct Wheel {
    /// How it is turned.
    pub motion: Motion,
    /// Its encoder.
    pub encoder: Encoder,
    /// Its detents.
    pub detents: Option<Detents>,
    /// Where place 0 of the motion lies on the encoder, in edges; 0.5 is the middle of a state.
    pub offset: f64,
}

/// Where a reader of a [`Wheel`] is.
#[derive(Debug, Clone, Copy, Default)]
pub struct WheelCursor {
    motion: Cursor,
    moved_last: f64,
}

impl Wheel {
    /// The number of edges that the lines show at `time` seconds, which must not run backwards for one cursor.
    pub fn edges(&self, cursor: &mut WheelCursor, time: f64) -> i64 {
        let turns = self.motion.position(&mut cursor.motion, time);
        let speed = self.motion.speed(&mut cursor.motion, time);
        if speed != 0.0 {
            cursor.moved_last = time;
        }
        let turns = self.detents.map_or(turns, |d| d.bend(turns, speed));
        self.encoder.shows(turns * f64::from(self.encoder.edges_per_turn) + self.offset, cursor.moved_last)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_state_is_shorter_than_the_data_sheet_says() {
        // EC16 data sheet (facts 2.4): phase difference 0.25 T +- 0.1 T, so the shortest state is 0.15 T.
        let mut shortest = f64::MAX;
        for seed in 0..200 {
            let encoder = Encoder::ideal(96).with_phase_error(&mut Chance::new(seed));
            for n in -200..200 {
                let length = encoder.edge(n + 1) - encoder.edge(n);
                assert!((0.6..=1.4).contains(&length), "{length}");
                shortest = shortest.min(length);
            }
        }
        assert!(shortest < 0.66, "the tolerance is not used: {shortest}");
    }

    #[test]
    fn edges_are_counted_once_each_and_never_twice() {
        let encoder = Encoder::ideal(96).with_phase_error(&mut Chance::new(3));
        let mut before = encoder.edges_passed(-50.0);
        assert_eq!(before, -51 + i64::from(encoder.edge(-50) <= -50.0));
        for k in -50_000..50_000 {
            let now = encoder.edges_passed(f64::from(k) / 1000.0);
            assert!(now == before || now == before + 1, "{now} after {before}");
            before = now;
        }
    }

    #[test]
    fn contacts_show_one_edge_off_at_most_and_the_right_number_at_rest_off_an_edge() {
        let mut chance = Chance::new(5);
        let encoder = Encoder::ideal(96)
            .with_phase_error(&mut chance)
            .with_bounce(&mut chance)
            .with_sliding_noise(&mut chance);
        let (mut wrong, steps) = (0, 400_000);
        for k in 0..steps {
            let position = f64::from(k) / 1000.0;
            let off = encoder.shows(position, f64::from(k) * 1e-4) - encoder.edges_passed(position);
            assert!(off.abs() <= 1);
            wrong += u32::from(off != 0);
        }
        let share = f64::from(wrong) / f64::from(steps);
        assert!(share > 0.01 && share < 0.08, "{share}");
    }

    #[test]
    fn a_leads_b_when_counting_up() {
        let turn: Vec<_> = (0..5).map(Encoder::lines).collect();
        assert_eq!(turn, [(false, false), (true, false), (true, true), (false, true), (false, false)]);
        assert_eq!(Encoder::lines(-1), (false, true));
    }

    #[test]
    fn detents_move_nothing_at_a_detent_and_never_turn_the_wheel_back() {
        let detents = Detents { per_turn: 24, depth: 0.9, half_at: 0.5 };
        for k in 0..24 {
            let place = f64::from(k) / 24.0;
            assert!((detents.bend(place, 0.1) - place).abs() < 1e-12);
        }
        let mut before = -1.0;
        for k in 0..10_000 {
            let bent = detents.bend(f64::from(k) / 10_000.0, 0.0);
            assert!(bent > before);
            before = bent;
        }
    }
}
