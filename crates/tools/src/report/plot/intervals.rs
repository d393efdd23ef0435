//! How fast a wheel counted, against what its board can tell.

use super::{Drawn, FAINT, GRID, INK, LIMIT, LINE, LOSS, svg, words};
use crate::report::facts::WheelSummary;
use crate::report::limit::Limit;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};
use tallywheel_engine::failure::Failure;

const SIZE: (u32, u32) = (340, 210);

/// Draws the intervals of one wheel with its limit.
///
/// # Errors
/// Those of [`svg`].
pub fn intervals(name: &str, wheel: &WheelSummary, limit: Option<&Limit>) -> Result<String, Failure> {
    let bins: Vec<_> = wheel.intervals.bins().collect();
    let most = bins.iter().map(|(_, _, number)| *number).max().unwrap_or(1);
    let edges = bins.iter().flat_map(|(from, to, _)| [*from, *to]).chain(limit.map(Limit::ms));
    let (low, high) = edges.fold((f64::INFINITY, 0.0_f64), |(low, high), ms| (low.min(ms), high.max(ms)));
    let (from, to) = if low < high { (low / 1.5, high * 1.5) } else { (1.0, 1000.0) };
    let title = format!("Time between two counts of {}", wheel.name);
    let shortest = wheel.intervals.shortest().map_or(0.0, |shortest| shortest.as_secs_f64() * 1e3);
    let description = format!(
        "{} intervals, the shortest {shortest:.1} ms. {}",
        wheel.intervals.number(),
        limit.map_or_else(
            || "No limit is known.".to_owned(),
            |limit| format!("The limit is {:.1} ms.", limit.ms())
        ),
    );
    svg(name, SIZE, &title, &description, |area| -> Drawn {
        let top = u32::try_from(most).map_or(f64::from(u32::MAX), f64::from) * 1.2;
        let mut chart = ChartBuilder::on(area)
            .margin_top(8)
            .margin_right(12)
            .x_label_area_size(42)
            .y_label_area_size(48)
            .build_cartesian_2d((from..to).log_scale(), 0.0..top)?;
        chart
            .configure_mesh()
            .disable_x_mesh()
            .light_line_style(TRANSPARENT)
            .bold_line_style(GRID)
            .axis_style(FAINT)
            .x_labels(6)
            .y_labels(4)
            .x_label_formatter(&ms)
            .y_label_formatter(&number)
            .x_desc("ms between two counts (logarithmic)")
            .label_style(words(INK, HPos::Left, VPos::Top))
            .axis_desc_style(words(INK, HPos::Center, VPos::Center))
            .draw()?;
        chart.draw_series(bins.iter().map(|(from, to, number)| {
            let height = u32::try_from(*number).map_or(f64::from(u32::MAX), f64::from);
            // A sliver between the bars, so that each can be told.
            Rectangle::new([(from * 1.02, 0.0), (to / 1.02, height)], LINE.filled())
        }))?;
        if let Some(limit) = limit {
            let at = limit.ms();
            chart.draw_series(LineSeries::new([(at, 0.0), (at, top)], LIMIT.stroke_width(2)))?;
            let (x, y) = chart.backend_coord(&(at, top));
            let right = at > (from * to).sqrt();
            let style = words(LOSS, if right { HPos::Right } else { HPos::Left }, VPos::Top);
            area.draw(&Text::new("limit", (if right { x - 5 } else { x + 5 }, y), style))?;
        }
        Ok(())
    })
}

fn ms(ms: &f64) -> String {
    if *ms < 1.0 { format!("{ms:.1}") } else { format!("{ms:.0}") }
}

fn number(number: &f64) -> String {
    if *number >= 10_000.0 { format!("{:.0}k", number / 1000.0) } else { format!("{number:.0}") }
}
