//! The first reports of a board whose interval is not known yet.

/// Reports that are kept; enough to learn an interval from, and that it is a steady beat.
const KEPT: usize = 128;

/// Reports from the first on, until the interval is known.
#[derive(Debug, Clone)]
pub(super) struct Early {
    kept: [(u64, u8); KEPT],
    length: usize,
    full: bool,
}

impl Early {
    pub(super) const fn new() -> Self {
        Self { kept: [(0, 0); KEPT], length: 0, full: false }
    }

    /// Takes in a report: nanoseconds after the one before, and its phase after that one's.
    pub(super) fn push(&mut self, gap: u64, turn: u8) {
        match self.kept.get_mut(self.length) {
            Some(slot) => {
                *slot = (gap, turn);
                self.length += 1;
            }
            None => self.full = true,
        }
    }

    pub(super) fn clear(&mut self) {
        (self.length, self.full) = (0, false);
    }

    /// Whether all reports are still there.
    pub(super) const fn is_whole(&self) -> bool {
        !self.full
    }

    /// All reports so far, if they were not too many.
    pub(super) fn reports(&self) -> impl Iterator<Item = (u64, u8)> + '_ {
        let length = if self.full { 0 } else { self.length };
        self.kept.iter().take(length).copied()
    }
}
