//! Draws an [`IconState`]. All edges but the corners lie on whole pixels, so that small pictures stay sharp.

use super::{IconSlot, IconState};
use tiny_skia::{Color, FillRule, Paint, Path, PathBuilder, Pixmap, Rect, Transform};

/// The ground is dark of itself, so that what is on it can be read on a light panel as on a dark one; the rim
/// tells it from a dark panel.
pub(super) const GROUND: Rgb = (0x1d, 0x2b, 0x36);
const RIM: Rgb = (0x6f, 0x86, 0x94);
const SLOT: Rgb = (0x4a, 0x62, 0x70);
const NEUTRAL: Rgb = (0xb9, 0xc8, 0xd0);
const BLOCK: Rgb = (0xff, 0xc8, 0x45);
const LOST: Rgb = (0xff, 0x4f, 0x3d);
/// The colours of a trim whose board is not read.
const DISCONNECTED_BLOCK: Rgb = (0x9a, 0x9a, 0x9a);
const DISCONNECTED_SLOT: Rgb = (0x58, 0x58, 0x58);
/// The colours of the whole icon when no board is read.
pub(super) const DISCONNECTED_GROUND: Rgb = (0x34, 0x34, 0x34);
const DISCONNECTED_RIM: Rgb = (0x7c, 0x7c, 0x7c);

type Rgb = (u8, u8, u8);

/// Draws the picture of `icon_state`, `size_px` pixels wide and high; `None` only for a size of zero.
#[must_use]
pub fn draw(icon_state: &IconState, size_px: u8) -> Option<Pixmap> {
    let mut canvas = Canvas::new(size_px)?;
    let size = f32::from(size_px);
    let all_disconnected = icon_state.slots.iter().all(|slot| slot.disconnected);
    let (ground, rim) = match (all_disconnected, icon_state.held) {
        (true, _) => (DISCONNECTED_GROUND, DISCONNECTED_RIM),
        (false, true) => (GROUND, BLOCK),
        (false, false) => (GROUND, RIM),
    };
    let thin = canvas.px(0.8);
    let radius = canvas.px(2.5);
    canvas.plate((0.0, 0.0, size, size), radius, rim);
    canvas.plate((thin, thin, size - 2.0 * thin, size - 2.0 * thin), radius - thin, ground);

    // As many columns as trims, with the same gap around and between; what does not divide goes to the sides.
    let margin = thin + canvas.px(1.0);
    let gap = canvas.px(1.0);
    let count = (0..icon_state.slots.len()).fold(0.0, |count, _| count + 1.0);
    let inside = size - 2.0 * margin;
    let width = ((inside - gap * (count - 1.0)) / count).floor();
    let mut left = ((size - (width + gap) * count + gap) / 2.0).floor();
    for slot in &icon_state.slots {
        let hole = icon_state.held.then_some(ground);
        canvas.slot(slot, hole, left, width, (margin, inside));
        left += width + gap;
    }
    if icon_state.lost {
        canvas.corner(size, canvas.px(6.5), ground);
    }
    Some(canvas.0)
}

struct Canvas(Pixmap);

impl Canvas {
    fn new(size_px: u8) -> Option<Self> {
        Pixmap::new(u32::from(size_px), u32::from(size_px)).map(Self)
    }

    /// Returns whole pixels, at least one, for a length in sixteenths of the picture.
    fn px(&self, sixteenths: f32) -> f32 {
        let size = u16::try_from(self.0.width()).map_or(0.0, f32::from);
        (sixteenths * size / 16.0).round().max(1.0)
    }

    fn slot(&mut self, slot: &IconSlot, hole: Option<Rgb>, left: f32, width: f32, (top, height): (f32, f32)) {
        let (block, line, tick) = if slot.disconnected {
            (DISCONNECTED_BLOCK, DISCONNECTED_SLOT, DISCONNECTED_BLOCK)
        } else {
            (BLOCK, SLOT, NEUTRAL)
        };
        let thickness = self.px(3.0).max(3.0);
        let way = height - thickness;
        let from_top = |share: f32| (top + (1.0 - share) * way).round();

        // The groove, of the block's width parity so that it runs through its middle.
        let mut groove = self.px(1.4);
        if (width - groove) % 2.0 != 0.0 {
            groove += 1.0;
        }
        self.fill((left + (width - groove) / 2.0, top, groove, height), line);
        let mark = self.px(0.8);
        let neutral = from_top(slot.neutral.share()) + ((thickness - mark) / 2.0).floor();
        self.fill((left, neutral, width, mark), tick);

        let block_top = from_top(slot.position.share());
        self.fill((left, block_top, width, thickness), block);
        if let Some(colour) = hole {
            let wall = self.px(0.8).min((thickness - 1.0) / 2.0).max(1.0);
            let hole = (left + wall, block_top + wall, width - 2.0 * wall, thickness - 2.0 * wall);
            self.fill(hole, colour);
        }
    }

    fn fill(&mut self, (left, top, width, height): (f32, f32, f32, f32), colour: Rgb) {
        if let Some(rect) = Rect::from_xywh(left, top, width, height) {
            self.0.fill_rect(rect, &paint(colour), Transform::identity(), None);
        }
    }

    /// Fills a rectangle with round corners.
    fn plate(&mut self, (left, top, width, height): (f32, f32, f32, f32), radius: f32, colour: Rgb) {
        let (right, bottom) = (left + width, top + height);
        let mut path = PathBuilder::new();
        path.move_to(left + radius, top);
        path.line_to(right - radius, top);
        path.quad_to(right, top, right, top + radius);
        path.line_to(right, bottom - radius);
        path.quad_to(right, bottom, right - radius, bottom);
        path.line_to(left + radius, bottom);
        path.quad_to(left, bottom, left, bottom - radius);
        path.line_to(left, top + radius);
        path.quad_to(left, top, left + radius, top);
        path.close();
        self.path(path.finish(), colour);
    }

    /// Fills the upper right corner, with an edge that tells it from a block beneath.
    fn corner(&mut self, size: f32, length: f32, edge: Rgb) {
        let mut triangle = |length: f32, colour| {
            let mut path = PathBuilder::new();
            path.move_to(size - length, 0.0);
            path.line_to(size, 0.0);
            path.line_to(size, length);
            path.close();
            self.path(path.finish(), colour);
        };
        triangle(length + size / 16.0 * 1.5, edge);
        triangle(length, LOST);
    }

    fn path(&mut self, path: Option<Path>, colour: Rgb) {
        if let Some(path) = path {
            self.0.fill_path(&path, &paint(colour), FillRule::Winding, Transform::identity(), None);
        }
    }
}

fn paint((red, green, blue): Rgb) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color(Color::from_rgba8(red, green, blue, 0xff));
    paint
}
