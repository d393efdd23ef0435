use super::file::AnyNumber;
use crate::read::{Mistakes, Rows};
use tallywheel_units::{Degrees, Normalized};

const PATH: &str = "trim.curve";
/// The most points that a curve may have in the file.
const MOST: usize = 64;

/// A point that the curve must go through.
struct Fixed {
    at: Degrees,
    output: f64,
    what: &'static str,
}

/// The points of a curve from stop to stop through neutral, those three added where the file leaves them out;
/// none where the file has no curve. `ends` is the travel and neutral, as far as they are known.
///
/// Both rows rise strictly in degrees and never fall in output; told is the first point of each mistake.
pub(super) fn curve(
    rows: &Rows<AnyNumber>,
    ends: Option<(Degrees, Degrees)>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<(Degrees, Normalized)>> {
    let Some(field) = rows else { return Some(Vec::new()) };
    let rows = field.value.as_ref()?;
    if rows.is_empty() {
        mistakes.tell(field.byte, PATH, "at least one point", "an empty list");
        return None;
    }
    if let Some(surplus) = rows.get(MOST) {
        mistakes.tell(surplus.byte, PATH, format!("at most {MOST} points"), rows.len().to_string());
        return None;
    }
    let mut given = Vec::with_capacity(rows.len());
    let mut complete = true;
    for row in rows {
        let Some(numbers) = row.value.as_ref() else {
            complete = false;
            continue;
        };
        let [degrees, output] = numbers.as_slice() else {
            let found = format!("a list of {}", numbers.len());
            mistakes.tell(row.byte, PATH, "two numbers, degrees and output", found);
            complete = false;
            continue;
        };
        match (degrees.setting(), output.setting()) {
            (Some(AnyNumber(x)), Some(AnyNumber(y))) => given.push((*x, *y, degrees.byte, output.byte)),
            _ => complete = false,
        }
    }
    let (travel, neutral) = ends?;
    if !complete {
        return None;
    }
    let fixed = fixed(travel, neutral);
    let mut before: Option<(f64, f64)> = None;
    for &(x, y, x_byte, y_byte) in &given {
        let out_of_travel = !(0.0..=travel.get()).contains(&x);
        if out_of_travel {
            let expected = format!("degrees from 0 to the travel, {}", travel.get());
            mistakes.tell(x_byte, PATH, expected, x.to_string());
            return None;
        }
        if let Some((last, _)) = before.filter(|(last, _)| x <= *last) {
            mistakes.tell(x_byte, PATH, format!("more degrees than the point before, {last}"), x.to_string());
            return None;
        }
        if let Some(point) = fixed.iter().find(|point| point.at.get() == x) {
            if y != point.output {
                let expected = format!("{} at {}", point.output, point.what);
                mistakes.tell(y_byte, PATH, expected, y.to_string());
                return None;
            }
        } else {
            // Between the two fixed points around it, whatever else is given.
            let below = fixed.iter().filter(|point| point.at.get() < x).map(|point| point.output);
            let above = fixed.iter().filter(|point| point.at.get() > x).map(|point| point.output);
            let (low, high) = (below.fold(-1.0, f64::max), above.fold(1.0, f64::min));
            if !(low..=high).contains(&y) {
                let expected = format!("an output from {low} to {high} at {x} degrees");
                mistakes.tell(y_byte, PATH, expected, y.to_string());
                return None;
            }
        }
        if let Some((_, last)) = before.filter(|(_, last)| y < *last) {
            let expected = format!("an output of at least that of the point before, {last}");
            mistakes.tell(y_byte, PATH, expected, y.to_string());
            return None;
        }
        before = Some((x, y));
    }
    let mut points: Vec<(f64, f64)> = given.iter().map(|&(x, y, ..)| (x, y)).collect();
    for point in &fixed {
        if !points.iter().any(|(x, _)| *x == point.at.get()) {
            points.push((point.at.get(), point.output));
        }
    }
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    points.into_iter().map(|(x, y)| Some((Degrees::new(x)?, Normalized::clamped(y)))).collect()
}

/// The stops and neutral; where neutral is at a stop, that stop is 0.
fn fixed(travel: Degrees, neutral: Degrees) -> Vec<Fixed> {
    let mut fixed = Vec::with_capacity(3);
    if neutral > Degrees::ZERO {
        fixed.push(Fixed { at: Degrees::ZERO, output: -1.0, what: "the low stop" });
    }
    fixed.push(Fixed { at: neutral, output: 0.0, what: "neutral" });
    if neutral < travel {
        fixed.push(Fixed { at: travel, output: 1.0, what: "the high stop" });
    }
    fixed
}
