use super::*;
use tiny_skia::{Color, Pixmap, PixmapPaint, Transform};

/// States that a reader of the picture must tell apart, from top to bottom.
fn states() -> Vec<IconState> {
    let slot = |position, neutral, disconnected| IconSlot {
        position: TravelStep(position),
        neutral: TravelStep(neutral),
        disconnected,
    };
    let icon_state =
        |slots: &[IconSlot], lost, held| IconState { slots: slots.iter().copied().collect(), lost, held };
    let middle = STEPS / 2;
    vec![
        icon_state(&[slot(middle, middle, false)], false, false),
        icon_state(&[slot(0, middle, false)], false, false),
        icon_state(&[slot(STEPS, middle, false)], false, false),
        icon_state(&[slot(30, 20, false), slot(8, 20, false)], false, false),
        icon_state(&[slot(10, 23, false), slot(40, 19, false), slot(24, 23, false)], false, false),
        icon_state(&[slot(30, 23, false)], true, false),
        icon_state(&[slot(44, 23, false), slot(44, 23, false), slot(44, 23, false)], true, false),
        icon_state(&[slot(30, 23, false)], false, true),
        icon_state(&[slot(10, 23, false), slot(40, 19, false), slot(24, 23, false)], false, true),
        icon_state(&[slot(30, 23, true)], false, false),
        icon_state(&[slot(10, 23, true), slot(40, 19, false)], false, false),
        icon_state(&[slot(10, 23, true), slot(40, 19, true)], true, true),
        icon_state(&[], false, false),
    ]
}

const LIGHT: (u8, u8, u8) = (0xf0, 0xf0, 0xf0);
const DARK: (u8, u8, u8) = (0x20, 0x22, 0x24);

/// One row for each state; in it every size on a light panel, then every size on a dark one.
fn sheet() -> Pixmap {
    let (gap, row) = (4_u32, 68_u32);
    let wide: u32 = SIZES_PX.iter().map(|size| u32::from(*size) + gap).sum::<u32>() + gap;
    let states = states();
    let mut sheet = Pixmap::new(2 * wide, row * u32::try_from(states.len()).unwrap()).unwrap();
    for (panel, (red, green, blue)) in (0_u32..).zip([LIGHT, DARK]) {
        let mut back = Pixmap::new(wide, sheet.height()).unwrap();
        back.fill(Color::from_rgba8(red, green, blue, 0xff));
        put(&mut sheet, &back, panel * wide, 0);
        for (line, state) in (0_u32..).zip(&states) {
            let mut x = panel * wide + gap;
            for size in SIZES_PX {
                put(&mut sheet, &draw(state, size).unwrap(), x, line * row + 2);
                x += u32::from(size) + gap;
            }
        }
    }
    sheet
}

fn put(on: &mut Pixmap, picture: &Pixmap, x: u32, y: u32) {
    let (x, y) = (i32::try_from(x).unwrap(), i32::try_from(y).unwrap());
    on.draw_pixmap(x, y, picture.as_ref(), &PixmapPaint::default(), Transform::identity(), None);
}

/// After a change on purpose: `UPDATE_GOLDEN=1 cargo test -p tallywheel icon`, and look at the picture.
#[test]
fn every_state_at_every_size_looks_as_it_was_looked_at() {
    let golden = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/golden/tray-icons.png");
    let sheet = sheet();
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        sheet.save_png(&golden).unwrap();
    }
    let expected = Pixmap::load_png(&golden).unwrap();
    assert_eq!((sheet.width(), sheet.height()), (expected.width(), expected.height()));
    let different = sheet.pixels().iter().zip(expected.pixels()).filter(|(a, b)| a != b).count();
    assert_eq!(different, 0, "pixels differ from {}", golden.display());
}

#[test]
fn states_differ_at_every_size() {
    let states = states();
    for size in SIZES_PX {
        let pictures: Vec<_> = states.iter().map(|state| draw(state, size).unwrap()).collect();
        for (n, picture) in pictures.iter().enumerate() {
            for (m, other) in pictures.iter().enumerate().skip(n + 1) {
                let different = picture.pixels().iter().zip(other.pixels()).filter(|(a, b)| a != b).count();
                let enough = usize::from(size) * usize::from(size) / 64;
                assert!(different >= enough, "states {n} and {m} at {size} px differ in {different} pixels");
            }
        }
    }
}

/// The contrast of two colours by WCAG 2.2, "contrast ratio" and "relative luminance".
fn contrast(a: (u8, u8, u8), b: (u8, u8, u8)) -> f64 {
    let part = |value: u8| {
        let value = f64::from(value) / 255.0;
        if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
    };
    let light = |(r, g, b): (u8, u8, u8)| 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
    let (a, b) = (light(a) + 0.05, light(b) + 0.05);
    a.max(b) / a.min(b)
}

/// WCAG 2.2, 1.4.11: 3 to 1 for what must be told apart in a graphic. The picture's own ground carries the
/// blocks, so the panel's colour matters only for where the icon ends: the ground does that on a light panel, the
/// rim on a dark one.
#[test]
fn blocks_and_marks_stand_out_on_any_panel() {
    let icon_state = |lost, disconnected| {
        let slot = IconSlot { position: TravelStep(STEPS), neutral: TravelStep(10), disconnected };
        IconState { slots: [slot].into_iter().collect(), lost, held: false }
    };
    for size in SIZES_PX {
        let at = |picture: &Pixmap, x: u8, y: u8| {
            let pixel = picture.pixel(u32::from(x), u32::from(y)).unwrap().demultiply();
            assert_eq!(pixel.alpha(), 255, "{x} {y} of {size}");
            (pixel.red(), pixel.green(), pixel.blue())
        };
        let middle = size / 2;
        for disconnected in [false, true] {
            let picture = draw(&icon_state(false, disconnected), size).unwrap();
            let (block, ground) = (at(&picture, middle, size / 8 + 1), at(&picture, size / 6, size / 2));
            assert!(contrast(block, ground) >= 3.0, "block on its ground at {size} px: {block:?} {ground:?}");
            let rim = at(&picture, 0, middle);
            assert!(contrast(ground, LIGHT) >= 3.0 && contrast(rim, DARK) >= 3.0, "{size} px");
        }
        let picture = draw(&icon_state(true, false), size).unwrap();
        let (mark, block) = (at(&picture, size - 2, 1), at(&picture, size / 5, size / 8 + 1));
        for ground in [draw::GROUND, draw::DISCONNECTED_GROUND] {
            assert!(contrast(mark, ground) >= 3.0 && mark != block, "{mark:?} at {size} px");
        }
    }
}

#[test]
fn only_the_stops_are_shown_as_stops() {
    let step = |part| TravelStep::of(part, 580.0).0;
    assert_eq!([step(0.0), step(580.0), step(-1.0), step(700.0)], [0, STEPS, 0, STEPS]);
    assert_eq!([step(0.01), step(579.99)], [1, STEPS - 1]);
    assert_eq!(step(290.0), STEPS / 2);
    let mut last = 0;
    for tenth in 0..=5800 {
        let now = step(f64::from(tenth) / 10.0);
        assert!(now == last || now == last + 1, "{tenth}: {last} to {now}");
        last = now;
    }
    assert_eq!(TravelStep::of(f64::NAN, 1.0).0, STEPS - 1);
}
