//! Descriptors and reports that break the rules.

use super::*;
use expect_test::{Expect, expect};

fn check(descriptor: &[u8], expected: Expect) {
    expected.assert_eq(&Layout::from_descriptor(descriptor).unwrap_err().to_string());
}

#[test]
fn every_broken_rule_has_its_place_and_reason() {
    check(&[], expect!["there is nothing to make a layout from"]);
    check(&[0; 4097], expect!["the report descriptor has 4097 bytes; the kernel takes at most 4096"]);
    check(
        &hex("05 01 09 04 A1 01"),
        expect!["report descriptor, byte 6: a collection is still open at the end"],
    );
    check(
        &hex("05 01 A1 01 C0 C0"),
        expect!["report descriptor, byte 5: an End Collection without a collection"],
    );
    check(&hex("B4"), expect!["report descriptor, byte 0: a Pop without a Push"]);
    check(&hex("A4 A4 A4 A4 A4"), expect!["report descriptor, byte 4: more than four Push items deep"]);
    check(&hex("05 01 85 00"), expect!["report descriptor, byte 2: a Report ID outside 1 to 255"]);
    check(&hex("05 01 86 00 01"), expect!["report descriptor, byte 2: a Report ID outside 1 to 255"]);
    check(&hex("76 01 01"), expect!["report descriptor, byte 0: a Report Size above 256 bits"]);
    check(&hex("96 01 30"), expect!["report descriptor, byte 0: a Report Count above 12,288"]);
    check(
        &hex("15 05 25 04 81 02"),
        expect!["report descriptor, byte 4: the Logical Maximum is below the Logical Minimum"],
    );
    check(
        &hex("15 05 25 04 91 02"),
        expect!["report descriptor, byte 4: the Logical Maximum is below the Logical Minimum"],
    );
    check(&hex("FE 00 00"), expect!["report descriptor, byte 0: a long item, which no HID version defines"]);
    check(&hex("05 01 00"), expect!["report descriptor, byte 2: Invalid data: Invalid item tag 0b000000"]);
    check(&hex("05 01 27 FF FF 00"), expect!["report descriptor, byte 2: Insufficient data"]);
    check(&hex("C4"), expect!["report descriptor, byte 0: a global item that HID does not define"]);
    check(&hex("A9 01 A9 01"), expect!["report descriptor, byte 2: a delimiter within a delimiter"]);
    check(&hex("A9 00"), expect!["report descriptor, byte 0: a delimiter closes that was not open"]);
    check(&hex("A9 01"), expect!["report descriptor, byte 2: a delimiter is still open at the end"]);
    check(
        &hex("19 01 2A 00 30 09 01"),
        expect!["report descriptor, byte 5: more than 12,288 usages for one field"],
    );
    // 8 x 12,288 bits are 12,288 bytes; twice that is too long.
    check(
        &hex("75 08 96 00 30 81 03 81 03"),
        expect!["report descriptor, byte 7: an input report longer than 16,383 bytes"],
    );
}

/// Cut after every byte: refused or, where the rest stands on its own, taken; never a panic.
#[test]
fn a_descriptor_cut_short() {
    let whole = hex("05 01 09 04 A1 01 05 09 19 01 29 14 15 00 25 01 75 01 95 14 81 02 C0");
    assert!(Layout::from_descriptor(&whole).is_ok());
    for length in 0..whole.len() {
        let cut = Layout::from_descriptor(&whole[..length]);
        let open = length > 4;
        assert!(!open || cut.is_err(), "{length}");
    }
}

/// The first makes crate hidreport 0.6 panic when it interprets it itself, the second ask for 16 GB.
#[test]
fn what_hidreport_must_not_be_asked_to_interpret() {
    let no_page = "09 01 15 00 25 01 75 01 95 08 81 02";
    let theirs = std::panic::catch_unwind(|| hidreport::ReportDescriptor::try_from(&hex(no_page)).is_ok());
    assert!(theirs.is_err(), "hidreport no longer panics: descriptor.rs gives that as a reason");
    assert_eq!(layout(no_page).buttons(), Buttons::NONE);
    let endless = layout("05 09 19 00 2B FF FF FF FF 15 00 25 01 75 01 95 08 81 02");
    // The last item brings its page with it, so that the range runs over pages and not over buttons.
    assert_eq!(endless.buttons(), Buttons::NONE);
    let many = layout("05 09 19 01 2A FF FF 15 00 25 01 75 01 95 08 81 02");
    assert_eq!(numbers(many.buttons()), [1, 2, 3, 4, 5, 6, 7, 8]);
}

/// 2,000 collections within each other.
#[test]
fn deep_collections_are_no_recursion() {
    let deep = [[0xA1, 0x01].repeat(1300), vec![0xC0; 1300]].concat();
    assert_eq!(Layout::from_descriptor(&deep).unwrap().buttons(), Buttons::NONE);
}

#[test]
fn the_kernels_limit_of_fields_holds() {
    let field = "09 01 81 02 ".repeat(300);
    let board = layout(&format!("05 09 15 00 25 01 75 01 95 01 {field}"));
    assert_eq!(board.buttons().bits(), u128::MAX);
}

/// The kernel fills short reports with zeros; here they are refused and the state stays. Longer is fine.
#[test]
fn short_reports_are_refused() {
    let board =
        layout("05 01 09 04 A1 01 05 09 19 01 29 14 15 00 25 01 75 01 95 14 81 02 75 04 95 01 81 03 C0");
    let mut state = Buttons::NONE.with(button(20), true);
    let before = state;
    assert_eq!(board.apply(&[], &mut state), Err(ReportError::Empty));
    assert_eq!(board.apply(&[0xFF], &mut state), Err(ReportError::TooShort { bytes: 1, needed: 3 }));
    let short = board.apply(&[0xFF, 0xFF], &mut state).unwrap_err();
    assert_eq!(short.to_string(), "the report has 2 bytes, but its buttons need 3");
    assert_eq!(state, before);
    board.apply(&[0x01, 0, 0, 0xFF, 0xFF], &mut state).unwrap();
    assert_eq!(numbers(state), [1]);
    let mut long = vec![0xFF; 16_384];
    long[0] = 2;
    assert_eq!(pressed(&board, &long)[0], 2);
}
