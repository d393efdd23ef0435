use crate::{Frame, Output, OutputError};

/// Takes every frame and only counts it.
#[derive(Debug, Default)]
pub struct Null {
    frames: u64,
}

impl Null {
    /// How many frames it has taken.
    #[must_use]
    pub const fn frames(&self) -> u64 {
        self.frames
    }
}

impl Output for Null {
    fn name(&self) -> &str {
        "null"
    }

    fn publish(&mut self, _frame: &Frame<'_>) -> Result<(), OutputError> {
        self.frames = self.frames.saturating_add(1);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tallywheel_units::Timestamp;

    #[test]
    fn every_frame_is_counted() {
        let mut null = Null::default();
        for sequence in 0..3 {
            null.publish(&Frame { at: Timestamp::START, sequence, trims: &[] }).unwrap();
        }
        assert_eq!(null.frames(), 3);
    }
}
