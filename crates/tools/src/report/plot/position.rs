//! Where a trim was over time, and where it may have been instead.

use super::{BAND, DOTTED, Drawn, FAINT, GRID, INK, LINE, LOSS, STOP, svg, words};
use crate::report::columns::Column;
use crate::report::facts::TrimSummary;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};
use tallywheel_engine::failure::Failure;
use tallywheel_units::Timestamp;

/// How a plot is laid out.
#[derive(Debug, Clone, Copy)]
pub struct PlotShape {
    /// The width in pixels.
    pub width: u32,
    /// The height in pixels.
    pub height: u32,
    /// Room for the names of the stops on the right.
    pub names: u32,
    /// About how many times are named below.
    pub times: usize,
}

/// For pages wide enough, and for paper.
pub const WIDE: PlotShape = PlotShape { width: 760, height: 250, names: 68, times: 10 };
/// For phones.
pub const NARROW: PlotShape = PlotShape { width: 340, height: 230, names: 12, times: 5 };

/// Longer than this and the time is in minutes.
const MINUTES_FROM_SECONDS: f64 = 180.0;

/// Draws `trim` from `begin` to `end` in `columns` of its values.
///
/// # Errors
/// Those of [`svg`].
pub fn position(
    name: &str,
    shape: PlotShape,
    trim: &TrimSummary,
    columns: &[Column],
    (begin, end): (Timestamp, Timestamp),
) -> Result<String, Failure> {
    let seconds = end.since(begin).as_secs_f64();
    let (unit, scale) = if seconds > MINUTES_FROM_SECONDS { ("min", 60.0) } else { ("s", 1.0) };
    let (from, to) = (begin.seconds() / scale, (end.seconds() / scale).max(begin.seconds() / scale + 1e-3));
    let width = u32::try_from(columns.len()).map_or(1.0, f64::from).max(1.0);
    let time = |place: f64| from + (to - from) * place / width;
    let travel = trim.travel.max(1e-6);

    let low = columns.iter().map(|c| c.low).fold(f64::INFINITY, f64::min).clamp(0.0, travel);
    let high = columns.iter().map(|c| c.high).fold(0.0, f64::max).clamp(0.0, travel);
    let losses = columns.iter().filter(|c| c.loss).count();
    let title = format!("Position of {} over time", trim.name);
    let description = format!(
        "From {:.1} to {:.1} {unit} the trim was between {low:.1} and {high:.1} of {travel:.0} degrees and ended \
         at {:.1}. {}",
        from,
        to,
        trim.degrees,
        if losses == 0 { "No losses." } else { "Losses are marked by triangles at the top." },
    );
    svg(name, (shape.width, shape.height), &title, &description, |area| -> Drawn {
        let space = travel * 0.09;
        let mut chart = ChartBuilder::on(area)
            .margin_top(6)
            .margin_right(shape.names)
            .x_label_area_size(42)
            .y_label_area_size(50)
            .build_cartesian_2d(from..to, -travel * 0.03..travel + space)?;
        let decimals = usize::from((to - from) / f64::from(10_u32) < 0.5);
        chart
            .configure_mesh()
            .disable_x_mesh()
            .light_line_style(TRANSPARENT)
            .bold_line_style(GRID)
            .axis_style(FAINT)
            .x_labels(shape.times)
            .y_labels(6)
            .x_label_formatter(&|time| format!("{time:.decimals$}"))
            .y_label_formatter(&|degrees| {
                if (-1e-9..=travel + 1e-9).contains(degrees) {
                    format!("{degrees:.0}\u{b0}")
                } else {
                    String::new()
                }
            })
            .x_desc(format!("time in {unit}"))
            .label_style(words(INK, HPos::Left, VPos::Top))
            .axis_desc_style(words(INK, HPos::Center, VPos::Center))
            .draw()?;

        let uncertain = |c: &Column| c.band_high - c.high > 1e-9 || c.low - c.band_low > 1e-9;
        for (begins, run) in runs(columns, uncertain) {
            chart.draw_series(std::iter::once(Polygon::new(outline(run, begins, &time), BAND.filled())))?;
        }
        for (degrees, what) in [(0.0, "low stop"), (trim.neutral, "neutral"), (travel, "high stop")] {
            let style = if what == "neutral" { DOTTED } else { STOP };
            chart.draw_series(LineSeries::new([(from, degrees), (to, degrees)], style))?;
            if shape.names > 40 {
                let (x, y) = chart.backend_coord(&(to, degrees));
                area.draw(&Text::new(what, (x + 6, y), words(INK, HPos::Left, VPos::Center)))?;
            }
        }
        chart.draw_series(LineSeries::new(path(columns, &time), LINE.stroke_width(2)))?;
        for (place, _) in (0_u32..).zip(columns).filter(|(_, column)| column.loss) {
            let (x, y) = chart.backend_coord(&(time(f64::from(place) + 0.5), travel + space * 0.95));
            area.draw(&Polygon::new([(x - 4, y - 2), (x + 4, y - 2), (x, y + 7)], LOSS.filled()))?;
        }
        Ok(())
    })
}

