//! A hypothesis, and those that are still possible, of which there is a limited number.

use super::gains::Shared;
use crate::parameters::hypotheses::KEPT;
use crate::parameters::limits::MODELS;

/// The model of a hypothesis that stands still.
const RESTING: u8 = u8::MAX;

/// One explanation of the phases since the tally was last certain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hypothesis {
    /// Edges since then.
    pub(super) edges: i32,
    /// Logarithm of its likelihood, that of the best being 0.
    pub(super) log_likelihood: f32,
    /// Where it is, in edges from the middle of the state that the lines show.
    pub(super) place: f32,
    /// In edges per tick.
    pub(super) speed: f32,
    /// In edges per tick^2.
    pub(super) acceleration: f32,
    /// Its model; more than there are for a hypothesis that rests.
    pub(super) model: u8,
    /// Ticks since it began to move, as far as the gains care.
    pub(super) age: u8,
    /// Ticks since it began to move.
    pub(super) moving: u16,
    /// Ticks since the last sample whose number is certain.
    pub(super) lag: u8,
}

impl Hypothesis {
    /// Standing still.
    pub(super) const REST: Self = Self {
        edges: 0,
        log_likelihood: 0.0,
        place: 0.0,
        speed: 0.0,
        acceleration: 0.0,
        model: RESTING,
        age: 0,
        moving: 0,
        lag: 0,
    };

    pub(super) const fn rests(&self) -> bool {
        self.model == RESTING
    }

    /// The same for all that it may be like.
    #[inline]
    pub(super) const fn key(&self) -> i32 {
        // Edges and model, in one number: there are fewer than 8 models.
        const { assert!(MODELS < 8) };
        (self.edges << 3) | i32::from_le_bytes([self.model & 7, 0, 0, 0])
    }

    /// Whether nothing that matters distinguishes the two: their futures are the same.
    #[inline]
    pub(super) fn is_like(&self, other: &Self, near: Shared) -> bool {
        self.edges == other.edges
            && self.lag == other.lag
            && self.model == other.model
            && (self.rests()
                || ((self.speed - other.speed).abs() < near.same_speed
                    && (self.acceleration - other.acceleration).abs() < near.same_acceleration))
    }
}

/// The hypotheses that are still possible, the likeliest first and with a log_likelihood of 0.
#[derive(Debug, Clone)]
pub(super) struct Hypotheses {
    kept: [Hypothesis; KEPT],
    length: usize,
}

impl Hypotheses {
    pub(super) const fn only(hypothesis: Hypothesis) -> Self {
        let mut kept = [Hypothesis::REST; KEPT];
        kept[0] = Hypothesis { log_likelihood: 0.0, ..hypothesis };
        Self { kept, length: 1 }
    }

    /// One that is less likely than the first.
    #[inline]
    pub(super) fn add(&mut self, hypothesis: Hypothesis) {
        if let Some(slot) = self.kept.get_mut(self.length) {
            *slot = hypothesis;
            self.length += 1;
        }
    }

    #[inline]
    pub(super) fn iter(&self) -> std::slice::Iter<'_, Hypothesis> {
        self.kept.get(..self.length).unwrap_or(&[]).iter()
    }

    #[inline]
    pub(super) fn iter_mut(&mut self) -> std::slice::IterMut<'_, Hypothesis> {
        self.kept.get_mut(..self.length).unwrap_or(&mut []).iter_mut()
    }

    /// Those with this lag, and the log_likelihood of the likeliest of them, which is 0 among them; `None` where there are none.
    pub(super) fn with_lag(&self, lag: u8) -> Option<(f32, Self)> {
        let some = || self.iter().filter(|hypothesis| hypothesis.lag == lag);
        let best =
            some().reduce(
                |best, hypothesis| {
                    if hypothesis.log_likelihood > best.log_likelihood { hypothesis } else { best }
                },
            )?;
        let mut hypotheses = Self::only(*best);
        for hypothesis in some().filter(|hypothesis| !std::ptr::eq(*hypothesis, best)) {
            hypotheses.add(Hypothesis {
                log_likelihood: hypothesis.log_likelihood - best.log_likelihood,
                ..*hypothesis
            });
        }
        Some((best.log_likelihood, hypotheses))
    }

    /// All of them have this lag.
    pub(super) fn set_lag(&mut self, lag: u8) {
        self.iter_mut().for_each(|hypothesis| hypothesis.lag = lag);
    }

    /// The likeliest.
    #[inline]
    pub(super) const fn best(&self) -> &Hypothesis {
        &self.kept[0]
    }
}
