//! What the filter needs to know for each model, worked out once: gains and likelihoods.
//!
//! The state of a hypothesis is position, speed and acceleration (x, v, a); a model is the Singer model of a
//! manoeuvring target, acceleration as noise with a correlation time. (R. A. Singer, "Estimating optimal
//! tracking filter performance for manned maneuvering targets", IEEE Transactions on Aerospace and Electronic
//! Systems 6 (1970); from memory.) A Kalman filter's covariances do not depend on what is measured, only on
//! when; so for ticks of one length they can be worked out beforehand, for each tick since the hypothesis began to
//! move, until they stand still. All hypotheses of one model and age share them, and a step of a hypothesis is a handful
//! of multiplications.

use super::limits::{ManoeuvreModel, MotionLimits};
use crate::parameters::gains::{AGES, DISTANCES, EDGE_PLACE, MEASUREMENT, NEVER};
use crate::parameters::limits::MODELS;

const _: () = assert!(AGES == 16);

/// What one hypothesis's step at one model and age needs.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Gain {
    pub(super) position: f32,
    pub(super) speed: f32,
    pub(super) acceleration: f32,
    /// 1 / (2 variance of the speed): how well the speed is known when asked whether it may be 0.
    pub(super) stop: f32,
    /// Variance of what is expected to be measured, in edges^2.
    pub(super) variance: f32,
}

/// What all hypotheses of one model share.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Shared {
    /// How much of an acceleration is left after a tick.
    pub(super) keeps: f32,
    /// What a tick of acceleration 1 adds to speed.
    pub(super) to_speed: f32,
    /// What a tick of acceleration 1 adds to position.
    pub(super) to_position: f32,
    /// Hypotheses whose speeds differ by less are one hypothesis.
    pub(super) same_speed: f32,
    /// Hypotheses whose accelerations differ by less are one hypothesis.
    pub(super) same_acceleration: f32,
}

/// All of it.
#[derive(Debug, Clone)]
pub(super) struct Gains {
    pub(super) shared: [Shared; MODELS],
    gains: [[Gain; AGES]; MODELS],
    likelihoods: [[[f32; DISTANCES]; AGES]; MODELS],
}

impl Gains {
    /// All zero; [`Self::work_out`] has to follow.
    pub(super) fn blank() -> Self {
        Self {
            shared: Default::default(),
            gains: Default::default(),
            likelihoods: [[[0.0; DISTANCES]; AGES]; MODELS],
        }
    }

    /// Works all of it out for a hand, in place, as the interval may be learned when nothing is to be
    /// allocated any more. It takes some 0.1 ms.
    pub(super) fn work_out(&mut self, hand: &MotionLimits) {
        for (place, model) in hand.models.iter().enumerate() {
            self.work_out_pace(place, *model);
        }
    }

    #[inline]
    pub(super) fn gain(&self, model: u8, age: u8) -> &Gain {
        const NONE: Gain = Gain { position: 0.0, speed: 0.0, acceleration: 0.0, stop: 0.0, variance: 1.0 };
        self.gains.get(usize::from(model)).and_then(|ages| ages.get(usize::from(age))).unwrap_or(&NONE)
    }

    #[inline]
    pub(super) fn shared(&self, model: u8) -> Shared {
        self.shared.get(usize::from(model)).copied().unwrap_or_default()
    }

    /// The logarithm of the likelihood that a state shows whose middle is `off` edges from where the hypothesis is
    /// expected.
    #[inline]
    pub(super) fn likelihood(&self, model: u8, age: u8, off: f32) -> f32 {
        let place = whole(off.abs() * 8.0);
        let row = self.likelihoods.get(usize::from(model)).and_then(|ages| ages.get(usize::from(age)));
        row.and_then(|row| row.get(place)).copied().unwrap_or(NEVER)
    }