/// The stretches of columns for which `holds`, each with the place of its first.
fn runs(columns: &[Column], holds: impl Fn(&Column) -> bool) -> Vec<(u32, &[Column])> {
    let mut begins = 0;
    let chunks = columns.chunk_by(|one, two| holds(one) == holds(two));
    chunks
        .filter_map(|chunk| {
            let at = begins;
            begins += u32::try_from(chunk.len()).unwrap_or(0);
            chunk.first().is_some_and(&holds).then_some((at, chunk))
        })
        .collect()
}

/// The band's edge: along its top and back along its bottom.
fn outline(run: &[Column], begins: u32, time: &impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    let places = || (begins..).map(f64::from);
    let top =
        run.iter().zip(places()).flat_map(|(c, n)| [(time(n), c.band_high), (time(n + 1.0), c.band_high)]);
    let bottom =
        run.iter().zip(places()).flat_map(|(c, n)| [(time(n), c.band_low), (time(n + 1.0), c.band_low)]);
    let mut points = thinned(top);
    let mut back = thinned(bottom);
    back.reverse();
    points.append(&mut back);
    points
}

/// The position's line, up and down to the extremes of each column.
fn path(columns: &[Column], time: &impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    let points = columns.iter().zip((0_u32..).map(f64::from)).flat_map(|(c, n)| {
        let (begin, middle, end) = (time(n), time(n + 0.5), time(n + 1.0));
        [
            (begin, c.first),
            (middle, c.first),
            (middle, c.low),
            (middle, c.high),
            (middle, c.last),
            (end, c.last),
        ]
    });
    thinned(points)
}

/// Without the points in the middle of level stretches.
fn thinned(points: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
    let mut kept: Vec<(f64, f64)> = Vec::new();
    for point in points {
        // Values are copied, never computed, so that level means equal to the bit.
        let level =
            kept.iter().rev().take(2).filter(|(_, value)| value.to_bits() == point.1.to_bits()).count();
        if level == 2 {
            kept.pop();
        }
        kept.push(point);
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(first: f64, low: f64, high: f64, last: f64) -> Column {
        Column { first, low, high, last, band_low: low, band_high: high, loss: false }
    }

    #[test]
    fn a_level_stretch_is_two_points_and_a_peak_keeps_its_height() {
        let mut columns = vec![column(1.0, 1.0, 1.0, 1.0); 50];
        columns[20] = column(1.0, 1.0, 8.0, 1.0);
        let points = path(&columns, &|n| n);
        assert!(points.len() <= 6, "{points:?}");
        assert!(points.contains(&(20.5, 8.0)), "{points:?}");
        assert_eq!((points[0], points[points.len() - 1]), ((0.0, 1.0), (50.0, 1.0)));
    }

    #[test]
    fn the_band_is_drawn_only_where_there_is_doubt() {
        let mut columns = vec![column(1.0, 1.0, 1.0, 1.0); 10];
        columns[4].band_high = 2.0;
        columns[5].band_high = 2.0;
        let found = runs(&columns, |c| c.band_high > c.high);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].0, found[0].1.len()), (4, 2));
        assert_eq!(outline(found[0].1, 4, &|n| n), [(4.0, 2.0), (6.0, 2.0), (6.0, 1.0), (4.0, 1.0)]);
    }
}
