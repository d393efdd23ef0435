//! Report IDs, several applications, and which number a button gets.

use super::*;

const JOYSTICK: &str = "05 01 09 04 A1 01";

/// Linux 6.1, hid-input.c, `hidinput_configure_usage`: a code that is taken gives the next free one; hid-core.c,
/// `hid_add_field`: the last usage goes for all controls beyond.
#[test]
fn a_usage_that_stands_there_twice_takes_the_next_free_number() {
    let one_bit_each = "15 00 25 01 75 01";
    let board = |usages: &str, count: u8| {
        layout(&format!("{JOYSTICK} 05 09 {usages} {one_bit_each} 95 {count:02X} 81 02 C0"))
    };
    // 1, 1, 2: the second 1 takes 2, and 2 then takes 3.
    assert_eq!(pressed(&board("09 01 09 01 09 02", 3), &[0b010]), [2]);
    assert_eq!(pressed(&board("09 01 09 01 09 02", 3), &[0b100]), [3]);
    // 5, 1, 1 with 5 taken first.
    assert_eq!(pressed(&board("09 05 09 04 09 04 09 04", 4), &[0b1000]), [7]);
    // One usage for eight controls.
    assert_eq!(numbers(board("09 03", 8).buttons()), [3, 4, 5, 6, 7, 8, 9, 10]);
    // More usages than controls: the numbers are taken, the buttons are not there.
    assert_eq!(numbers(board("19 01 29 08", 4).buttons()), [1, 2, 3, 4]);
    // 128 is the end; usage 0 is no button; neither are usages past 128.
    assert_eq!(numbers(board("09 80", 8).buttons()), [128]);
    assert_eq!(numbers(board("19 00 29 07", 8).buttons()), [1, 2, 3, 4, 5, 6, 7]);
    assert_eq!(numbers(board("1A 81 00 2A 88 00", 8).buttons()), []);
}

/// The kernel appends all ranges and usages of a field in their order.
#[test]
fn several_ranges_in_one_field() {
    let board =
        layout(&format!("{JOYSTICK} 05 09 19 01 29 03 09 10 19 20 29 23 15 00 25 01 75 01 95 08 81 02 C0"));
    assert_eq!(numbers(board.buttons()), [1, 2, 3, 16, 32, 33, 34, 35]);
    assert_eq!(pressed(&board, &[0b0001_1000]), [16, 32]);
}

/// Section 6.2.2.8: the usage page in force at the main item counts, unless the usage brings its own.
#[test]
fn the_page_may_come_after_the_usage_or_with_it() {
    let after = layout(&format!("{JOYSTICK} 19 01 29 08 05 09 15 00 25 01 75 01 95 08 81 02 C0"));
    assert_eq!(pressed(&after, &[0x80]), [8]);
    let with =
        layout(&format!("{JOYSTICK} 1B 01 00 09 00 2B 08 00 09 00 05 01 15 00 25 01 75 01 95 08 81 02 C0"));
    assert_eq!(pressed(&with, &[0x80]), [8]);
}

/// Constants and fields without a usage are padding, as in the kernel.
#[test]
fn padding_moves_what_follows() {
    let board = layout(&format!(
        "{JOYSTICK} 15 00 25 01 75 05 95 01 81 02 05 09 19 01 29 03 75 01 95 03 81 03 19 01 29 04 95 04 81 02 C0"
    ));
    assert_eq!(numbers(board.buttons()), [1, 2, 3, 4]);
    assert_eq!(pressed(&board, &[0, 0b0110]), [2, 3]);
}

