//! How many datagrams are looked at. No I/O and no clock.

use tallywheel_units::Timestamp;

/// Lets so many through in a second, and as many at once after a second without any.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bucket {
    per_second: u64,
    /// In billionths of one.
    filled: u64,
    at: Timestamp,
}

const ONE: u64 = 1_000_000_000;

impl Bucket {
    /// A full one.
    pub(super) const fn new(per_second: u64) -> Self {
        Self { per_second, filled: per_second.saturating_mul(ONE), at: Timestamp::START }
    }

    /// Whether one more may go through at `at`.
    pub(super) fn take(&mut self, at: Timestamp) -> bool {
        let passed = at.nanos().saturating_sub(self.at.nanos());
        self.at = at;
        let full = self.per_second.saturating_mul(ONE);
        self.filled = self.filled.saturating_add(passed.saturating_mul(self.per_second)).min(full);
        let left = self.filled.checked_sub(ONE);
        self.filled = left.unwrap_or(self.filled);
        left.is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flood_gets_its_share_and_a_trickle_all() {
        let mut bucket = Bucket::new(100);
        let through = |bucket: &mut Bucket, from_ms: u64, every_us: u64, number: u64| {
            let at = |n| Timestamp::from_micros(from_ms * 1000 + n * every_us);
            (0..number).filter(|n| bucket.take(at(*n))).count()
        };
        assert_eq!(through(&mut bucket, 0, 0, 1000), 100, "at once");
        assert_eq!(through(&mut bucket, 0, 10, 100_000), 99, "in the second after");
        assert_eq!(through(&mut bucket, 10_000, 20_000, 500), 500, "50 a second");
        assert_eq!(through(&mut bucket, 1_000_000, 0, 1000), 100, "no more after a long rest");
    }
}
