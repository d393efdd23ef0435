//! Whether uneven gaps come of uneven samples or of uneven readings.
//!
//! A reading that is late makes the gap before it longer and the one after it shorter, so gaps are correlated by -1/2;
//! sampling that is uneven by itself leaves no correlation. That is the local level model, a random walk seen through
//! noise, whose best estimate is exponential smoothing (J. F. Muth, "Optimal properties of exponentially weighted
//! forecasts", Journal of the American Statistical Association 55 (1960); from memory).

use crate::parameters::jitter::{LEAST_GAIN, MEMORY, PRESUMED_READING, PRESUMED_SAMPLE, SHRINKS, TUNED_EACH};

/// The variance of gaps and the covariance of neighbours, in intervals^2.
#[derive(Debug, Clone, Copy)]
pub(super) struct Jitter {
    variance: f32,
    covariance: f32,
    last: f32,
    seen: u8,
    gain: f32,
    reading: f32,
    sample: f32,
}

impl Jitter {
    pub(super) fn presumed() -> Self {
        let (reading, sample) = (PRESUMED_READING * PRESUMED_READING, PRESUMED_SAMPLE * PRESUMED_SAMPLE);
        let mut jitter = Self {
            variance: sample + 2.0 * reading,
            covariance: -reading,
            last: 0.0,
            seen: 0,
            gain: 1.0,
            reading: 0.0,
            sample: 0.0,
        };
        jitter.tune();
        jitter
    }

    /// Takes a gap that was longer by so much of an interval than a whole number of them.
    #[inline]
    pub(super) fn gap(&mut self, off: f32) {
        self.variance += (off * off - self.variance) / MEMORY;
        self.covariance += (off * self.last - self.covariance) / MEMORY;
        self.last = off;
        self.seen += 1;
        if self.seen == TUNED_EACH {
            self.tune();
        }
    }

    /// The next gap is not the neighbour of the last.
    pub(super) fn part(&mut self) {
        self.last = 0.0;
    }

    #[cold]
    fn tune(&mut self) {
        self.seen = 0;
        let sample = ((1.0 - SHRINKS) * self.variance + 2.0 * self.covariance).max(0.0);
        let reading = (-self.covariance).max(0.02 * self.variance).max(1e-9);
        let ratio = sample / reading;
        self.gain = (((ratio * ratio + 4.0 * ratio).sqrt() - ratio) / 2.0).max(LEAST_GAIN);
        self.reading = reading.sqrt();
        self.sample = (self.variance + 2.0 * self.covariance).max(0.0).sqrt();
    }

    /// How much of what a reading is off the beat belongs to the sample, 0 to 1.
    #[inline]
    pub(super) const fn gain(&self) -> f32 {
        self.gain
    }

    /// Standard deviation of readings, in intervals.
    #[inline]
    pub(super) const fn reading(&self) -> f32 {
        self.reading
    }

    /// Standard deviation of the time between two samples, in intervals.
    #[inline]
    pub(super) const fn sample(&self) -> f32 {
        self.sample
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers between -1 and 1 (a linear congruential generator; D. E. Knuth, The Art of Computer Programming 2, 3.3.4,
    /// line 26; from memory).
    fn noise(count: u32) -> impl Iterator<Item = f32> {
        let mut state = 1_u64;
        (0..count).map(move |_| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            f32::from(u16::try_from(state >> 48).unwrap()) / 32_768.0 - 1.0
        })
    }

    #[test]
    fn late_readings_are_smoothed_and_uneven_samples_are_not() {
        let (mut readings, mut samples) = (Jitter::presumed(), Jitter::presumed());
        let mut before = 0.0;
        for late in noise(600) {
            readings.gap(0.1 * (late - before));
            samples.gap(0.1 * late);
            before = late;
        }
        assert!(readings.gain() < 0.2, "{readings:?}");
        assert!((0.03..0.09).contains(&readings.reading()), "{readings:?}");
        assert!(samples.gain() > 0.7, "{samples:?}");
        assert!((0.04..0.075).contains(&samples.sample()), "{samples:?}");
    }
}
