//! The choice among hypotheses: of all that are offered after a tick the likeliest are kept.

use super::gains::Shared;
use super::hypotheses::{Hypotheses, Hypothesis};
use crate::parameters::candidates::DROPPED;
use crate::parameters::hypotheses::KEPT;
use crate::parameters::limits::MODELS;

/// The key of a place where no hypothesis is: that of one 2^28 edges back, where no hand comes.
const NO_PATH: i32 = i32::MIN;

/// A bit for each place.
#[expect(
    clippy::indexing_slicing,
    reason = "it is worked out when this is compiled, and would be refused then"
)]
const BITS: [u32; KEPT] = {
    let mut bits = [1; KEPT];
    let mut place = 1;
    while place < KEPT {
        bits[place] = bits[place - 1] << 1;
        place += 1;
    }
    bits
};

/// Hypotheses on offer, in no order.
///
/// A tick makes some hundred offers of 24 hypotheses, and each has to be compared with all that are there already. So what
/// the comparison looks at first lies side by side, for the processor to compare many at once.
#[derive(Debug)]
pub(super) struct CandidateSet {
    kept: [Hypothesis; KEPT],
    /// Hypotheses that are alike have the same key.
    keys: [i32; KEPT],
    log_likelihoods: [f32; KEPT],
    length: usize,
    floor: f32,
}

impl CandidateSet {
    pub(super) const fn none() -> Self {
        Self {
            kept: [Hypothesis::REST; KEPT],
            keys: [NO_PATH; KEPT],
            log_likelihoods: [f32::MAX; KEPT],
            length: 0,
            floor: f32::MIN,
        }
    }

    /// What is not likelier than this need not be offered.
    #[inline]
    pub(super) const fn floor(&self) -> f32 {
        self.floor
    }

    /// Takes a hypothesis in if it is among the likeliest. Of two that are alike the likelier stays.
    #[inline]
    pub(super) fn offer(&mut self, hypothesis: Hypothesis, shared: &[Shared; MODELS]) {
        if hypothesis.log_likelihood <= self.floor {
            return;
        }
        let mut same = places(&self.keys, hypothesis.key());
        if same != 0 {
            let near = shared.get(usize::from(hypothesis.model)).copied().unwrap_or_default();
            while same != 0 {
                let place = first(same);
                if let Some(other) = self.kept.get(place)
                    && other.is_like(&hypothesis, near)
                {
                    if hypothesis.log_likelihood > other.log_likelihood {
                        self.put(place, hypothesis);
                    }
                    return;
                }
                same &= same - 1;
            }
        }
        let place = if self.length < KEPT {
            self.length += 1;
            self.length - 1
        } else {
            first(places(&self.log_likelihoods, least(&self.log_likelihoods)))
        };
        self.put(place, hypothesis);
    }

    #[inline]
    fn put(&mut self, place: usize, hypothesis: Hypothesis) {
        if let (Some(slot), Some(key), Some(log_likelihood)) =
            (self.kept.get_mut(place), self.keys.get_mut(place), self.log_likelihoods.get_mut(place))
        {
            (*slot, *key, *log_likelihood) = (hypothesis, hypothesis.key(), hypothesis.log_likelihood);
        }
        self.floor = self.floor.max(hypothesis.log_likelihood - DROPPED);
        if self.length == KEPT {
            // What is not likelier than all that are kept changes nothing: if it is like one of them, that stays.
            self.floor = self.floor.max(least(&self.log_likelihoods));
        }
    }

    /// What is kept, and by how much its best differs from a log_likelihood of 0; `None` where there is no hypothesis.
    pub(super) fn rank(&self) -> Option<(f32, Hypotheses)> {
        let offers = self.kept.get(..self.length)?;
        let best = offers.iter().reduce(|best, hypothesis| {
            if hypothesis.log_likelihood > best.log_likelihood { hypothesis } else { best }
        })?;
        let mut hypotheses = Hypotheses::only(*best);
        for hypothesis in offers {
            if hypothesis.log_likelihood >= self.floor && !std::ptr::eq(hypothesis, best) {
                hypotheses.add(Hypothesis {
                    log_likelihood: hypothesis.log_likelihood - best.log_likelihood,
                    ..*hypothesis
                });
            }
        }
        Some((best.log_likelihood, hypotheses))
    }
}

