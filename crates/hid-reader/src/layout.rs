//! Which bits of which report are which buttons.

mod bits;
mod descriptor;
mod error;
mod field;
mod numbering;
mod runs;

pub use error::{LayoutError, ReportError};
pub use tallywheel_units::ButtonRun;

use field::{Array, Run, Short, Value};
use tallywheel_units::Buttons;

/// Which bits of which report are which buttons, from a board's report descriptor or from the rig file.
///
/// Immutable once made. Reading a report with it neither allocates nor panics, whatever the report holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layout {
    reports: Box<[ReportLayout]>,
    /// Reports with other IDs exist and hold no buttons.
    others: bool,
    buttons: Buttons,
    /// All that there is to read, on nearly every board: one kind of report with few buttons in a row.
    short: Option<Short>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct ReportLayout {
    /// The first byte, on boards that have IDs.
    id: Option<u8>,
    runs: Vec<Run>,
    values: Vec<Value>,
    arrays: Vec<Array>,
    /// Bytes that its buttons need.
    needed: usize,
    /// The buttons that every report of this kind gives, whatever it holds.
    always: u128,
}

impl Layout {
    /// From a board's report descriptor (HID 1.11, section 6.2.2), understood as Linux 6.1 understands it.
    ///
    /// A board without buttons gives a layout without buttons.
    ///
    /// # Errors
    /// [`LayoutError::Empty`], [`LayoutError::TooLong`] or [`LayoutError::Descriptor`], for what the kernel
    /// refuses too.
    pub fn from_descriptor(descriptor: &[u8]) -> Result<Self, LayoutError> {
        Ok(numbering::layout(&descriptor::input_reports(descriptor)?))
    }

    /// From runs of buttons as the rig file gives them, for a board whose descriptor does not tell the
    /// truth. Reports with IDs that no run names are taken to hold no buttons.
    ///
    /// # Errors
    /// Every [`LayoutError`] but those about descriptors.
    pub fn from_runs(runs: &[ButtonRun]) -> Result<Self, LayoutError> {
        runs::layout(runs)
    }

    fn new(reports: Vec<ReportLayout>, others: bool) -> Self {
        let buttons = reports.iter().fold(0, |all, report| all | report.buttons());
        let buttons = Buttons::from_bits(buttons);
        let short = match reports.as_slice() {
            [report] => report.short(),
            _ => None,
        };
        Self { reports: reports.into_boxed_slice(), others, buttons, short }
    }

    /// The buttons that exist.
    #[must_use]
    pub fn buttons(&self) -> Buttons {
        self.buttons
    }

    /// Takes over into `state` what `report` says about its buttons. The report starts with its ID if the
    /// board has IDs. Bytes past those that the buttons need are not looked at.
    ///
    /// # Errors
    /// The report is empty, too short or has an ID that the board does not have; `state` stays as it was.
    pub fn apply(&self, report: &[u8], state: &mut Buttons) -> Result<(), ReportError> {
        self.read(report, state).map(|_told| ())
    }

    /// The same; returns the buttons that the report told about.
    #[inline]
    pub(crate) fn read(&self, report: &[u8], state: &mut Buttons) -> Result<Buttons, ReportError> {
        // A quarter of the instructions that the loops over all kinds of fields take.
        if let Some(pressed) = self.short.as_ref().and_then(|short| short.read(report)) {
            *state = Buttons::from_bits((state.bits() & !self.buttons.bits()) | u128::from(pressed));
            return Ok(self.buttons);
        }
        self.read_any(report, state)
    }

    fn read_any(&self, report: &[u8], state: &mut Buttons) -> Result<Buttons, ReportError> {
        let id = *report.first().ok_or(ReportError::Empty)?;
        let Some(layout) = self.kind(id) else {
            return if self.others { Ok(Buttons::NONE) } else { Err(ReportError::UnknownId { id }) };
        };
        if report.len() < layout.needed {
            return Err(ReportError::TooShort { bytes: report.len(), needed: layout.needed });
        }
        let (pressed, told) = layout.read(report);
        *state = Buttons::from_bits((state.bits() & !told) | pressed);
        Ok(Buttons::from_bits(told))
    }

    /// The buttons that a report which could not be read may have been about.
    pub(crate) fn missed(&self, report: &[u8]) -> Buttons {
        let kind = report.first().and_then(|id| self.kind(*id));
        kind.map_or(self.buttons, |layout| Buttons::from_bits(layout.buttons()))
    }

    fn kind(&self, id: u8) -> Option<&ReportLayout> {
        self.reports.iter().find(|layout| layout.id.is_none_or(|own| own == id))
    }
}

impl ReportLayout {
    fn empty(id: Option<u8>) -> Self {
        Self { id, runs: Vec::new(), values: Vec::new(), arrays: Vec::new(), needed: 0, always: 0 }
    }

    /// Works out `needed` and `always`, once all fields are there.
    fn settle(&mut self) {
        let runs = self.runs.iter().map(|run| run.end());
        let values = self.values.iter().map(|value| value.end());
        let arrays = self.arrays.iter().map(Array::end);
        self.needed = runs.chain(values).chain(arrays).max().unwrap_or(0).div_ceil(8);
        let runs = self.runs.iter().fold(0, |all, run| all | run.mask());
        self.always = self.arrays.iter().fold(runs, |all, array| all | array.mask);
    }

    /// Itself, if it is nothing but one short run.
    fn short(&self) -> Option<Short> {
        match (self.runs.as_slice(), self.values.as_slice(), self.arrays.as_slice()) {
            ([run], [], []) => Short::new(self.id, *run),
            _ => None,
        }
    }

    fn buttons(&self) -> u128 {
        self.values.iter().fold(self.always, |all, value| all | value.mask)
    }

    /// The pressed buttons, and the buttons told about.
    fn read(&self, report: &[u8]) -> (u128, u128) {
        let runs = self.runs.iter().fold(0, |pressed, run| pressed | run.read(report));
        let pressed = self.arrays.iter().fold(runs, |pressed, array| pressed | array.read(report));
        self.values.iter().fold((pressed, self.always), |(pressed, told), value| match value.read(report) {
            Some(true) => (pressed | value.mask, told | value.mask),
            Some(false) => (pressed, told | value.mask),
            None => (pressed, told),
        })
    }
}

#[cfg(test)]
mod tests;
