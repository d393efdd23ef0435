use std::time::Duration;
use tallywheel_units::{Destination, Scale, Template, TrimIndex};

/// Datagrams to one receiver.
#[derive(Debug, Clone, PartialEq)]
pub struct DatagramConfig {
    /// Where they go.
    pub to: Destination,
    /// How they are written.
    pub template: Template,
    /// Which trims they carry and under which names, in this order. A [`Template::Layout`] names its trims itself;
    /// this is then not looked at.
    pub trims: Vec<(TrimIndex, String)>,
    /// What a position becomes. The trims of a [`Template::Layout`] have each their own instead.
    pub scale: Scale,
    /// The least time between two datagrams; what moves within it is sent at its end, the newest position only.
    /// Zero for no limit.
    pub min_interval: Duration,
    /// After so long without a change the position is sent again, for receivers that start late or expect to hear
    /// from time to time. Without, nothing is sent and nothing wakes up while nothing moves.
    pub keep_alive: Option<Duration>,
}

impl DatagramConfig {
    /// The most [`Self::min_interval`].
    pub const LONGEST_INTERVAL: Duration = Duration::from_secs(10);
    /// The least [`Self::keep_alive`].
    pub const SHORTEST_KEEP_ALIVE: Duration = Duration::from_millis(10);
    /// The most [`Self::keep_alive`].
    pub const LONGEST_KEEP_ALIVE: Duration = Duration::from_secs(3_600);

    /// Every change at once, and the position as it is.
    #[must_use]
    pub fn new(to: impl Into<Destination>, template: Template, trims: Vec<(TrimIndex, String)>) -> Self {
        Self {
            to: to.into(),
            template,
            trims,
            scale: Scale::UNIT,
            min_interval: Duration::ZERO,
            keep_alive: None,
        }
    }
}
