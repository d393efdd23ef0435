//! A path, and those that are still possible, of which there is a limited number.

use super::gains::Shared;
use super::hand::PACES;

/// How many paths are kept. With 16 a stroke that begins in both directions at once may lose its true path.
pub(super) const KEPT: usize = 24;

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
    /// Ticks since the last sample whose number is certain.
    pub(super) lag: u8,
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
        lag: 0,
    };

    pub(super) const fn rests(&self) -> bool {
        self.pace == RESTING
    }

    /// The same for all that it may be like.
    #[inline]
    pub(super) const fn key(&self) -> i32 {
        // Edges and pace, in one number: there are fewer than 8 paces.
        const { assert!(PACES < 8) };
        (self.edges << 3) | i32::from_le_bytes([self.pace & 7, 0, 0, 0])
    }

    /// Whether nothing that matters distinguishes the two: their futures are the same.
    #[inline]
    pub(super) fn is_like(&self, other: &Self, near: Shared) -> bool {
        self.edges == other.edges
            && self.lag == other.lag
            && self.pace == other.pace
            && (self.rests()
                || ((self.speed - other.speed).abs() < near.same_speed
                    && (self.acceleration - other.acceleration).abs() < near.same_acceleration))
    }
}

/// The paths that are still possible, the likeliest first and with a weight of 0.
#[derive(Debug, Clone)]
pub(super) struct Paths {
    kept: [Path; KEPT],
    length: usize,
}

impl Paths {
    pub(super) const fn only(path: Path) -> Self {
        let mut kept = [Path::REST; KEPT];
        kept[0] = Path { weight: 0.0, ..path };
        Self { kept, length: 1 }
    }

    /// One that is less likely than the first.
    #[inline]
    pub(super) fn add(&mut self, path: Path) {
        if let Some(slot) = self.kept.get_mut(self.length) {
            *slot = path;
            self.length += 1;
        }
    }

    #[inline]
    pub(super) fn iter(&self) -> std::slice::Iter<'_, Path> {
        self.kept.get(..self.length).unwrap_or(&[]).iter()
    }

    #[inline]
    pub(super) fn iter_mut(&mut self) -> std::slice::IterMut<'_, Path> {
        self.kept.get_mut(..self.length).unwrap_or(&mut []).iter_mut()
    }

    /// Those with this lag, and the weight of the likeliest of them, which is 0 among them; `None` where there are none.
    pub(super) fn with_lag(&self, lag: u8) -> Option<(f32, Self)> {
        let some = || self.iter().filter(|path| path.lag == lag);
        let best = some().reduce(|best, path| if path.weight > best.weight { path } else { best })?;
        let mut paths = Self::only(*best);
        for path in some().filter(|path| !std::ptr::eq(*path, best)) {
            paths.add(Path { weight: path.weight - best.weight, ..*path });
        }
        Some((best.weight, paths))
    }

    /// All of them have this lag.
    pub(super) fn set_lag(&mut self, lag: u8) {
        self.iter_mut().for_each(|path| path.lag = lag);
    }

    /// The likeliest.
    #[inline]
    pub(super) const fn best(&self) -> &Path {
        &self.kept[0]
    }
}
