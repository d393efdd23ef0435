//! A layout that the rig file gives.

use super::field::Run;
use super::{Layout, LayoutError, ReportLayout};
use tallywheel_units::{ButtonNumber, ButtonRun};

/// The longest report that the kernel hands on (`HID_MAX_BUFFER_SIZE`).
const LAST_BIT: u32 = 16_384 * 8 - 1;

pub(super) fn layout(runs: &[ButtonRun]) -> Result<Layout, LayoutError> {
    let first = runs.first().ok_or(LayoutError::Empty)?;
    if runs.iter().any(|run| run.report_id.is_some() != first.report_id.is_some()) {
        return Err(LayoutError::MixedReportIds);
    }
    let mut described = 0;
    let mut reports: Vec<ReportLayout> = Vec::new();
    for run in runs {
        let read = check(run)?;
        if described & read.mask() != 0 {
            let place = (described & read.mask()).trailing_zeros() + 1;
            let button = u8::try_from(place).ok().and_then(ButtonNumber::new).unwrap_or(run.first_button);
            return Err(LayoutError::ButtonTwice { button });
        }
        described |= read.mask();
        let report = match reports.iter().position(|report| report.id == run.report_id) {
            Some(place) => reports.get_mut(place),
            None => {
                reports.push(ReportLayout::empty(run.report_id));
                reports.last_mut()
            }
        };
        let Some(report) = report else { continue };
        if report.runs.iter().any(|other| other.first_bit < read.end() && read.first_bit < other.end()) {
            return Err(out_of_place(run, "another run has some of them"));
        }
        report.runs.push(read);
    }
    reports.iter_mut().for_each(ReportLayout::settle);
    Ok(Layout::new(reports, true))
}

fn check(run: &ButtonRun) -> Result<Run, LayoutError> {
    let shift = run.first_button.get() - 1;
    if run.buttons == 0 || shift.saturating_add(run.buttons) > 128 {
        return Err(LayoutError::RunOutOfRange { first_button: run.first_button, buttons: run.buttons });
    }
    if run.report_id.is_some() && run.first_bit < 8 {
        return Err(out_of_place(run, "the first byte is the report ID"));
    }
    if run.first_bit.saturating_add(u32::from(run.buttons)) > LAST_BIT + 1 {
        return Err(out_of_place(run, "no report is longer than 16,384 bytes"));
    }
    let first_bit = usize::try_from(run.first_bit).unwrap_or(usize::MAX);
    Ok(Run { first_bit, shift, bits: run.buttons })
}

fn out_of_place(run: &ButtonRun, reason: &'static str) -> LayoutError {
    LayoutError::BitsOutOfPlace { first_bit: run.first_bit, first_button: run.first_button, reason }
}
