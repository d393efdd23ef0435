//! Quantities that cross a crate border in Tallywheel, one type each, so that a count is never taken for
//! an edge, a degree or an axis step. Nothing here does I/O or reads a clock.

mod angle;
mod axis;
mod button;
mod button_run;
mod count;
mod fixed;
mod index;
mod loss;
mod margin;
mod normalized;
mod ratio;
mod stops;
mod time;
mod wiring;

pub use angle::Degrees;
pub use axis::AxisValue;
pub use button::{ButtonNumber, Buttons};
pub use button_run::ButtonRun;
pub use count::{Counts, CountsPerTurn};
pub use fixed::FixedCounts;
pub use index::{BoardIndex, TrimIndex, WheelIndex};
pub use loss::{Certainty, Fault, Loss, LossKind};
pub use margin::Margin;
pub use normalized::Normalized;
pub use ratio::Ratio;
pub use stops::StopStyle;
pub use time::Timestamp;
pub use wiring::{CountsPerCycle, WheelInputs};
