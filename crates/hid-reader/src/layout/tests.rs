//! Published descriptors, what the kernel does with odd ones, and noise.

use super::*;
use tallywheel_units::ButtonNumber;

mod against_hidreport;
mod malformed;
mod noise;
mod numbers;
mod published;
mod read_back;

/// A descriptor from hex.
fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace().map(|byte| u8::from_str_radix(byte, 16).unwrap()).collect()
}

fn layout(descriptor: &str) -> Layout {
    Layout::from_descriptor(&hex(descriptor)).unwrap()
}

/// The numbers of the buttons.
fn numbers(buttons: Buttons) -> Vec<u8> {
    (1..=128).filter(|number| buttons.pressed(ButtonNumber::new(*number).unwrap())).collect()
}

/// The numbers of the buttons that a report on its own presses.
fn pressed(layout: &Layout, report: &[u8]) -> Vec<u8> {
    let mut state = Buttons::NONE;
    layout.apply(report, &mut state).unwrap();
    numbers(state)
}

fn button(number: u8) -> ButtonNumber {
    ButtonNumber::new(number).unwrap()
}
