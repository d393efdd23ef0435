//! Which key code the kernel has given to which button of a board.

use tallywheel_units::{ButtonNumber, Buttons};

/// The page of buttons in HID Usage Tables 1.3, section 12, where the kernel has it in a scan code: the page in
/// the upper half, the button's number in the lower (`drivers/hid/hid-input.c`, `hidinput_getkeycode`).
const BUTTON_PAGE: u32 = 0x0009;

/// The most keys that are asked for; `HID_MAX_USAGES` of the kernel is as many.
const MOST_KEYS: u16 = 12_288;

/// The key codes of `buttons`. `key` gives the code and the scan code of the kernel's n-th key of the board, and
/// nothing after the last.
///
/// The kernel itself is asked because what it does depends on more than the number: a joystick's buttons begin
/// at another code than a gamepad's, from the 17th on they lie elsewhere, and two buttons of one number get the
/// next free codes.
pub(super) fn of_buttons(buttons: Buttons, key: impl Fn(u16) -> Option<(u32, Vec<u8>)>) -> Vec<u16> {
    (0..MOST_KEYS)
        .map_while(key)
        .filter(|(_, scan)| button(scan).is_some_and(|button| buttons.pressed(button)))
        .filter_map(|(code, _)| u16::try_from(code).ok())
        // A button for which the kernel has no code left is seen by nobody.
        .filter(|code| *code != 0)
        .collect()
}

fn button(scan: &[u8]) -> Option<ButtonNumber> {
    let scan = u32::from_ne_bytes(scan.try_into().ok()?);
    let number = u8::try_from(scan & 0xFFFF).ok()?;
    (scan >> 16 == BUTTON_PAGE).then(|| ButtonNumber::new(number)).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn buttons(numbers: &[u8]) -> Buttons {
        numbers.iter().fold(Buttons::NONE, |all, number| all.with(ButtonNumber::new(*number).unwrap(), true))
    }

    /// A joystick of 20 buttons, and before them a key of another page, as the kernel tells them.
    fn joystick(place: u16) -> Option<(u32, Vec<u8>)> {
        let place = u32::from(place);
        let key = |code: u32, scan: u32| Some((code, scan.to_ne_bytes().to_vec()));
        match place {
            0 => key(0x74, 0x0001_0081),
            1..=16 => key(0x120 + place - 1, 0x0009_0000 + place),
            17..=20 => key(0x2c0 + place - 17, 0x0009_0000 + place),
            21 => key(0, 0x0009_0005),
            _ => None,
        }
    }

    #[test]
    fn the_kernels_own_table_is_used() {
        assert_eq!(of_buttons(buttons(&[3, 4, 17, 128]), joystick), [0x122, 0x123, 0x2c0]);
        assert!(of_buttons(Buttons::NONE, joystick).is_empty());
        // Number 0x81 of another page is no button, and what has no code is no key.
        assert_eq!(of_buttons(buttons(&[5]), joystick), [0x124]);
    }

    #[test]
    fn two_buttons_of_one_number_are_both_found() {
        let twice = |place: u16| {
            let codes = [0x122, 0x125];
            codes.get(usize::from(place)).map(|code| (*code, 0x0009_0003_u32.to_ne_bytes().to_vec()))
        };
        assert_eq!(of_buttons(buttons(&[3]), twice), [0x122, 0x125]);
    }

    #[test]
    fn a_scan_code_of_another_length_is_none() {
        assert!(of_buttons(buttons(&[3]), |place| (place < 3).then(|| (0x122, vec![3, 0]))).is_empty());
    }
}
