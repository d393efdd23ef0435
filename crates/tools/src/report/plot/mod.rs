//! Plots as SVG that takes its colours and its font from the page.
//!
//! plotters writes colours into attributes; a style sheet outranks those, so page.css gives each colour here
//! its own meaning in the light, in the dark and on paper.

pub mod intervals;
pub mod position;
pub mod trace;

use crate::report::html::escape;
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use tallywheel_engine::failure::Failure;

/// Words and the axes' lines.
pub const INK: RGBColor = RGBColor(0x3a, 0x3f, 0x47);
/// Lines behind everything.
pub const GRID: RGBColor = RGBColor(0xe1, 0xe4, 0xe8);
/// What was measured.
pub const LINE: RGBColor = RGBColor(0x0b, 0x5c, 0xad);
/// What it may have been instead.
pub const BAND: RGBColor = RGBColor(0xf0, 0xc6, 0x74);
/// Losses.
pub const LOSS: RGBColor = RGBColor(0xb3, 0x26, 0x1e);
/// Moments and limits: dashed by the page, in one element, where plotters would draw each dash.
pub const LIMIT: RGBColor = RGBColor(0xb3, 0x26, 0x1f);
/// The ends of the travel: dashed.
pub const STOP: RGBColor = RGBColor(0x8a, 0x91, 0x9c);
/// What only helps the eye: dotted.
pub const DOTTED: RGBColor = RGBColor(0x8a, 0x91, 0x9d);
/// Marks that only help the eye.
pub const FAINT: RGBColor = RGBColor(0x8a, 0x91, 0x9b);

/// The size of words, of which plotters makes 12 of the plot's own units: it divides by 1.24.
pub const WORDS: u32 = 15;

/// The area that a plot is drawn on.
pub type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// What plotting can go wrong with; nothing, as it writes to memory.
pub type Drawn = Result<(), DrawingAreaErrorKind<std::io::Error>>;

/// Draws a plot of `size` with a title and a description for those who cannot see it. `name` tells its parts
/// from those of the page's other plots.
///
/// # Errors
/// [`Failure::Choice`] if plotters fails.
pub fn svg(
    name: &str,
    size: (u32, u32),
    title: &str,
    description: &str,
    draw: impl FnOnce(&Area<'_>) -> Drawn,
) -> Result<String, Failure> {
    let mut text = String::new();
    let drawn = {
        let area = SVGBackend::with_string(&mut text, size).into_drawing_area();
        draw(&area).and_then(|()| area.present())
    };
    drawn.map_err(|error| Failure::Choice(format!("a plot cannot be drawn: {error}")))?;
    let body = text.split_once('>').map_or("", |(_, body)| body);
    let body =
        body.replace(" opacity=\"1\"", "").replace(" font-family=\"sans-serif\"", "").replace(">\n", ">");
    let (width, height) = size;
    let (title, description) = (escape(title), escape(description));
    Ok(format!(
        "<svg viewBox=\"0 0 {width} {height}\" role=\"img\" aria-labelledby=\"{name}-t {name}-d\">\
         <title id=\"{name}-t\">{title}</title><desc id=\"{name}-d\">{description}</desc>{body}"
    ))
}

/// Words in `colour`, placed by `h` and `v` of their own box.
pub fn words(colour: RGBColor, h: HPos, v: VPos) -> TextStyle<'static> {
    ("sans-serif", WORDS).into_font().color(&colour).pos(Pos::new(h, v))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plot_has_names_and_no_address_and_no_font_of_its_own() {
        let draw = |area: &Area<'_>| area.draw(&Text::new("<b>", (5, 5), words(INK, HPos::Left, VPos::Top)));
        let svg = svg("x", (30, 20), "a<b", "c&d", draw).unwrap();
        assert!(
            svg.starts_with("<svg viewBox=\"0 0 30 20\" role=\"img\" aria-labelledby=\"x-t x-d\"><title")
        );
        assert!(
            svg.contains("a&lt;b</title>") && svg.contains("c&amp;d</desc>") && svg.contains("&lt;b&gt;")
        );
        assert!(!svg.contains("http") && !svg.contains("font-family") && svg.trim_end().ends_with("</svg>"));
    }

    /// The style sheet names every colour that plots use, or the dark would hide it.
    #[test]
    fn the_page_knows_every_colour() {
        let css = include_str!("../page.css");
        for RGBColor(r, g, b) in [INK, GRID, LINE, BAND, LOSS, FAINT, LIMIT, STOP, DOTTED] {
            for attribute in ["fill", "stroke"] {
                let colour = format!("[{attribute}=\"#{r:02X}{g:02X}{b:02X}\"]");
                assert!(css.contains(&colour), "page.css lacks {colour}");
            }
        }
    }
}
