use std::mem::{offset_of, size_of};

/// Bytes of one event on this machine: 24 where a `long` has 64 bits.
pub(crate) const EVENT_BYTES: usize = size_of::<libc::input_event>();

const TYPE: usize = offset_of!(libc::input_event, type_);
const CODE: usize = offset_of!(libc::input_event, code);
const VALUE: usize = offset_of!(libc::input_event, value);

/// The bytes of a `struct input_event` (`include/uapi/linux/input.h`) in the machine's own byte order.
///
/// The time stays 0: the kernel then stamps the event itself (`drivers/input/misc/uinput.c`,
/// `uinput_inject_events`).
pub(crate) fn encode(event_type: u16, code: u16, value: i32) -> [u8; EVENT_BYTES] {
    let mut bytes = [0; EVENT_BYTES];
    put(&mut bytes, TYPE, event_type.to_ne_bytes());
    put(&mut bytes, CODE, code.to_ne_bytes());
    put(&mut bytes, VALUE, value.to_ne_bytes());
    bytes
}

fn put<const N: usize>(bytes: &mut [u8; EVENT_BYTES], at: usize, field: [u8; N]) {
    // The offsets are the compiler's own, so there is always room.
    if let Some(place) = bytes.get_mut(at..at + N) {
        place.copy_from_slice(&field);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `struct input_event` on x86-64: two 8-byte times, `__u16 type`, `__u16 code`, `__s32 value`
    /// (`include/uapi/linux/input.h`, Linux 6.1), written out by hand.
    #[cfg(all(target_pointer_width = "64", target_endian = "little"))]
    #[test]
    fn an_event_has_the_kernels_24_bytes() {
        assert_eq!(
            encode(0x0003, 0x0105, -2),
            [
                0, 0, 0, 0, 0, 0, 0, 0, //
                0, 0, 0, 0, 0, 0, 0, 0, //
                0x03, 0x00, 0x05, 0x01, 0xFE, 0xFF, 0xFF, 0xFF,
            ]
        );
    }

    /// Against `libc`'s declaration of the same struct, on any machine.
    #[test]
    fn each_field_lies_where_libc_has_it() {
        let bytes = encode(0x1234, 0x5678, 0x0A0B_0C0D);
        assert_eq!(bytes.len(), size_of::<libc::input_event>());
        let at_type = offset_of!(libc::input_event, type_);
        let at_code = offset_of!(libc::input_event, code);
        let at_value = offset_of!(libc::input_event, value);
        assert_eq!(bytes[at_type..][..2], 0x1234_u16.to_ne_bytes());
        assert_eq!(bytes[at_code..][..2], 0x5678_u16.to_ne_bytes());
        assert_eq!(bytes[at_value..][..4], 0x0A0B_0C0D_i32.to_ne_bytes());
        let time = offset_of!(libc::input_event, time);
        assert!(bytes[time..][..size_of::<libc::timeval>()].iter().all(|&byte| byte == 0));
    }
}
