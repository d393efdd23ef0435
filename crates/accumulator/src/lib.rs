//! From signed counts to one absolute trim position between two end stops.
//!
//! The position is an integer number of 2^-20 counts above the low stop ([`FixedCounts`]), so turning there
//! and back returns to the same number. Nothing here does I/O, reads a clock or allocates.
//!
//! ```
//! use tallywheel_accumulator::{Accumulator, Place, TrimConfig};
//! use tallywheel_units::{Counts, CountsPerTurn, Degrees, StopStyle};
//!
//! let per_turn = CountsPerTurn::new(96).unwrap();
//! let (travel, neutral) = (Degrees::new(580.0).unwrap(), Degrees::new(320.0).unwrap());
//! let config = TrimConfig::new(per_turn, travel, neutral, StopStyle::Slip, false).unwrap();
//! let mut trim = Accumulator::new(config, Place::Neutral);
//! assert_eq!(trim.reading().axis.get(), 0);
//! trim.count(Counts::new(96)); // one whole turn is past the high stop
//! assert_eq!(trim.reading().axis.get(), 32767);
//! ```
//!
//! [`FixedCounts`]: tallywheel_units::FixedCounts

mod accumulator;
mod bounds;
mod change;
mod config;
mod curve;
mod place;
mod reading;
mod smoother;

pub use accumulator::{Accumulator, Applied};
pub use change::Change;
pub use config::{ConfigError, TrimConfig};
pub use curve::{Curve, CurveError};
pub use place::{Place, Stop};
pub use reading::Reading;
pub use smoother::Smoother;
