//! Lost counts against a x T^2, for README.

use super::{CellSum, Outcome};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

const SIZE: (u32, u32) = (860, 420);
const INK: RGBColor = RGBColor(0x3a, 0x3f, 0x47);
const GRID: RGBColor = RGBColor(0xe1, 0xe4, 0xe8);
const TABLE: RGBColor = RGBColor(0xb3, 0x26, 0x1e);
const ORACLE: RGBColor = RGBColor(0xc9, 0x82, 0x0c);
const OURS: RGBColor = RGBColor(0x0b, 0x5c, 0xad);
/// The same in the dark, where the reader of a page wants it.
const DARK: [(RGBColor, &str); 5] =
    [(INK, "#d5dae1"), (GRID, "#363c45"), (TABLE, "#f0857c"), (ORACLE, "#eab04f"), (OURS, "#6fb4f5")];

/// Columns: each holds the runs whose a x T^2 is up to that many times its lower end.
const STEP: f64 = 1.584_893_192_461_113_5;
const COLUMNS: i32 = 16;
const FIRST: f64 = 0.01;
/// Where no count was lost, which a logarithmic axis has no place for.
const NONE: f64 = 0.0005;

/// The share of counts that were lost, in percent, per column of a x T^2.
fn shares(sums: &[CellSum], error: impl Fn(&Outcome) -> u64) -> Vec<(f64, f64)> {
    let real = |n: u64| crate::whole::real(i64::try_from(n).unwrap_or(i64::MAX));
    (0..COLUMNS)
        .filter_map(|column| {
            let from = FIRST * STEP.powi(column);
            let inside = |outcome: &&Outcome| (from..from * STEP).contains(&outcome.hardest);
            let runs = sums.iter().flat_map(CellSum::outcomes).filter(inside);
            let (lost, edges) =
                runs.fold((0, 0), |(lost, edges), run| (lost + error(run), edges + run.edges));
            (edges > 0).then(|| (from * STEP.sqrt(), (100.0 * real(lost) / real(edges)).clamp(NONE, 150.0)))
        })
        .collect()
}

/// The picture as SVG; it follows the reader's preference for light or dark.
///
/// # Errors
/// What plotters says.
pub fn picture(sums: &[CellSum]) -> Result<String, String> {
    let mut text = String::new();
    draw(&mut text, sums).map_err(|error| error.to_string())?;
    let dark: String = DARK
        .iter()
        .map(|(RGBColor(r, g, b), dark)| {
            let light = format!("#{r:02X}{g:02X}{b:02X}");
            format!("[fill=\"{light}\"]{{fill:{dark}}}[stroke=\"{light}\"]{{stroke:{dark}}}")
        })
        .collect();
    let (head, body) = text.split_once('>').ok_or("plotters drew nothing")?;
    let style = format!("<style>@media (prefers-color-scheme:dark){{{dark}}}</style>");
    Ok(format!("{head}>\n{style}{body}"))
}

fn draw(text: &mut String, sums: &[CellSum]) -> Result<(), DrawingAreaErrorKind<std::io::Error>> {
    let area = SVGBackend::with_string(text, SIZE).into_drawing_area();
    let words = |size: u32, colour: &RGBColor| ("sans-serif", size).into_font().color(colour);
    let to = FIRST * STEP.powi(COLUMNS);
    let mut chart = ChartBuilder::on(&area)
        .margin(14)
        .margin_right(190)
        .x_label_area_size(52)
        .y_label_area_size(70)
        .build_cartesian_2d((FIRST..to).log_scale(), (NONE..150.0).log_scale())?;
    chart
        .configure_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GRID)
        .axis_style(INK)
        .label_style(words(17, &INK))
        .axis_desc_style(words(18, &INK))
        .x_desc("hardest acceleration x report interval\u{b2}, in edges")
        .y_desc("counts lost, gained or reversed")
        .x_label_formatter(&|x| format!("{x}"))
        .y_label_formatter(&|y| if *y < 0.000_9 { String::new() } else { format!("{y} %") })
        .draw()?;
    chart.draw_series(LineSeries::new([(1.0, NONE), (1.0, 150.0)], INK.stroke_width(1)))?;
    let at_limit = words(16, &INK).pos(Pos::new(HPos::Left, VPos::Top));
    chart.draw_series([Text::new(" a\u{b7}T\u{b2} = 1", (1.0, 130.0), at_limit)])?;
    let none = words(16, &INK).pos(Pos::new(HPos::Left, VPos::Bottom));
    chart.draw_series([Text::new(" none lost", (FIRST, NONE * 1.05), none)])?;
    let table = shares(sums, |run| run.table);
    let oracle = shares(sums, |run| run.oracle);
    let ours = shares(sums, |run| run.ours);
    let name = |series: &[(f64, f64)]| series.last().copied().unwrap_or((1.0, 1.0));
    chart.draw_series(LineSeries::new(table.iter().copied(), TABLE.stroke_width(7)))?;
    chart.draw_series(LineSeries::new(oracle.iter().copied(), ORACLE.stroke_width(2)))?;
    chart.draw_series(LineSeries::new(ours.iter().copied(), OURS.stroke_width(3)))?;
    chart.draw_series(ours.iter().map(|place| Circle::new(*place, 4, OURS.filled())))?;
    let beside = |colour: &RGBColor| words(18, colour).pos(Pos::new(HPos::Left, VPos::Center));
    let (_, high) = name(&table);
    let (end, low) = name(&ours);
    let [first, second] = [high * 1.9, high * 0.8];
    let right = chart.backend_coord(&(end, first)).0 + 12;
    for (word, place, colour) in [
        ("table", first, &TABLE),
        ("rotary-encoder-embedded", second, &ORACLE),
        ("Tallywheel", (low * 0.8).min(high * 0.3), &OURS),
    ] {
        let y = chart.backend_coord(&(end, place.min(140.0))).1;
        area.draw(&Text::new(word, (right, y), beside(colour)))?;
    }
    area.present()
}
