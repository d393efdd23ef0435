//! The first reports of a board whose interval has not been measured yet.

/// Reports that are kept; enough to measure an interval from.
const KEPT: usize = 128;

/// Reports from the first on, until the interval is measured.
#[derive(Debug, Clone)]
pub(super) struct WarmUpBuffer {
    kept: [(u64, u8); KEPT],
    length: usize,
    full: bool,
    /// The tally before them.
    edges: i64,
}

impl WarmUpBuffer {
    pub(super) const fn new() -> Self {
        Self { kept: [(0, 0); KEPT], length: 0, full: false, edges: 0 }
    }

    /// Takes in a report: nanoseconds after the one before, and its phase after that one's. Before it the tally was
    /// `edges`.
    pub(super) fn push(&mut self, gap: u64, turn: u8, edges: i64) {
        if self.length == 0 {
            self.edges = edges;
        }
        match self.kept.get_mut(self.length) {
            Some(slot) => {
                *slot = (gap, turn);
                self.length += 1;
            }
            None => self.full = true,
        }
    }

    /// Nothing is kept any more.
    #[cfg(test)]
    pub(super) const fn give_up(&mut self) {
        self.full = true;
    }

    pub(super) fn clear(&mut self) {
        (self.length, self.full) = (0, false);
    }

    /// The tally before the reports, if all of them are still there.
    pub(super) fn begins_at(&self) -> Option<i64> {
        (!self.full && self.length > 0).then_some(self.edges)
    }

    /// All reports so far, if they were not too many.
    pub(super) fn reports(&self) -> impl Iterator<Item = (u64, u8)> + '_ {
        let length = if self.full { 0 } else { self.length };
        self.kept.iter().take(length).copied()
    }
}
