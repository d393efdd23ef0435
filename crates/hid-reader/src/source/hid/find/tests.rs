use super::*;

const JOYSTICK: u16 = 4;
const KEYBOARD: u16 = 6;

fn board(number: u8, product: u16, serial: Option<&str>, usage: u16) -> Candidate {
    Candidate {
        path: CString::new(format!("/dev/hidraw{number}")).unwrap(),
        vendor: 0x1209,
        product,
        serial: serial.map(str::to_owned),
        name: "bench".to_owned(),
        usage_page: 1,
        usage,
        bus: 3,
    }
}

/// The path of the board that is chosen, or the error's text. Boards at even paths have buttons.
fn choose_from(candidates: &[Candidate], wanted: BoardMatch) -> String {
    let with_buttons = |candidate: &Candidate| {
        let even = candidate.path().ends_with(['0', '2', '4', '6', '8']);
        let buttons: &[u8] = &[0x05, 0x09, 0x19, 1, 0x29, 8, 0x15, 0, 0x25, 1, 0x75, 1, 0x95, 8, 0x81, 2];
        even.then(|| Layout::from_descriptor(buttons).unwrap())
    };
    match choose(candidates.to_vec(), &wanted, with_buttons) {
        Ok(candidate) => candidate.path().into_owned(),
        Err(error) => error.to_string(),
    }
}

fn product(product: u16) -> BoardMatch {
    BoardMatch { vendor: Some(0x1209), product: Some(product), ..BoardMatch::default() }
}

fn path(path: &str) -> BoardMatch {
    BoardMatch { path: Some(path.to_owned()), ..BoardMatch::default() }
}

#[test]
fn by_serial_then_ids_then_path() {
    let boards = [
        board(0, 0x7a11, Some("left"), JOYSTICK),
        board(2, 0x7a11, Some("right"), JOYSTICK),
        board(4, 0x7a12, None, JOYSTICK),
    ];
    let serial = |serial: &str| BoardMatch { serial: Some(serial.to_owned()), ..product(0x7a11) };
    assert_eq!(choose_from(&boards, serial("right")), "/dev/hidraw2");
    assert_eq!(choose_from(&boards, serial("lost")), "no board that matches is plugged in");
    let wrong_board = BoardMatch { product: Some(0x7a12), ..serial("right") };
    assert_eq!(choose_from(&boards, wrong_board), "no board that matches is plugged in");
    assert_eq!(choose_from(&boards, product(0x7a12)), "/dev/hidraw4");
    assert_eq!(
        choose_from(&boards, product(0x7a11)),
        "2 boards match: /dev/hidraw0, /dev/hidraw2; give the serial number or the path"
    );
    let which = BoardMatch { path: Some("/dev/hidraw2".to_owned()), ..product(0x7a11) };
    assert_eq!(choose_from(&boards, which), "/dev/hidraw2");
}

/// Plugged in again, a board has another path: with ids or a serial the path only breaks ties.
#[test]
fn an_old_path_does_not_hide_a_board_that_is_plain_to_see() {
    let boards = [board(6, 0x7a11, None, JOYSTICK), board(4, 0x7a12, None, JOYSTICK)];
    let moved = BoardMatch { path: Some("/dev/hidraw0".to_owned()), ..product(0x7a11) };
    assert_eq!(choose_from(&boards, moved), "/dev/hidraw6");
    assert_eq!(choose_from(&boards, path("/dev/hidraw0")), "no board that matches is plugged in");
    assert_eq!(choose_from(&boards, path("/dev/hidraw4")), "/dev/hidraw4");
}

/// A board with several interfaces: the one with buttons, and of those the joystick.
#[test]
fn the_interface_with_buttons_is_meant() {
    let boards = [
        board(1, 0x7a11, None, JOYSTICK),
        board(2, 0x7a11, None, KEYBOARD),
        board(4, 0x7a11, None, JOYSTICK),
    ];
    assert_eq!(choose_from(&boards, product(0x7a11)), "/dev/hidraw4");
    assert_eq!(choose_from(&boards[..2], product(0x7a11)), "/dev/hidraw2");
    assert_eq!(choose_from(&boards[..1], product(0x7a11)), "/dev/hidraw1");
}

#[test]
fn anything_matches_the_only_board() {
    assert_eq!(choose_from(&[board(0, 1, None, JOYSTICK)], BoardMatch::default()), "/dev/hidraw0");
    assert_eq!(choose_from(&[], BoardMatch::default()), "no board that matches is plugged in");
}

/// Names from the HID Usage Tables, section 4.
#[test]
fn boards_say_what_they_are() {
    let named = |page, usage| Candidate { usage_page: page, ..board(0, 1, None, usage) }.application();
    assert_eq!(named(1, JOYSTICK), "Joystick");
    assert_eq!(named(1, 5), "Gamepad");
    assert_eq!(named(1, 8), "Multi-axis Controller");
    assert_eq!(named(1, KEYBOARD), "Keyboard");
    assert_eq!(named(0xFF42, 7), "Vendor Usage 0x07");
    assert_eq!(named(1, 0x7FFF), "usage 0001:7fff");
}
