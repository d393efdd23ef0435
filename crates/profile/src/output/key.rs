use crate::read::Setting;
use std::fmt;

/// A key of the keyboard by its place, whatever is printed on it: letters, digits, signs, F1 to F24, arrows and the
/// number pad. Those that end programs, confirm or delete are not among them, nor those that are held with others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct KeyPlace {
    name: &'static str,
    code: ScanCode,
}

/// What a keyboard of the PC sends when a key goes down: set 1 of its scan codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ScanCode {
    /// The last byte, 0x02..=0x76.
    pub byte: u8,
    /// Whether the byte 0xE0 comes before it.
    pub extended: bool,
}

impl KeyPlace {
    /// The key that an aircraft file calls `name`.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::all().find(|key| key.name == name)
    }

    /// Every key.
    pub fn all() -> impl Iterator<Item = Self> {
        let single = SINGLE.iter().map(|&(name, byte)| (name, ScanCode { byte, extended: false }));
        let extended = EXTENDED.iter().map(|&(name, byte)| (name, ScanCode { byte, extended: true }));
        single.chain(extended).map(|(name, code)| Self { name, code })
    }

    /// Its name in the W3C's "UI Events KeyboardEvent code Values", such as `F13` or `KeyA`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        self.name
    }

    /// What a keyboard sends for it.
    #[must_use]
    pub const fn scan_code(self) -> ScanCode {
        self.code
    }
}

impl fmt::Display for KeyPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name)
    }
}

impl Setting for KeyPlace {
    fn expected() -> String {
        "a key, such as \"F13\", \"KeyA\" or \"Numpad7\"".to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "enum": Self::all().map(Self::name).collect::<Vec<_>>() })
    }

    fn from_text(text: &str) -> Option<Self> {
        Self::from_name(text)
    }
}

/// Set 1, from the table "PS/2 Set 1 Make" of Microsoft's translation of HID usages to scan codes.
const SINGLE: [(&str, u8); 84] = [
    ("F13", 0x64),
    ("F14", 0x65),
    ("F15", 0x66),
    ("F16", 0x67),
    ("F17", 0x68),
    ("F18", 0x69),
    ("F19", 0x6a),
    ("F20", 0x6b),
    ("F21", 0x6c),
    ("F22", 0x6d),
    ("F23", 0x6e),
    ("F24", 0x76),
    ("F1", 0x3b),
    ("F2", 0x3c),
    ("F3", 0x3d),
    ("F4", 0x3e),
    ("F5", 0x3f),
    ("F6", 0x40),
    ("F7", 0x41),
    ("F8", 0x42),
    ("F9", 0x43),
    ("F10", 0x44),
    ("F11", 0x57),
    ("F12", 0x58),
    ("KeyA", 0x1e),
    ("KeyB", 0x30),
    ("KeyC", 0x2e),
    ("KeyD", 0x20),
    ("KeyE", 0x12),
    ("KeyF", 0x21),
    ("KeyG", 0x22),
    ("KeyH", 0x23),
    ("KeyI", 0x17),
    ("KeyJ", 0x24),
    ("KeyK", 0x25),
    ("KeyL", 0x26),
    ("KeyM", 0x32),
    ("KeyN", 0x31),
    ("KeyO", 0x18),
    ("KeyP", 0x19),
    ("KeyQ", 0x10),
    ("KeyR", 0x13),
    ("KeyS", 0x1f),
    ("KeyT", 0x14),
    ("KeyU", 0x16),
    ("KeyV", 0x2f),
    ("KeyW", 0x11),
    ("KeyX", 0x2d),
    ("KeyY", 0x15),
    ("KeyZ", 0x2c),
    ("Digit1", 0x02),
    ("Digit2", 0x03),
    ("Digit3", 0x04),
    ("Digit4", 0x05),
    ("Digit5", 0x06),
    ("Digit6", 0x07),
    ("Digit7", 0x08),
    ("Digit8", 0x09),
    ("Digit9", 0x0a),
    ("Digit0", 0x0b),
    ("Minus", 0x0c),
    ("Equal", 0x0d),
    ("BracketLeft", 0x1a),
    ("BracketRight", 0x1b),
    ("Semicolon", 0x27),
    ("Quote", 0x28),
    ("Backquote", 0x29),
    ("Backslash", 0x2b),
    ("Comma", 0x33),
    ("Period", 0x34),
    ("Slash", 0x35),
    ("Numpad7", 0x47),
    ("Numpad8", 0x48),
    ("Numpad9", 0x49),
    ("NumpadSubtract", 0x4a),
    ("Numpad4", 0x4b),
    ("Numpad5", 0x4c),
    ("Numpad6", 0x4d),
    ("NumpadAdd", 0x4e),
    ("Numpad1", 0x4f),
    ("Numpad2", 0x50),
    ("Numpad3", 0x51),
    ("Numpad0", 0x52),
    ("NumpadMultiply", 0x37),
];

/// Those with 0xE0 before the byte.
const EXTENDED: [(&str, u8); 9] = [
    ("NumpadDivide", 0x35),
    ("ArrowUp", 0x48),
    ("ArrowDown", 0x50),
    ("ArrowLeft", 0x4b),
    ("ArrowRight", 0x4d),
    ("Home", 0x47),
    ("End", 0x4f),
    ("PageUp", 0x49),
    ("PageDown", 0x51),
];

#[cfg(test)]
mod tests {
    use super::*;
    use keyboard_types::Code;
    use std::collections::HashSet;

    /// The list of that crate is generated from the standard.
    #[test]
    fn names_are_the_standards() {
        for key in KeyPlace::all() {
            assert_eq!(key.name().parse::<Code>().unwrap().to_string(), key.name());
        }
        assert!("KeyAA".parse::<Code>().is_err());
    }

    #[test]
    fn every_key_has_a_name_and_a_code_of_its_own() {
        let codes: HashSet<_> = KeyPlace::all().map(KeyPlace::scan_code).collect();
        assert_eq!(codes.len(), KeyPlace::all().count());
        for key in KeyPlace::all() {
            assert_eq!(KeyPlace::from_name(key.name()), Some(key));
        }
        assert_eq!(KeyPlace::from_name("f13"), None);
        assert_eq!(KeyPlace::from_name("Escape"), None);
    }
}
