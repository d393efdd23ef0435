//! Descriptors from the HID standard and their reports.

use super::*;

/// HID 1.11, App. D.1, the example joystick, assembled from the printed items, with the two defects of the
/// listing put right (the second "Usage Minimum" is a maximum; the throttle needs its usage page again).
const D1S: &str = "05 01 09 04 A1 01 05 01 09 01 A1 00 15 81 25 7F 75 08 95 02 A4 09 30 09 31 81 02 09 39 15 00 25 \
                   03 35 00 46 0E 01 65 14 95 01 75 04 81 42 15 00 25 01 95 02 75 01 05 09 19 01 29 02 65 00 81 02 \
                   C0 19 03 29 04 81 02 B4 05 02 09 BB 95 01 81 02 C0";

/// The same without that usage page.
fn d1() -> String {
    D1S.replace("05 02 09 BB", "09 BB")
}

/// HID 1.11, App. D.1: "byte 2, bits 4 to 7: buttons 1 to 4". PyPI hid-tools 0.12 and crate hidreport 0.6 read
/// the same.
#[test]
fn the_example_joystick_of_appendix_d() {
    for descriptor in [D1S.to_owned(), d1()] {
        let layout = layout(&descriptor);
        assert_eq!(numbers(layout.buttons()), [1, 2, 3, 4]);
        assert_eq!(pressed(&layout, &hex("7F 81 F3 40")), [1, 2, 3, 4]);
        assert_eq!(pressed(&layout, &hex("80 00 05 00")), []);
        for number in 1..=4_u8 {
            assert_eq!(pressed(&layout, &[0, 0, 1 << (number + 3), 0]), [number]);
        }
    }
}

/// HID 1.11, App. E.10, the mouse, whose bytes are printed.
#[test]
fn the_mouse_of_appendix_e() {
    let mouse = "05 01 09 02 A1 01 09 01 A1 00 05 09 19 01 29 03 15 00 25 01 95 03 75 01 81 02 95 01 75 05 81 01 05 \
                 01 09 30 09 31 15 81 25 7F 75 08 95 02 81 06 C0 C0";
    let layout = layout(mouse);
    assert_eq!(numbers(layout.buttons()), [1, 2, 3]);
    assert_eq!(pressed(&layout, &hex("05 FB 02")), [1, 3]);
}

/// Twenty buttons, four bits of padding and a 16-bit axis, whose maximum is the trap: `26 FF FF` is -1 to
/// crate hidreport 0.6, and 65535 to PyPI hid-tools 0.12 and to Linux 6.1 (hid-core.c, LOGICAL_MAXIMUM: signed
/// only if the minimum is below zero). The kernel refuses a board whose maximum is below its minimum.
#[test]
fn the_sixteen_bit_axis_trap() {
    let board = |range: &str| {
        format!(
            "05 01 09 04 A1 01 05 09 19 01 29 14 15 00 25 01 75 01 95 14 81 02 75 04 95 01 81 03 05 01 09 30 {range} \
             75 10 95 01 81 02 C0"
        )
    };
    let report = hex("01 00 08 FE FF");
    let axis = bits::value(&report, 24, 16);
    for (range, x) in [("15 00 27 FF FF 00 00", 65534), ("15 00 26 FF FF", 65534), ("16 00 80 26 FF 7F", -2)]
    {
        let descriptor = hex(&board(range));
        let layout = Layout::from_descriptor(&descriptor).unwrap();
        assert_eq!(numbers(layout.buttons()), (1..=20).collect::<Vec<_>>());
        assert_eq!(pressed(&layout, &report), [1, 20], "{range}");
        let reports = descriptor::input_reports(&descriptor).unwrap();
        assert_eq!(reports[0].fields.last().unwrap().range.value(axis, 16), x, "{range}");
    }
    assert!(Layout::from_descriptor(&hex(&board("15 01 25 00"))).is_err());
}

/// HID Usage Tables 1.3, section 12, the array form: Logical Minimum 1 with null state, 0 is "no button
/// pressed".
#[test]
fn an_array_of_pressed_buttons() {
    let layout = layout("05 01 09 04 A1 01 05 09 19 01 29 20 15 01 25 20 75 08 95 03 81 40 C0");
    assert_eq!(numbers(layout.buttons()), (1..=32).collect::<Vec<_>>());
    assert_eq!(pressed(&layout, &[0, 0, 0]), []);
    assert_eq!(pressed(&layout, &[7, 0, 32]), [7, 32]);
    assert_eq!(pressed(&layout, &[33, 255, 9]), [9]);
    let mut state = Buttons::NONE.with(button(7), true);
    layout.apply(&[1, 0, 0], &mut state).unwrap();
    assert_eq!(numbers(state), [1], "what is not in the array is released");
}
