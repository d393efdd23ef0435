//! Which button number each usage gets.
//!
//! As in hid-input.c, `hidinput_configure_usage`: usage n of the button page gets number n; when that is
//! taken already, because a usage stands there twice or because one usage goes for many controls, it gets
//! the next free number above. The kernel starts afresh for each application, with an event device for each;
//! a rig file knows one board with one row of numbers. So a second joystick's buttons follow after the
//! first's. Joysticks, gamepads and multi-axis controllers come first, so that a keyboard or mouse on the
//! same board does not shift the numbers that every other program shows.

use super::bits;
use super::descriptor::{Field, InputReport};
use super::field::{Array, Run, Value};
use super::{Layout, ReportLayout};
use tallywheel_units::{ButtonNumber, Buttons};

const BUTTON_PAGE: u32 = 0x09; // HID Usage Tables 1.3, section 12
const JOYSTICK: u32 = 0x0001_0004; // section 4
const GAMEPAD: u32 = 0x0001_0005;
const MULTI_AXIS: u32 = 0x0001_0008;

pub(super) fn layout(reports: &[InputReport]) -> Layout {
    // hid-core.c, hid_register_report: one report with an ID gives all of them one.
    let numbered = reports.iter().any(|report| report.id != 0);
    let id_bits = if numbered { 8 } else { 0 };
    let mut taken = Taken::default();
    let mut layouts: Vec<ReportLayout> =
        reports.iter().map(|report| ReportLayout::empty(numbered.then_some(report.id))).collect();
    for players in [true, false] {
        for (report, layout) in reports.iter().zip(&mut layouts) {
            for field in report.fields.iter().filter(|field| is_player(field) == players) {
                place(field, id_bits, &mut taken, layout);
            }
        }
    }
    layouts.iter_mut().for_each(ReportLayout::settle);
    Layout::new(layouts, false)
}

fn is_player(field: &Field) -> bool {
    matches!(field.application, JOYSTICK | GAMEPAD | MULTI_AXIS)
}

fn place(field: &Field, id_bits: usize, taken: &mut Taken, layout: &mut ReportLayout) {
    let listed = field.usages.iter().flat_map(|usages| usages.iter());
    let last = field.usages.last().and_then(|usages| usages.iter().last());
    let controls = usize::try_from(field.count).unwrap_or(0);
    let listed_count = field.usages.iter().flat_map(|usages| usages.iter()).count();
    // hid-core.c, hid_add_field: the last usage goes for all controls beyond, and usages beyond the controls
    // still take their numbers.
    let usages = listed.chain(last.into_iter().cycle()).take(controls.max(listed_count));
    let first_bit = field.first_bit + id_bits;
    let size = usize::try_from(field.size).unwrap_or(0);
    let bits = u8::try_from(field.size.min(32)).unwrap_or(32);
    if field.variable {
        for (control, usage) in usages.enumerate() {
            let Some(button) = taken.next(usage) else { continue };
            if control < controls && bits > 0 {
                let first_bit = first_bit + control * size;
                if bits == 1 && field.range.is_plain_bit() {
                    layout.push_bit(first_bit, button);
                } else {
                    layout.values.push(Value { first_bit, bits, range: field.range, mask: button.mask() });
                }
            }
        }
    } else {
        let mut buttons: Vec<_> = usages.map(|usage| taken.next(usage)).collect();
        buttons.truncate(buttons.iter().rposition(Option::is_some).map_or(0, |last| last + 1));
        let mask = buttons.iter().flatten().fold(0, |mask, button| mask | button.mask());
        if mask != 0 && bits > 0 {
            let buttons = buttons.into_boxed_slice();
            let array = Array {
                first_bit,
                slots: controls,
                bits,
                slot_bits: size,
                range: field.range,
                buttons,
                mask,
            };
            layout.arrays.push(array);
        }
    }
}

#[derive(Default)]
struct Taken(u128);

impl Taken {
    /// The number for the next control with this usage; `None` for what is no button, or when all numbers
    /// from the usage's own up to 128 are taken.
    fn next(&mut self, usage: u32) -> Option<ButtonNumber> {
        if usage >> 16 != BUTTON_PAGE {
            return None;
        }
        let wanted = ButtonNumber::new(u8::try_from(usage & 0xFFFF).ok()?)?;
        let below = bits::mask(wanted.get() - 1);
        let place = (!(self.0 | below)).trailing_zeros();
        let button = ButtonNumber::new(u8::try_from(place + 1).ok()?)?;
        self.0 = Buttons::from_bits(self.0).with(button, true).bits();
        Some(button)
    }
}

impl ReportLayout {
    fn push_bit(&mut self, first_bit: usize, button: ButtonNumber) {
        let shift = button.get() - 1;
        if let Some(run) = self.runs.last_mut()
            && run.end() == first_bit
            && run.shift + run.bits == shift
        {
            run.bits += 1;
            return;
        }
        self.runs.push(Run { first_bit, shift, bits: 1 });
    }
}