    fn work_out_pace(&mut self, place: usize, model: ManoeuvreModel) {
        let keeps = (-1.0 / model.lasts).exp();
        let to_speed = model.lasts * (1.0 - keeps);
        let to_position = model.lasts * (1.0 - to_speed);
        let q = 2.0 * model.size * model.size / model.lasts;
        // At rest the place within the state is unknown; a stroke begins somewhere within the tick before.
        let variance = model.size * model.size;
        let [mut xx, mut xv, mut xa, mut vv, mut va, mut aa] =
            [1.0 / 12.0 + EDGE_PLACE, 0.0, 0.0, variance, 0.0, variance];
        for age in 0..AGES {
            // F P F' + Q for the state after one tick, Q as for a white jerk of the same power.
            let (fx_v, fx_a) = (xv + vv + to_position * va, xa + va + to_position * aa);
            let (fv_v, fv_a) = (vv + to_speed * va, va + to_speed * aa);
            let p_xx = xx + xv + to_position * xa + fx_v + to_position * fx_a + q / 20.0;
            let p_xv = fx_v + to_speed * fx_a + q / 8.0;
            let p_xa = keeps * fx_a + q / 6.0;
            let p_vv = fv_v + to_speed * fv_a + q / 3.0;
            let p_va = keeps * fv_a + q / 2.0;
            let p_aa = keeps * keeps * aa + q;
            let s = p_xx + MEASUREMENT;
            let (k_x, k_v, k_a) = (p_xx / s, p_xv / s, p_xa / s);
            (xx, xv, xa) = (p_xx * (1.0 - k_x), p_xv * (1.0 - k_x), p_xa * (1.0 - k_x));
            (vv, va, aa) = (p_vv - k_v * p_xv, p_va - k_v * p_xa, p_aa - k_a * p_xa);
            let gain = Gain {
                position: single(k_x),
                speed: single(k_v),
                acceleration: single(k_a),
                stop: single(0.5 / (vv + 0.02)),
                variance: single(s),
            };
            if let Some(slot) = self.gains.get_mut(place).and_then(|ages| ages.get_mut(age)) {
                *slot = gain;
            }
            if let Some(row) = self.likelihoods.get_mut(place).and_then(|ages| ages.get_mut(age)) {
                let deviation = (p_xx + EDGE_PLACE).sqrt();
                for (eighth, slot) in row.iter_mut().enumerate() {
                    let off = (f64::from(u32::try_from(eighth).unwrap_or(0)) + 0.5) / 8.0;
                    *slot = single((state_probability(off, deviation) + 1e-7).ln());
                }
            }
        }
        if let Some(slot) = self.shared.get_mut(place) {
            *slot = Shared {
                keeps: single(keeps),
                to_speed: single(to_speed),
                to_position: single(to_position),
                same_speed: single(0.5 * vv.sqrt()),
                same_acceleration: single(0.5 * aa.sqrt()),
            };
        }
    }
}

/// The probability that a place which is normally distributed lies in a state of one edge whose middle is
/// `off` away.
fn state_probability(off: f64, deviation: f64) -> f64 {
    0.5 * (erf((off + 0.5) / (deviation * std::f64::consts::SQRT_2))
        - erf((off - 0.5) / (deviation * std::f64::consts::SQRT_2)))
}

/// The error function to 1.5e-7 (Abramowitz and Stegun, Handbook of Mathematical Functions, 7.1.26).
fn erf(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.327_591_1 * x.abs());
    let poly = t
        * (0.254_829_592
            + t * (-0.284_496_736 + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    (1.0 - poly * (-x * x).exp()).copysign(x)
}

#[expect(
    clippy::as_conversions,
    reason = "the filter works in single precision; what is lost is far below its noise"
)]
pub(super) fn single(x: f64) -> f32 {
    x as f32
}

#[expect(
    clippy::as_conversions,
    reason = "`as` saturates, and a distance beyond the table is no entry of it"
)]
#[inline]
fn whole(x: f32) -> usize {
    x as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    fn of_400_edges_at_8_ms() -> Gains {
        let mut gains = Gains::blank();
        gains.work_out(&MotionLimits::new(400, Duration::from_millis(8)));
        gains
    }

    #[test]
    fn the_error_function_is_that_of_the_handbook() {
        // Abramowitz and Stegun, table 7.1.
        for (x, value) in [(0.0, 0.0), (0.5, 0.520_499_877_8), (1.0, 0.842_700_792_9), (2.0, 0.995_322_265_0)]
        {
            assert!((erf(x) - value).abs() < 2e-7 && (erf(-x) + value).abs() < 2e-7, "{x}");
        }
    }

    #[test]
    fn gains_settle_and_a_harder_hand_is_followed_more_closely() {
        let gains = of_400_edges_at_8_ms();
        for model in 0..4 {
            let (last, before) = (gains.gain(model, 15), gains.gain(model, 14));
            assert!((last.position - before.position).abs() < 0.02, "{model}: {last:?} after {before:?}");
            assert!(last.position > 0.0 && last.position < 1.0);
        }
        assert!(gains.gain(3, 15).speed > 2.0 * gains.gain(0, 15).speed);
    }

    #[test]
    fn a_path_is_likeliest_where_it_is_expected() {
        let gains = of_400_edges_at_8_ms();
        for model in 0..4 {
            assert!(gains.likelihood(model, 15, 0.1) > gains.likelihood(model, 15, 0.9));
            assert!(gains.likelihood(model, 15, 0.9) > gains.likelihood(model, 15, -2.0));
            assert!(gains.likelihood(model, 15, 100.0) <= NEVER);
        }
    }
}