#[test]
fn each_report_id_has_its_own_bits() {
    let board = layout(&format!(
        "{JOYSTICK} 05 09 15 00 25 01 75 01 85 01 19 01 29 08 95 08 81 02 85 02 19 09 29 10 81 02 85 01 19 11 29 18 81 \
         02 85 03 05 01 09 30 75 08 95 01 81 02 C0"
    ));
    assert_eq!(numbers(board.buttons()), (1..=24).collect::<Vec<_>>());
    assert_eq!(pressed(&board, &[1, 0x80, 0x01]), [8, 17]);
    assert_eq!(pressed(&board, &[2, 0x81]), [9, 16]);
    assert_eq!(pressed(&board, &[3, 0xFF]), [], "a report without buttons");
    let mut state = Buttons::NONE;
    board.apply(&[1, 0x01, 0], &mut state).unwrap();
    board.apply(&[2, 0x01], &mut state).unwrap();
    board.apply(&[3, 0xFF], &mut state).unwrap();
    assert_eq!(numbers(state), [1, 9], "a report tells about its own buttons only");
    assert_eq!(board.apply(&[4, 0xFF], &mut state), Err(ReportError::UnknownId { id: 4 }));
    assert_eq!(board.apply(&[0, 0xFF], &mut state), Err(ReportError::UnknownId { id: 0 }));
}

/// hid-core.c: once one report has an ID, all start with one byte for it, and fields that came before any
/// Report ID are in report 0.
#[test]
fn fields_before_the_first_id_are_in_report_zero() {
    let board = layout(&format!(
        "{JOYSTICK} 05 09 15 00 25 01 75 01 95 08 19 01 29 08 81 02 85 07 19 09 29 10 81 02 C0"
    ));
    assert_eq!(pressed(&board, &[0, 0x01]), [1]);
    assert_eq!(pressed(&board, &[7, 0x01]), [9]);
}

/// Two joysticks on one board, each with buttons 1 to 8: the second's follow. Kernel event devices show each
/// from 1; a board here has one row of numbers.
#[test]
fn a_second_joystick_follows_the_first() {
    let joystick =
        |id: u8| format!("{JOYSTICK} 85 {id:02X} 05 09 19 01 29 08 15 00 25 01 75 01 95 08 81 02 C0");
    let board = layout(&format!("{}{}", joystick(1) + " ", joystick(2)));
    assert_eq!(pressed(&board, &[1, 0x81]), [1, 8]);
    assert_eq!(pressed(&board, &[2, 0x81]), [9, 16]);
}

/// A mouse that the descriptor names first does not shift the joystick's numbers.
#[test]
fn joysticks_are_numbered_before_mice() {
    let part = |usage: &str, id: u8, buttons: u8| {
        format!(
            "05 01 09 {usage} A1 01 85 {id:02X} 05 09 19 01 29 {buttons:02X} 15 00 25 01 75 01 95 08 81 02 C0 "
        )
    };
    for player in ["04", "05", "08"] {
        let board = layout(&(part("02", 1, 3) + &part(player, 2, 8)));
        assert_eq!(pressed(&board, &[2, 0b1111_1111]), (1..=8).collect::<Vec<_>>());
        assert_eq!(pressed(&board, &[1, 0b0000_0111]), [9, 10, 11]);
    }
}

/// Buttons that are not a plain bit: a byte each with a null state, and two bits without one.
#[test]
fn wide_buttons_follow_the_kernels_range_rules() {
    let bytes = layout(&format!("{JOYSTICK} 05 09 19 01 29 02 15 00 25 64 75 08 95 02 81 42 C0"));
    let mut state = Buttons::NONE;
    bytes.apply(&[0x64, 0x00], &mut state).unwrap();
    assert_eq!(numbers(state), [1]);
    bytes.apply(&[0x65, 0x01], &mut state).unwrap();
    assert_eq!(numbers(state), [1, 2], "a null value leaves the button as it was");
    bytes.apply(&[0x00, 0xFF], &mut state).unwrap();
    assert_eq!(numbers(state), [2]);
    assert_eq!(bytes.read(&[0x00, 0xFF], &mut state).map(numbers), Ok(vec![1]), "told about 1 only");
    let pairs = layout(&format!("{JOYSTICK} 05 09 19 01 29 04 15 00 25 01 75 02 95 04 81 02 C0"));
    assert_eq!(pressed(&pairs, &[0b11_10_01_00]), [2, 3, 4]);
}

