//! The two lines of a wheel around a loss, as a logic trace.

use super::{BAND, DOTTED, Drawn, FAINT, INK, LIMIT, LINE, svg, words};
use crate::report::facts::WheelSummary;
use crate::report::traces::{Sample, Trace};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};
use tallywheel_engine::failure::Failure;
use tallywheel_profile::WheelInputs;
use tallywheel_units::Timestamp;

const SIZE: (u32, u32) = (340, 166);
/// What is shown at least on either side, in ms.
const LEAST_MS: f64 = 30.0;
/// Where the first and the second line are drawn: released and pressed.
const LANES: [(f64, f64); 2] = [(1.55, 2.25), (0.5, 1.2)];

/// Draws one trace. The time is in milliseconds from the loss.
///
/// # Errors
/// Those of [`svg`].
pub fn trace(name: &str, trace: &Trace, wheel: &WheelSummary) -> Result<String, Failure> {
    let at = trace.lost.loss.at;
    let ms = |time: Timestamp| (time.seconds() - at.seconds()) * 1e3;
    let first = trace.samples.first().map_or(-30.0, |sample| ms(sample.at));
    let last = trace.samples.last().map_or(0.0, |sample| ms(sample.at));
    let room = ((last - first) * 0.06).max(4.0);
    let (from, to) = ((first - room).min(-LEAST_MS), (last + room).max(LEAST_MS));
    let [one, two] = names(&wheel.inputs);
    let title = format!("Inputs of {} around {}", wheel.name, trace.lost.loss.kind.name());
    let description = format!(
        "Lines {one} and {two} from {from:.0} ms before to {to:.0} ms after the loss, in {} reports: {}.",
        trace.samples.iter().filter(|sample| sample.report).count(),
        states(&trace.samples, at),
        from = -from,
    );
    svg(name, SIZE, &title, &description, |area| -> Drawn {
        let mut chart = ChartBuilder::on(area)
            .margin_top(4)
            .margin_right(10)
            .x_label_area_size(42)
            .y_label_area_size(68)
            .build_cartesian_2d(from..to, 0.0..2.5)?;
        chart
            .configure_mesh()
            .disable_mesh()
            .axis_style(FAINT)
            .y_labels(0)
            .x_labels(6)
            .x_label_formatter(&|ms| format!("{ms:.0}"))
            .x_desc("ms from the loss")
            .label_style(words(INK, HPos::Left, VPos::Top))
            .axis_desc_style(words(INK, HPos::Center, VPos::Center))
            .draw()?;
        let lasted = trace.lost.loss.lasted.as_secs_f64() * 1e3;
        if lasted > 0.0 {
            let span = [((-lasted).max(from), 0.0), (0.0, 2.5)];
            chart.draw_series(std::iter::once(Rectangle::new(span, BAND.filled())))?;
        }
        for ((line, (low, high)), name) in (0_usize..).zip(LANES).zip([one, two]) {
            let level = |sample: &Sample| if sample.lines.get(line) == Some(&true) { high } else { low };
            chart.draw_series(LineSeries::new([(from, low), (to, low)], DOTTED))?;
            let mut points = Vec::new();
            let mut now = trace.samples.first().map(|sample| (from, level(sample)));
            points.extend(now);
            for sample in &trace.samples {
                let (time, next) = (ms(sample.at), level(sample));
                if let Some((_, held)) = now.filter(|(_, held)| held.to_bits() != next.to_bits()) {
                    points.extend([(time, held), (time, next)]);
                }
                now = Some((time, next));
            }
            points.extend(now.map(|(_, held)| (to, held)));
            chart.draw_series(LineSeries::new(points, LINE.stroke_width(2)))?;
            let (x, y) = chart.backend_coord(&(from, (low + high) / 2.0));
            area.draw(&Text::new(name, (x - 6, y), words(INK, HPos::Right, VPos::Center)))?;
        }
        let reports = trace.samples.iter().filter(|sample| sample.report).map(|sample| {
            PathElement::new([(ms(sample.at), 0.05), (ms(sample.at), 0.28)], INK.stroke_width(1))
        });
        chart.draw_series(reports)?;
        let (x, y) = chart.backend_coord(&(from, 0.16));
        area.draw(&Text::new("reports", (x - 6, y), words(INK, HPos::Right, VPos::Center)))?;
        chart.draw_series(LineSeries::new([(0.0, 0.0), (0.0, 2.5)], LIMIT.stroke_width(2)))?;
        Ok(())
    })
}

/// What the two lines of a wheel are called.
#[must_use]
pub const fn names(inputs: &WheelInputs) -> [&'static str; 2] {
    match inputs {
        WheelInputs::Pulses { .. } => ["forward", "backward"],
        WheelInputs::Quadrature { .. } => ["A", "B"],
    }
}

/// The lines' states in words: 1 is pressed.
fn states(samples: &[Sample], at: Timestamp) -> String {
    let bits = |sample: &Sample| sample.lines.map(|pressed| if pressed { "1" } else { "0" }).concat();
    let mut before = samples.iter().rev().skip_while(|sample| sample.at >= at);
    match (before.next(), samples.iter().find(|sample| sample.at >= at)) {
        (Some(was), Some(is)) => format!("they were {} and came as {}", bits(was), bits(is)),
        (Some(was), None) => format!("they were {} and nothing came after", bits(was)),
        (None, Some(is)) => format!("they came as {}", bits(is)),
        (None, None) => "nothing of them was recorded".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_states_around_the_loss_are_told_in_words() {
        let sample =
            |ms: u64, a, b| Sample { at: Timestamp::from_micros(ms * 1000), lines: [a, b], report: true };
        let samples = [sample(1, false, false), sample(2, true, true), sample(3, true, false)];
        let at = Timestamp::from_micros(2000);
        assert_eq!(states(&samples, at), "they were 00 and came as 11");
        assert_eq!(states(&samples[..1], at), "they were 00 and nothing came after");
        assert_eq!(states(&[], at), "nothing of them was recorded");
    }
}
