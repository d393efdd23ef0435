//! The choice among paths: of all that are offered after a tick the likeliest are kept.

use super::gains::Shared;
use super::hand::PACES;
use super::paths::{KEPT, Path, Paths};

/// Paths that are less likely than the best by this logarithm are dropped: 1 in 9 million.
pub(super) const DROPPED: f32 = 16.0;

/// The key of a place where no path is: that of one 2^28 edges back, where no hand comes.
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

/// Paths on offer, in no order.
///
/// A tick makes some hundred offers of 24 paths, and each has to be compared with all that are there already. So what
/// the comparison looks at first lies side by side, for the processor to compare many at once.
#[derive(Debug)]
pub(super) struct Offers {
    kept: [Path; KEPT],
    /// Paths that are alike have the same key.
    keys: [i32; KEPT],
    weights: [f32; KEPT],
    length: usize,
    floor: f32,
}

impl Offers {
    pub(super) const fn none() -> Self {
        Self {
            kept: [Path::REST; KEPT],
            keys: [NO_PATH; KEPT],
            weights: [f32::MAX; KEPT],
            length: 0,
            floor: f32::MIN,
        }
    }

    /// What is not likelier than this need not be offered.
    #[inline]
    pub(super) const fn floor(&self) -> f32 {
        self.floor
    }

    /// Takes a path in if it is among the likeliest. Of two that are alike the likelier stays.
    #[inline]
    pub(super) fn offer(&mut self, path: Path, shared: &[Shared; PACES]) {
        if path.weight <= self.floor {
            return;
        }
        let mut same = places(&self.keys, path.key());
        if same != 0 {
            let near = shared.get(usize::from(path.pace)).copied().unwrap_or_default();
            while same != 0 {
                let place = first(same);
                if let Some(other) = self.kept.get(place)
                    && other.is_like(&path, near)
                {
                    if path.weight > other.weight {
                        self.put(place, path);
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
            first(places(&self.weights, least(&self.weights)))
        };
        self.put(place, path);
    }

    #[inline]
    fn put(&mut self, place: usize, path: Path) {
        if let (Some(slot), Some(key), Some(weight)) =
            (self.kept.get_mut(place), self.keys.get_mut(place), self.weights.get_mut(place))
        {
            (*slot, *key, *weight) = (path, path.key(), path.weight);
        }
        self.floor = self.floor.max(path.weight - DROPPED);
        if self.length == KEPT {
            // What is not likelier than all that are kept changes nothing: if it is like one of them, that stays.
            self.floor = self.floor.max(least(&self.weights));
        }
    }

    /// What is kept, and by how much its best differs from a weight of 0; `None` where there is no path.
    pub(super) fn rank(&self) -> Option<(f32, Paths)> {
        let offers = self.kept.get(..self.length)?;
        let best = offers.iter().reduce(|best, path| if path.weight > best.weight { path } else { best })?;
        let mut paths = Paths::only(*best);
        for path in offers {
            if path.weight >= self.floor && !std::ptr::eq(path, best) {
                paths.add(Path { weight: path.weight - best.weight, ..*path });
            }
        }
        Some((best.weight, paths))
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

/// The least of all weights, by eights and then among eight, as the processor does eight at a time.
#[inline]
fn least(weights: &[f32; KEPT]) -> f32 {
    let less = |one: f32, other: f32| if other < one { other } else { one };
    let mut eight = [f32::MAX; 8];
    for some in weights.chunks_exact(8) {
        for (one, other) in eight.iter_mut().zip(some) {
            *one = less(*one, *other);
        }
    }
    eight.into_iter().fold(f32::MAX, less)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NEAR: [Shared; PACES] =
        [Shared { keeps: 1.0, to_speed: 1.0, to_position: 0.5, same_speed: 0.1, same_acceleration: 0.1 };
            PACES];

    fn moving(edges: i32, weight: f32, speed: f32) -> Path {
        Path { edges, weight, speed, pace: 0, ..Path::REST }
    }

    #[test]
    fn of_paths_that_are_alike_the_likelier_stays() {
        let mut offers = Offers::none();
        for path in [moving(4, -2.0, 1.0), moving(4, -1.0, 1.05), moving(4, -1.5, 1.02), moving(4, -3.0, 1.3)]
        {
            offers.offer(path, &NEAR);
        }
        let (weight, paths) = offers.rank().unwrap();
        assert!((weight + 1.0).abs() < 1e-6);
        let kept: Vec<_> = paths.iter().map(|path| (path.weight, path.speed)).collect();
        assert_eq!(kept, [(0.0, 1.05), (-2.0, 1.3)]);
    }

    #[test]
    fn paths_at_rest_are_alike_where_their_edges_are() {
        let mut offers = Offers::none();
        for edges in [0, 4, 0, 8] {
            offers.offer(Path { edges, ..Path::REST }, &NEAR);
        }
        assert_eq!(offers.rank().unwrap().1.iter().count(), 3);
    }

    #[test]
    fn the_likeliest_are_kept_and_the_hopeless_dropped() {
        let mut offers = Offers::none();
        for edges in 0..40_i16 {
            offers.offer(moving(edges.into(), -0.1 * f32::from((edges - 20).abs()), 0.0), &NEAR);
        }
        let (_, paths) = offers.rank().unwrap();
        assert_eq!(paths.iter().count(), KEPT);
        assert!(paths.iter().all(|path| usize::try_from((path.edges - 20).abs()).unwrap() <= KEPT / 2));
        offers.offer(moving(99, 30.0, 0.0), &NEAR);
        let (weight, paths) = offers.rank().unwrap();
        assert!((weight - 30.0).abs() < 1e-6);
        assert_eq!(paths.iter().map(|path| path.edges).collect::<Vec<_>>(), [99]);
        assert!(Offers::none().rank().is_none());
    }
}
