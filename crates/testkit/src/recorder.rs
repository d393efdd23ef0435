use crate::Report;
use std::fmt::Write as _;

/// The vendor of the invented boards: pid.codes, which gives product numbers to open hardware.
pub const BOARD_VENDOR: u16 = 0x1209;
/// The product number of the invented boards.
pub const BOARD_PRODUCT: u16 = 0x7a11;

/// How many buttons an invented board has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ButtonField {
    /// 16 buttons, two bytes a report.
    Sixteen,
    /// 32 buttons, four bytes a report.
    ThirtyTwo,
}

impl ButtonField {
    /// Buttons in the report.
    #[must_use]
    pub const fn buttons(self) -> u8 {
        match self {
            Self::Sixteen => 16,
            Self::ThirtyTwo => 32,
        }
    }

    /// Bytes in the report, which has no report ID.
    #[must_use]
    pub fn report_bytes(self) -> usize {
        usize::from(self.buttons() / 8)
    }

    /// The report descriptor: a joystick with nothing but buttons, one bit each, button 1 in bit 0 of byte 0
    /// (HID 1.11, 6.2.2; written for this project).
    #[must_use]
    pub const fn descriptor(self) -> [u8; 23] {
        let n = self.buttons();
        [
            0x05, 0x01, // Usage Page (Generic Desktop)
            0x09, 0x04, // Usage (Joystick)
            0xA1, 0x01, // Collection (Application)
            0x05, 0x09, // Usage Page (Button)
            0x19, 0x01, // Usage Minimum (Button 1)
            0x29, n, // Usage Maximum (Button n)
            0x15, 0x00, // Logical Minimum (0)
            0x25, 0x01, // Logical Maximum (1)
            0x75, 0x01, // Report Size (1)
            0x95, n, // Report Count (n)
            0x81, 0x02, // Input (Data, Variable, Absolute)
            0xC0, // End Collection
        ]
    }
}

/// Writes a board's reports as a recording in the hid-recorder text format: `N:`, `P:`, `I:`, `R:`
/// once, then one `E:` line per report. There is no `D:` line, as there is one board only.
#[derive(Debug)]
pub struct Recorder {
    field: ButtonField,
    text: String,
}

impl Recorder {
    /// A recording that begins with a board's description.
    #[must_use]
    pub fn new(name: &str, field: ButtonField) -> Self {
        let mut recorder = Self { field, text: String::new() };
        recorder.line(format_args!("N: {name}"));
        recorder.line(format_args!("P: bench/input0"));
        recorder.line(format_args!("I: 3 {BOARD_VENDOR:04x} {BOARD_PRODUCT:04x}"));
        recorder.bytes("R:", &field.descriptor());
        recorder
    }

    /// Adds a comment line.
    pub fn comment(&mut self, text: &str) {
        self.line(format_args!("# {text}"));
    }

    /// Adds a report: seconds and six digits of microseconds, then its bytes.
    pub fn report(&mut self, report: &Report) {
        let micros = report.at.micros();
        let bytes = report.buttons.bits().to_le_bytes();
        let bytes = bytes.get(..self.field.report_bytes()).unwrap_or(&[]);
        self.bytes(&format!("E: {:06}.{:06}", micros / 1_000_000, micros % 1_000_000), bytes);
    }

    /// The recording's text.
    #[must_use]
    pub fn finish(self) -> String {
        self.text
    }

    fn bytes(&mut self, head: &str, bytes: &[u8]) {
        let hex = bytes.iter().fold(String::new(), |mut hex, byte| {
            let _ = write!(hex, " {byte:02x}"); // writing to a String cannot fail
            hex
        });
        self.line(format_args!("{head} {}{hex}", bytes.len()));
    }

    fn line(&mut self, line: std::fmt::Arguments<'_>) {
        let _ = writeln!(self.text, "{line}"); // writing to a String cannot fail
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use expect_test::expect;
    use tallywheel_units::{Buttons, Timestamp};

    #[test]
    fn a_recording_reads_like_hid_recorder_output() {
        let mut recorder = Recorder::new("Bench board", ButtonField::Sixteen);
        recorder.comment("truth: none");
        let report = Report { at: Timestamp::from_micros(1_000_005), buttons: Buttons::from_bits(0x8001) };
        recorder.report(&report);
        expect![[r"
            N: Bench board
            P: bench/input0
            I: 3 1209 7a11
            R: 23 05 01 09 04 a1 01 05 09 19 01 29 10 15 00 25 01 75 01 95 10 81 02 c0
            # truth: none
            E: 000001.000005 2 01 80
        "]]
        .assert_eq(&recorder.finish());
    }
}