#[test]
fn a_hundred_and_twenty_eight_buttons_cross_every_byte() {
    let board = layout(&format!(
        "{JOYSTICK} 75 03 95 01 81 03 05 09 19 01 29 80 15 00 25 01 75 01 95 80 81 02 75 05 95 01 81 03 C0"
    ));
    assert_eq!(board.buttons().bits(), u128::MAX);
    for number in 1..=128 {
        let bit = usize::from(number) + 2;
        let mut report = [0; 17];
        report[bit / 8] = 1 << (bit % 8);
        assert_eq!(pressed(&board, &report), [number]);
    }
}

#[test]
fn a_board_without_buttons_has_none() {
    let board = layout("05 01 09 04 A1 01 09 30 15 00 26 FF 00 75 08 95 01 81 02 C0");
    assert_eq!(board.buttons(), Buttons::NONE);
    assert_eq!(pressed(&board, &[0xFF]), []);
}

#[test]
fn runs_from_the_rig_file() {
    let run = |report_id, first_bit, first: u8, buttons| {
        Layout::from_runs(&[ButtonRun { report_id, first_bit, first_button: button(first), buttons }])
    };
    assert_eq!(pressed(&run(None, 3, 5, 6).unwrap(), &[0b1000_1000, 1]), [5, 9, 10]);
    assert_eq!(pressed(&run(Some(2), 8, 1, 8).unwrap(), &[2, 0x81]), [1, 8]);
    assert_eq!(pressed(&run(Some(2), 8, 1, 8).unwrap(), &[3, 0x81]), [], "other reports hold no buttons");
    assert_eq!(Layout::from_runs(&[]), Err(LayoutError::Empty));
    let out_of_range = |first, buttons| LayoutError::RunOutOfRange { first_button: button(first), buttons };
    assert_eq!(run(None, 0, 1, 0), Err(out_of_range(1, 0)));
    assert_eq!(run(None, 0, 121, 9), Err(out_of_range(121, 9)));
    assert_eq!(run(None, 0, 1, 255), Err(out_of_range(1, 255)));
    assert!(run(None, 16_384 * 8 - 128, 1, 128).is_ok());
    assert!(matches!(run(None, 16_384 * 8 - 127, 1, 128), Err(LayoutError::BitsOutOfPlace { .. })));
    assert!(matches!(run(None, u32::MAX, 1, 128), Err(LayoutError::BitsOutOfPlace { .. })));
    assert!(matches!(run(Some(1), 7, 1, 8), Err(LayoutError::BitsOutOfPlace { .. })));
}

#[test]
fn runs_must_not_contradict_each_other() {
    let run = |report_id, first_bit, first: u8, buttons| ButtonRun {
        report_id,
        first_bit,
        first_button: button(first),
        buttons,
    };
    let mixed = [run(None, 8, 1, 8), run(Some(1), 8, 9, 8)];
    assert_eq!(Layout::from_runs(&mixed), Err(LayoutError::MixedReportIds));
    let twice = [run(Some(1), 8, 1, 8), run(Some(2), 8, 8, 8)];
    assert_eq!(Layout::from_runs(&twice), Err(LayoutError::ButtonTwice { button: button(8) }));
    let crossing = Layout::from_runs(&[run(None, 0, 1, 8), run(None, 7, 9, 8)]).unwrap_err();
    assert_eq!(
        crossing.to_string(),
        "bits 7 and following of the report are no place for button 9: another run has some of them"
    );
    let apart = [run(Some(1), 8, 1, 8), run(Some(2), 8, 9, 8), run(Some(1), 16, 17, 8)];
    let board = Layout::from_runs(&apart).unwrap();
    assert_eq!(pressed(&board, &[1, 1, 1]), [1, 17]);
    assert_eq!(pressed(&board, &[2, 1]), [9]);
}
