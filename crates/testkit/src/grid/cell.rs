use crate::{Chance, Detents, Encoder, Hand, Reporting, Wheel};

/// Edges per turn: mechanical encoders of 12 and 24 cycles, optical ones of 100, 250 and 600.
const EDGES_PER_TURN: [u32; 5] = [48, 96, 400, 1000, 2400];
/// Report intervals in seconds.
const INTERVALS: [f64; 4] = [0.001, 0.004, 0.008, 0.016];
/// Peak speeds in turns/s.
const PEAKS: [f64; 6] = [0.25, 0.5, 1.0, 2.0, 3.0, 4.0];
/// Up to here an encoder is mechanical: it bounces, and its wheel has detents.
const MECHANICAL: u32 = 128;

/// A wheel on a board, turned by a hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Edges of both lines per turn of the wheel.
    pub edges_per_turn: u32,
    /// The board's report interval in seconds; each one differs by up to 10 %.
    pub interval: f64,
    /// The fastest that the hand turns, in turns/s.
    pub peak: f64,
    /// When the board reports.
    pub reporting: Reporting,
}

impl Cell {
    /// All cells of the grid.
    #[must_use]
    pub fn all() -> Vec<Self> {
        let mut cells = Vec::new();
        for edges_per_turn in EDGES_PER_TURN {
            for interval in INTERVALS {
                for peak in PEAKS {
                    for reporting in [Reporting::Fixed, Reporting::OnChange] {
                        cells.push(Self { edges_per_turn, interval, peak, reporting });
                    }
                }
            }
        }
        cells
    }

    /// A number that tells the cell from all others.
    pub(super) fn number(&self) -> u64 {
        let place = Self::all().iter().position(|cell| cell == self).unwrap_or_default();
        u64::try_from(place).unwrap_or_default()
    }

    /// A wheel and a hand, drawn from `chance`: phase error 0.25 T +- 0.1 T, and with a mechanical encoder
    /// bounce and sliding noise to the data sheets (see [`Encoder`]) and a detent for each cycle.
    pub(super) fn wheel(&self, seconds: f64, chance: &mut Chance) -> Wheel {
        let mechanical = self.edges_per_turn <= MECHANICAL;
        let per_turn = self.edges_per_turn / 4;
        let hand = Hand { detents: mechanical.then_some(per_turn), ..Hand::wrist(self.peak) };
        let motion = hand.turns(chance.between(0.0, 1.0), seconds, chance);
        let mut encoder = Encoder::ideal(self.edges_per_turn).with_phase_error(chance);
        if mechanical {
            encoder = encoder.with_bounce(chance).with_sliding_noise(chance);
        }
        let detents = mechanical.then_some(Detents { per_turn, depth: 0.6, half_at: 0.2 });
        Wheel { motion, encoder, detents, offset: if mechanical { 0.5 } else { chance.between(0.0, 1.0) } }
    }
}
