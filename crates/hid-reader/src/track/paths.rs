//! The paths that are still possible: a set of limited size that keeps the likeliest.

use super::gains::Shared;
use super::hand::PACES;

/// How many paths are kept. With 28 a few more of the runs that nobody can follow come out right, at twice
/// the time.
const KEPT: usize = 16;

/// Paths that are less likely than the best by this logarithm are dropped: 1 in 9 million.
const DROPPED: f32 = 16.0;

/// The pace of a path that stands still.
const RESTING: u8 = u8::MAX;

/// One explanation of the phases since the tally was last certain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Path {
    /// Edges since then.
    pub(super) edges: i32,
    /// Logarithm of its likelihood, that of the best being 0.
    pub(super) weight: f32,
    /// Where it is, in edges from the middle of the state that the lines show.
    pub(super) place: f32,
    /// In edges per tick.
    pub(super) speed: f32,
    /// In edges per tick^2.
    pub(super) acceleration: f32,
    /// Its pace; more than there are for a path that rests.
    pub(super) pace: u8,
    /// Ticks since it began to move, as far as the gains care.
    pub(super) age: u8,
    /// Ticks since it began to move.
    pub(super) moving: u16,
}

impl Path {
    /// Standing still.
    pub(super) const REST: Self = Self {
        edges: 0,
        weight: 0.0,
        place: 0.0,
        speed: 0.0,
        acceleration: 0.0,
        pace: RESTING,
        age: 0,
        moving: 0,
    };

    pub(super) const fn rests(&self) -> bool {
        self.pace == RESTING
    }

    /// Whether nothing that matters distinguishes the two: their futures are the same.
    #[inline]
    fn is_like(&self, other: &Self, near: Shared) -> bool {
        self.edges == other.edges
            && self.pace == other.pace
            && (self.rests()
                || ((self.speed - other.speed).abs() < near.same_speed
                    && (self.acceleration - other.acceleration).abs() < near.same_acceleration))
    }
}

/// A set of paths, the best first once it is [ranked](Self::rank).
#[derive(Debug, Clone)]
pub(super) struct Paths {
    kept: [Path; KEPT],
    length: usize,
    /// What is less likely than this need not be offered.
    floor: f32,
}

impl Paths {
    pub(super) const fn none() -> Self {
        Self { kept: [Path::REST; KEPT], length: 0, floor: f32::MIN }
    }

    pub(super) fn only(path: Path) -> Self {
        let mut paths = Self::none();
        paths.offer(path, &[Shared::default(); PACES]);
        paths
    }

    #[inline]
    pub(super) fn iter(&self) -> std::slice::Iter<'_, Path> {
        self.kept.get(..self.length).unwrap_or(&[]).iter()
    }

    #[inline]
    pub(super) fn iter_mut(&mut self) -> std::slice::IterMut<'_, Path> {
        self.kept.get_mut(..self.length).unwrap_or(&mut []).iter_mut()
    }

    #[inline]
    pub(super) const fn floor(&self) -> f32 {
        self.floor
    }

    /// The likeliest, once ranked.
    pub(super) fn best(&self) -> Path {
        self.iter().next().copied().unwrap_or(Path::REST)
    }

    /// Takes a path in if it is among the likeliest. Of two that are alike the likelier stays.
    #[inline]
    pub(super) fn offer(&mut self, path: Path, shared: &[Shared; PACES]) {
        if path.weight < self.floor {
            return;
        }
        let near = shared.get(usize::from(path.pace)).copied().unwrap_or_default();
        let mut worst = (0, f32::MAX);
        for (place, other) in self.kept.iter_mut().take(self.length).enumerate() {
            if other.is_like(&path, near) {
                if path.weight > other.weight {
                    *other = path;
                    self.floor = self.floor.max(path.weight - DROPPED);
                }
                return;
            }
            if other.weight < worst.1 {
                worst = (place, other.weight);
            }
        }
        let place = if self.length < KEPT {
            self.length += 1;
            self.length - 1
        } else if path.weight > worst.1 {
            worst.0
        } else {
            return;
        };
        if let Some(slot) = self.kept.get_mut(place) {
            *slot = path;
        }
        self.floor = self.floor.max(path.weight - DROPPED);
    }

    /// Drops what has become too unlikely, puts the best first and makes its weight 0. Returns what that was,
    /// or `None` where there is no path.
    pub(super) fn rank(&mut self) -> Option<f32> {
        let (mut kept, mut best) = (0, (0, f32::MIN));
        for place in 0..self.length {
            let Some(path) = self.kept.get(place).copied() else { break };
            if path.weight < self.floor {
                continue;
            }
            if path.weight > best.1 {
                best = (kept, path.weight);
            }
            if let Some(slot) = self.kept.get_mut(kept) {
                *slot = path;
            }
            kept += 1;
        }
        self.length = kept;
        if kept == 0 {
            return None;
        }
        self.kept.swap(0, best.0);
        self.kept.iter_mut().take(kept).for_each(|path| path.weight -= best.1);
        self.floor = f32::MIN;
        Some(best.1)
    }
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
        let mut paths = Paths::none();
        for path in [moving(4, -2.0, 1.0), moving(4, -1.0, 1.05), moving(4, -1.5, 1.02), moving(4, -3.0, 1.3)]
        {
            paths.offer(path, &NEAR);
        }
        assert_eq!(paths.rank(), Some(-1.0));
        let kept: Vec<_> = paths.iter().map(|path| (path.weight, path.speed)).collect();
        assert_eq!(kept, [(0.0, 1.05), (-2.0, 1.3)]);
    }

    #[test]
    fn paths_at_rest_are_alike_where_their_edges_are() {
        let mut paths = Paths::none();
        for edges in [0, 4, 0, 8] {
            paths.offer(Path { edges, ..Path::REST }, &NEAR);
        }
        assert_eq!(paths.iter().count(), 3);
    }

    #[test]
    fn the_likeliest_are_kept_and_the_hopeless_dropped() {
        let mut paths = Paths::none();
        for edges in 0..40_i16 {
            paths.offer(moving(edges.into(), -0.1 * f32::from((edges - 20).abs()), 0.0), &NEAR);
        }
        assert_eq!(paths.iter().count(), KEPT);
        assert!(paths.iter().all(|path| (path.edges - 20).abs() <= 8));
        paths.offer(moving(99, 30.0, 0.0), &NEAR);
        assert_eq!(paths.rank(), Some(30.0));
        assert_eq!(paths.iter().map(|path| path.edges).collect::<Vec<_>>(), [99]);
        assert_eq!(Paths::none().rank(), None);
    }
}
