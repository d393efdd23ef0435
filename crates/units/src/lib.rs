//! Quantities that cross a crate border in Tallywheel, one type each, so that a count is never taken for
//! an edge, a degree or an axis step. Nothing here does I/O or reads a clock.

mod angle;
mod axis;
mod axis_code;
mod button;
mod button_run;
mod count;
mod fixed;
mod index;
mod key;
mod loss;
mod margin;
mod normalized;
mod publish;
mod ratio;
mod stops;
mod time;
mod wiring;

pub use angle::Degrees;
pub use axis::AxisValue;
pub use axis_code::AxisCode;
pub use button::{ButtonNumber, Buttons};
pub use button_run::ButtonRun;
pub use count::{Counts, CountsPerTurn};
pub use fixed::FixedCounts;
pub use index::{BoardIndex, TrimIndex, WheelIndex};
pub use key::{KeyPlace, ScanCode};
pub use loss::{Certainty, Fault, Loss, LossKind};
pub use margin::Margin;
pub use normalized::Normalized;
pub use publish::{
    ByteOrder, Destination, LayoutField, NumberForm, NumberKind, NumberSource, Scale, Template, TextForm,
    TrimValue,
};
pub use ratio::Ratio;
pub use stops::StopStyle;
pub use time::Timestamp;
pub use wiring::{CountsPerCycle, WheelInputs};
