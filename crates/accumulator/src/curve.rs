use tallywheel_units::{Degrees, Normalized};

/// Why points are no curve.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CurveError {
    /// Give at least two points.
    #[error("a curve needs two points")]
    TooFewPoints,
    /// Give points in the order of their degrees, no two at one place.
    #[error("the point at {at} does not lie above the one before it")]
    DegreesNotRising {
        /// The later of the two points.
        at: Degrees,
    },
    /// Give outputs that never fall.
    #[error("the output falls at {at}")]
    OutputFalls {
        /// The later of the two points.
        at: Degrees,
    },
    /// Make neutral one of the points, with the output 0.
    #[error("no point has the output 0 at neutral, {neutral}")]
    MissesNeutral {
        /// As given.
        neutral: Degrees,
    },
}

/// From degrees to output along a smooth curve that rises through points: a monotone piecewise cubic.
///
/// It goes through every point exactly, and between two points never beyond either. The slopes at the points
/// are those of F. N. Fritsch and J. Butland, "A method for constructing local monotone piecewise cubic
/// interpolants", SIAM J. Sci. Stat. Comput. 5 (1984) 300-304: the weighted harmonic mean of the slopes of the two
/// chords, 0 where one of them is flat; at the ends a three-point formula. They lie in the region in which
/// F. N. Fritsch and R. E. Carlson, "Monotone piecewise cubic interpolation", SIAM J. Numer. Anal. 17 (1980)
/// 238-246, prove that a cubic does not overshoot. Two points make a straight line.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    points: Box<[Point]>,
    neutral: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Point {
    degrees: f64,
    output: f64,
    /// Output per degree, never negative.
    slope: f64,
}

impl Curve {
    /// A curve through `points`; below the first and above the last it stays where they are. `neutral` is where
    /// output 0 belongs when several places have it.
    ///
    /// # Errors
    /// See [`CurveError`].
    pub fn new(points: &[(Degrees, Normalized)], neutral: Degrees) -> Result<Self, CurveError> {
        if points.len() < 2 {
            return Err(CurveError::TooFewPoints);
        }
        for (&(below, low), &(at, high)) in points.iter().zip(points.iter().skip(1)) {
            if at <= below {
                return Err(CurveError::DegreesNotRising { at });
            }
            if high < low {
                return Err(CurveError::OutputFalls { at });
            }
        }
        if !points.contains(&(neutral, Normalized::NEUTRAL)) {
            return Err(CurveError::MissesNeutral { neutral });
        }
        let degrees: Vec<f64> = points.iter().map(|(degrees, _)| degrees.get()).collect();
        let outputs: Vec<f64> = points.iter().map(|(_, output)| output.get()).collect();
        let slopes = slopes(&degrees, &outputs);
        let points = degrees.into_iter().zip(outputs).zip(slopes);
        let points = points.map(|((degrees, output), slope)| Point { degrees, output, slope }).collect();
        Ok(Self { points, neutral: neutral.get() })
    }

    /// The output at a place.
    #[must_use]
    pub fn at(&self, place: Degrees) -> Normalized {
        let place = place.get();
        let above = self.points.partition_point(|point| point.degrees <= place);
        let output =
            match (above.checked_sub(1).and_then(|below| self.points.get(below)), self.points.get(above)) {
                (Some(below), Some(above)) if place > below.degrees => between(below, above, place),
                (Some(at_or_last), _) => at_or_last.output,
                (None, first) => first.map_or(0.0, |first| first.output),
            };
        Normalized::clamped(output)
    }

    /// A place that has this output, to the nearest float or so. Where a stretch of the curve has it, the end of
    /// the stretch that is farther from neutral, and neutral for 0; for an output beyond an end, that end.
    #[must_use]
    pub fn degrees_at(&self, output: Normalized) -> Degrees {
        let wanted = output.get();
        if wanted == 0.0 {
            return Degrees::new(self.neutral).unwrap_or(Degrees::ZERO);
        }
        // The point at or before the place, and the one after it.
        let above = if wanted < 0.0 {
            self.points.partition_point(|point| point.output < wanted)
        } else {
            self.points.partition_point(|point| point.output <= wanted)
        };
        let place =
            match (above.checked_sub(1).and_then(|below| self.points.get(below)), self.points.get(above)) {
                (_, Some(exact)) if wanted < 0.0 && exact.output == wanted => exact.degrees,
                (Some(exact), _) if exact.output == wanted => exact.degrees,
                (Some(below), Some(above)) => bisect(below, above, wanted),
                (Some(last), None) => last.degrees,
                (None, first) => first.map_or(self.neutral, |first| first.degrees),
            };
        Degrees::new(place).unwrap_or(Degrees::ZERO)
    }
}

/// The cubic between two points, by de Casteljau's steps: averages only, so rounding takes nothing beyond the ends
/// that the last clamp does not take back.
fn between(below: &Point, above: &Point, place: f64) -> f64 {
    let length = above.degrees - below.degrees;
    let t = (place - below.degrees) / length;
    let towards = |from: f64, to: f64| from + (to - from) * t;
    let controls = [
        below.output,
        below.output + below.slope * length / 3.0,
        above.output - above.slope * length / 3.0,
        above.output,
    ];
    let [a, b, c, d] = controls;
    let (ab, bc, cd) = (towards(a, b), towards(b, c), towards(c, d));
    towards(towards(ab, bc), towards(bc, cd)).clamp(below.output, above.output)
}

/// Halves the stretch between two points until floats have no more between.
fn bisect(below: &Point, above: &Point, wanted: f64) -> f64 {
    let (mut low, mut high) = (below.degrees, above.degrees);
    loop {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            return low;
        }
        if between(below, above, middle) <= wanted { low = middle } else { high = middle }
    }
}

fn slopes(degrees: &[f64], outputs: &[f64]) -> Vec<f64> {
    let steps =
        |list: &[f64]| -> Vec<f64> { list.iter().zip(list.iter().skip(1)).map(|(a, b)| b - a).collect() };
    let lengths = steps(degrees);
    let chords: Vec<f64> = steps(outputs).iter().zip(&lengths).map(|(rise, length)| rise / length).collect();
    let ([first, ..], [.., last]) = (chords.as_slice(), chords.as_slice()) else { return Vec::new() };
    if chords.len() == 1 {
        return vec![*first, *last];
    }
    let inner = lengths.iter().zip(lengths.iter().skip(1)).zip(chords.iter().zip(chords.iter().skip(1)));
    let inner = inner.map(|((h0, h1), (d0, d1))| {
        if *d0 <= 0.0 || *d1 <= 0.0 {
            return 0.0;
        }
        let (w0, w1) = (2.0 * h1 + h0, h1 + 2.0 * h0);
        (w0 + w1) / (w0 / d0 + w1 / d1)
    });
    let backward = |list: &[f64]| -> Vec<f64> { list.iter().rev().copied().take(2).collect() };
    std::iter::once(end_slope(&lengths, &chords))
        .chain(inner)
        .chain(std::iter::once(end_slope(&backward(&lengths), &backward(&chords))))
        .collect()
}

/// The three-point formula for the end that the lists begin with. Chords that rise keep it below twice the
/// first chord.
fn end_slope(lengths: &[f64], chords: &[f64]) -> f64 {
    match (lengths, chords) {
        ([h0, h1, ..], [d0, d1, ..]) => (((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1)).max(0.0),
        _ => 0.0,
    }
}
