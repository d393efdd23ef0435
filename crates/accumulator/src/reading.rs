use crate::{Curve, Stop, TrimConfig};
use tallywheel_units::{AxisValue, Degrees, FixedCounts, Margin, Normalized};

/// Where a trim is and how surely that is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Counts above the low stop, from 0 to the travel.
    pub position: FixedCounts,
    /// Degrees of the trim above the low stop, from 0 to the travel.
    pub degrees: Degrees,
    /// -1 at the low stop, 0 at neutral, +1 at the high stop; straight lines between.
    pub normalized: Normalized,
    /// The same ratio on the 16-bit axis, rounded half away from zero.
    pub axis: AxisValue,
    /// How many whole counts the true position may lie below and above; rounded outward.
    pub margin: Margin,
    /// The stop that the trim is at.
    pub at_stop: Option<Stop>,
}

impl Reading {
    /// `position` within the travel.
    #[inline]
    pub(crate) fn new(config: &TrimConfig, position: FixedCounts, margin: Margin) -> Self {
        let (distance, span) = from_neutral(config, position);
        let at_stop = if position <= FixedCounts::ZERO {
            Some(Stop::Low)
        } else if position >= config.travel_counts() {
            Some(Stop::High)
        } else {
            None
        };
        Self {
            position,
            degrees: config.degrees(position),
            normalized: normalized(distance, span),
            axis: axis(distance, span),
            margin,
            at_stop,
        }
    }
}

impl Reading {
    /// The same place with the output that `curve` gives it.
    #[must_use]
    pub fn along(self, curve: &Curve) -> Self {
        let normalized = curve.at(self.degrees);
        Self { normalized, axis: AxisValue::nearest(normalized), ..self }
    }
}

/// The signed distance from neutral and the whole length of the side that it lies on. The length is 0 only
/// where the distance is too: when neutral is at that stop.
fn from_neutral(config: &TrimConfig, position: FixedCounts) -> (FixedCounts, FixedCounts) {
    let neutral = config.neutral_counts();
    let span = if position >= neutral { config.travel_counts() - neutral } else { neutral };
    (position - neutral, span)
}

fn normalized(distance: FixedCounts, span: FixedCounts) -> Normalized {
    if distance == FixedCounts::ZERO {
        return Normalized::NEUTRAL;
    }
    Normalized::clamped(distance.to_f64() / span.to_f64())
}

/// `32767 * distance / span` to the nearest integer, half away from zero, so that both sides are mirror
/// images. The longest travel is 10^8 counts, below 2^47 raw units; 2 * 32767 + 1 times that fits in 63 bits.
fn axis(distance: FixedCounts, span: FixedCounts) -> AxisValue {
    let (length, span) = (distance.raw().unsigned_abs(), span.raw().unsigned_abs());
    let twice = (2 * 32_767_u64).wrapping_mul(length).wrapping_add(span);
    let magnitude = twice.checked_div(span.wrapping_mul(2)).map_or(0, u64::cast_signed);
    AxisValue::clamped(if distance < FixedCounts::ZERO { -magnitude } else { magnitude })
}

#[cfg(test)]
mod tests {
    use super::*;
    use tallywheel_units::{CountsPerTurn, StopStyle};

    fn config(per_turn: u32, travel: f64, neutral: f64) -> TrimConfig {
        TrimConfig::new(
            CountsPerTurn::new(per_turn).unwrap(),
            Degrees::new(travel).unwrap(),
            Degrees::new(neutral).unwrap(),
            StopStyle::Slip,
            false,
        )
        .unwrap()
    }

    /// The documented formula in 128 bits, without the bound that the 64-bit one leans on.
    fn axis_in_128_bits(config: &TrimConfig, position: i64) -> i128 {
        let neutral = i128::from(config.neutral_counts().raw());
        let distance = i128::from(position) - neutral;
        let span = if distance >= 0 { i128::from(config.travel_counts().raw()) - neutral } else { neutral };
        if distance == 0 {
            return 0;
        }
        let magnitude = (2 * 32767 * distance.abs() + span) / (2 * span);
        magnitude * distance.signum()
    }

    #[test]
    fn the_longest_travel_on_the_finest_wheel_stays_within_64_bits() {
        for neutral in [0.0, 1.0, 18_000.0, 35_999.9, 36_000.0] {
            let config = config(CountsPerTurn::MAX, 36_000.0, neutral);
            let travel = config.travel_counts().raw();
            for position in [0, 1, travel / 3, travel / 2, travel - 1, travel] {
                let reading = Reading::new(&config, FixedCounts::from_raw(position), Margin::CERTAIN);
                assert_eq!(i128::from(reading.axis.get()), axis_in_128_bits(&config, position), "{position}");
            }
        }
    }

    #[test]
    fn halves_round_away_from_zero_on_both_sides() {
        // Two turns of 32767 counts with neutral between: every half count is half an axis step.
        let config = config(32_767, 720.0, 360.0);
        let half = FixedCounts::ONE.raw() / 2;
        for (halves, axis) in [(1, 1), (-1, -1), (3, 2), (-3, -2), (2, 1), (-2, -1)] {
            let position = FixedCounts::from_raw(config.neutral_counts().raw() + halves * half);
            let reading = Reading::new(&config, position, Margin::CERTAIN);
            assert_eq!(reading.axis.get(), axis, "{halves} halves from neutral");
        }
    }
}
