//! A report descriptor of any bytes gives a layout or an error, and the layout takes any report.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tallywheel_hid_reader::Layout;
use tallywheel_units::Buttons;

fuzz_target!(|data: (&[u8], &[u8])| {
    let (descriptor, report) = data;
    if let Ok(layout) = Layout::from_descriptor(descriptor) {
        let mut state = Buttons::NONE;
        let before = state;
        match layout.apply(report, &mut state) {
            // Only buttons that the layout has may ever be pressed.
            Ok(_) => assert_eq!(state.bits() & !layout.buttons().bits(), 0),
            Err(_) => assert_eq!(state, before, "a report that is refused must change nothing"),
        }
    }
});
