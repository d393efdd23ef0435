//! Whether a report repeats the one before to the bit.
//!
//! Only a board that reports steadily repeats itself. A wheel that stands still in a report says nothing of the
//! kind: another wheel or an axis of the same board may have changed.

/// Reports longer than this are taken for different; full-speed USB sends no more at a time (USB 2.0, 5.7.3).
const LONGEST_BYTES: usize = 64;

/// Keeps the last report.
#[derive(Debug, Clone)]
pub(super) struct Repeats {
    last: [u8; LONGEST_BYTES],
    length: usize,
}

impl Default for Repeats {
    fn default() -> Self {
        Self { last: [0; LONGEST_BYTES], length: 0 }
    }
}

impl Repeats {
    /// The next report does not follow on the last one that was kept.
    pub(super) const fn forget(&mut self) {
        self.length = 0;
    }

    /// Whether `report` is as the one before; it is kept for the next.
    #[inline]
    pub(super) fn is_one(&mut self, report: &[u8]) -> bool {
        if self.length != 0 && self.last.get(..self.length) == Some(report) {
            return true;
        }
        self.length = 0;
        if let Some(last) = self.last.get_mut(..report.len()) {
            last.copy_from_slice(report);
            self.length = report.len();
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_same_bytes_repeat() {
        let mut repeats = Repeats::default();
        let told = |repeats: &mut Repeats, reports: &[&[u8]]| -> Vec<bool> {
            reports.iter().map(|report| repeats.is_one(report)).collect()
        };
        assert_eq!(
            told(&mut repeats, &[&[1, 2], &[1, 2], &[1], &[1], &[1, 0]]),
            [false, true, false, true, false]
        );
        assert_eq!(told(&mut repeats, &[&[], &[]]), [false, false], "an empty report says nothing");
        assert_eq!(
            told(&mut repeats, &[&[7; 64], &[7; 64], &[7; 65], &[7; 65]]),
            [false, true, false, false]
        );
    }
}