/// The places that hold `value`, a bit each.
#[inline]
fn places<T: Copy + PartialEq>(all: &[T; KEPT], value: T) -> u32 {
    all.iter().zip(BITS).fold(0, |places, (one, bit)| places | if *one == value { bit } else { 0 })
}

/// The place of the lowest bit.
#[inline]
fn first(places: u32) -> usize {
    usize::try_from(places.trailing_zeros()).unwrap_or(KEPT)
}

/// The least of all log_likelihoods, by eights and then among eight, as the processor does eight at a time.
#[inline]
fn least(log_likelihoods: &[f32; KEPT]) -> f32 {
    let less = |one: f32, other: f32| if other < one { other } else { one };
    let mut eight = [f32::MAX; 8];
    for some in log_likelihoods.chunks_exact(8) {
        for (one, other) in eight.iter_mut().zip(some) {
            *one = less(*one, *other);
        }
    }
    eight.into_iter().fold(f32::MAX, less)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NEAR: [Shared; MODELS] =
        [Shared { keeps: 1.0, to_speed: 1.0, to_position: 0.5, same_speed: 0.1, same_acceleration: 0.1 };
            MODELS];

    fn moving(edges: i32, log_likelihood: f32, speed: f32) -> Hypothesis {
        Hypothesis { edges, log_likelihood, speed, model: 0, ..Hypothesis::REST }
    }

    #[test]
    fn of_paths_that_are_alike_the_likelier_stays() {
        let mut offers = CandidateSet::none();
        for hypothesis in
            [moving(4, -2.0, 1.0), moving(4, -1.0, 1.05), moving(4, -1.5, 1.02), moving(4, -3.0, 1.3)]
        {
            offers.offer(hypothesis, &NEAR);
        }
        let (log_likelihood, hypotheses) = offers.rank().unwrap();
        assert!((log_likelihood + 1.0).abs() < 1e-6);
        let kept: Vec<_> =
            hypotheses.iter().map(|hypothesis| (hypothesis.log_likelihood, hypothesis.speed)).collect();
        assert_eq!(kept, [(0.0, 1.05), (-2.0, 1.3)]);
    }

    #[test]
    fn paths_at_rest_are_alike_where_their_edges_are() {
        let mut offers = CandidateSet::none();
        for edges in [0, 4, 0, 8] {
            offers.offer(Hypothesis { edges, ..Hypothesis::REST }, &NEAR);
        }
        assert_eq!(offers.rank().unwrap().1.iter().count(), 3);
    }

    #[test]
    fn the_likeliest_are_kept_and_the_hopeless_dropped() {
        let mut offers = CandidateSet::none();
        for edges in 0..40_i16 {
            offers.offer(moving(edges.into(), -0.1 * f32::from((edges - 20).abs()), 0.0), &NEAR);
        }
        let (_, hypotheses) = offers.rank().unwrap();
        assert_eq!(hypotheses.iter().count(), KEPT);
        assert!(
            hypotheses
                .iter()
                .all(|hypothesis| usize::try_from((hypothesis.edges - 20).abs()).unwrap() <= KEPT / 2)
        );
        offers.offer(moving(99, 30.0, 0.0), &NEAR);
        let (log_likelihood, hypotheses) = offers.rank().unwrap();
        assert!((log_likelihood - 30.0).abs() < 1e-6);
        assert_eq!(hypotheses.iter().map(|hypothesis| hypothesis.edges).collect::<Vec<_>>(), [99]);
        assert!(CandidateSet::none().rank().is_none());
    }
}
