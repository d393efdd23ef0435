//! How positions are published, in words that aircraft files and outputs share.

mod destination;
mod layout;
mod scale;
mod template;

pub use destination::Destination;
pub use layout::{ByteOrder, LayoutField, NumberForm, NumberKind, NumberSource, TextForm, TrimValue};
pub use scale::Scale;
pub use template::Template;
