//! Any text gives a checked aircraft or errors with places.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let text = String::from_utf8_lossy(data);
    if let Err(errors) = tallywheel_profile::aircraft("aircraft.toml", &text) {
        let said = errors.to_string();
        assert!(!said.is_empty() && said.lines().all(|line| line.starts_with("aircraft.toml:") || line.starts_with("and ")), "{said}");
    }
});
