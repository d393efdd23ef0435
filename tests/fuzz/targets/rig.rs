//! Any text gives a checked rig or errors with places.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let text = String::from_utf8_lossy(data);
    if let Err(errors) = tallywheel_profile::rig("rig.toml", &text) {
        let said = errors.to_string();
        assert!(!said.is_empty() && said.lines().all(|line| line.starts_with("rig.toml:") || line.starts_with("and ")), "{said}");
    }
});
