use crate::bounds::Bounds;
use crate::{Change, Place, Reading, TrimConfig};
use tallywheel_units::{Counts, FixedCounts, Margin, StopStyle};

/// What became of some counts. `moved + refused` is exactly the counts that were given, in their own sign
/// (counts beyond 2^43, which no wheel makes, are taken as the nearest [`FixedCounts`]).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Applied {
    /// What moved the trim. With a reversed trim a positive number moved it towards the low stop.
    pub moved: FixedCounts,
    /// What a stop kept from moving it: dropped when stops slip, and when they remember either wound past the
    /// stop or wound back from there.
    pub refused: FixedCounts,
}

/// The absolute position of one trim between its stops.
///
/// The position is what the accumulator says it is: the wheel turns for ever, so a start or a reference puts it
/// anywhere and leaves nothing in doubt. Doubt comes with [`lose`](Self::lose) only.
///
/// | call | position | margin |
/// |---|---|---|
/// | `new`, `align` | the place asked for, nothing wound past a stop | certain |
/// | `count`, stops slip | moves, ends at a stop | shrinks at a stop; once all that was possible has been wound past it, certain |
/// | `count`, stops remember | moves, ends at a stop, comes back when the overshoot is wound back | of what shows: shrinks at a stop, returns with the trim |
/// | `measured` | moves as by `count` | the one given |
/// | `lose`, limited | stays | wider by the bound, no wider than the travel |
/// | `lose`, no limit | stays | unknown, until a reference or, when stops slip, until a stop proves the position: after winding one way by the travel at most |
/// | `reconfigure` | the same degrees, within the new travel | the same doubt in degrees |
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accumulator {
    config: TrimConfig,
    /// Counts above the low stop; outside the travel by the overshoot when stops remember.
    position: FixedCounts,
    bounds: Bounds,
}

impl Accumulator {
    /// A trim that starts at `start`, which is taken as certain.
    #[must_use]
    pub fn new(config: TrimConfig, start: Place) -> Self {
        let position = start.in_counts(&config);
        Self { config, position, bounds: Bounds::certain(position) }
    }

    /// The configuration in use.
    #[must_use]
    pub const fn config(&self) -> &TrimConfig {
        &self.config
    }

    /// Moves the trim by what the wheel's decoding yielded.
    #[inline]
    pub fn count(&mut self, counts: Counts) -> Applied {
        let given = FixedCounts::from_counts(counts);
        let step = if self.config.reversed() { -given } else { given };
        let before = self.visible();
        self.position = at_stops(&self.config, self.position + step);
        if self.bounds.is_certain() {
            // The truth is the position and goes where it goes.
            self.bounds = Bounds::certain(self.position);
        } else {
            self.move_bounds(step);
        }
        let moved = self.visible() - before;
        let moved = if self.config.reversed() { -moved } else { moved };
        Applied { moved, refused: given - moved }
    }

    #[cold]
    #[inline(never)]
    fn move_bounds(&mut self, step: FixedCounts) {
        self.bounds = self.bounds.moved(self.config.stops(), |bound| at_stops(&self.config, bound + step));
    }

    /// Widens the margin by what a loss may have cost: up to `bound.low()` counts backward and up to
    /// `bound.high()` counts forward went unseen, in the wheel's own direction. Call it when the loss is known,
    /// in order with the counts: a bound covers what went unseen up to now, not what will.
    pub fn lose(&mut self, bound: Margin) {
        let bound = if self.config.reversed() { -bound } else { bound };
        self.bounds =
            self.bounds.widened(bound, self.config.stops(), |position| at_stops(&self.config, position));
    }

    /// Moves the trim by counts that are known to be missing, or those too many back, and knows it `margin` well from
    /// then on: a reference that leaves the trim where it belongs in its travel.
    pub fn measured(&mut self, missing: Counts, margin: Margin) -> Applied {
        let applied = self.count(missing);
        self.bounds = Bounds::certain(self.position);
        self.lose(margin);
        applied
    }

    /// Puts the trim to a place that is certain: a reference. What was wound past a stop is forgotten.
    pub fn align(&mut self, place: Place) -> Change {
        let before = self.reading();
        *self = Self::new(self.config, place);
        Change { before, after: self.reading() }
    }

    /// Changes how the trim behaves and keeps where it is: the same degrees above the low stop, or the nearer
    /// stop where the new travel is shorter. What was wound past a stop stays wound when both configurations
    /// remember and the trim still is at that stop. The margin is kept in degrees too.
    pub fn reconfigure(&mut self, config: TrimConfig) -> Change {
        let before = self.reading();
        if config != self.config {
            let from = self.config;
            self.position = converted(&from, &config, self.position);
            self.bounds = self.bounds.moved(config.stops(), |bound| converted(&from, &config, bound));
            self.config = config;
        }
        Change { before, after: self.reading() }
    }

    /// How far the wheel is wound past a stop, in counts of the trim: positive past the high stop, negative
    /// past the low stop. Always zero when stops slip.
    #[must_use]
    pub fn overshoot(&self) -> FixedCounts {
        self.position - self.visible()
    }

    /// Where the trim is.
    #[must_use]
    #[inline]
    pub fn reading(&self) -> Reading {
        let visible = self.visible();
        Reading::new(&self.config, visible, self.bounds.margin(&self.config, visible))
    }

    /// How far the trim may be off, in the wheel's own direction. Unlike a reading's margin it is not cut off at the
    /// stops, where these remember what is wound past them.
    #[must_use]
    pub fn margin(&self) -> Margin {
        let margin = self.bounds.around(self.position);
        if self.config.reversed() { -margin } else { margin }
    }

    /// What is shown while the outputs still are on their way to where the trim is, at `position` counts above
    /// the low stop. The margin is that of the trim.
    #[must_use]
    pub fn reading_at(&self, position: FixedCounts) -> Reading {
        let margin = self.bounds.margin(&self.config, self.visible());
        Reading::new(&self.config, self.config.clamp(position), margin)
    }

    /// The same trim while up to `doubt` may yet turn out to be wrong with what was counted: as after
    /// [`lose`](Self::lose), but nothing is kept of it in this one.
    #[must_use]
    pub fn in_doubt(&self, doubt: Margin) -> Self {
        let mut doubtful = *self;
        doubtful.lose(doubt);
        doubtful
    }

    fn visible(&self) -> FixedCounts {
        self.config.clamp(self.position)
    }
}

/// What the stops make of a position.
fn at_stops(config: &TrimConfig, position: FixedCounts) -> FixedCounts {
    match config.stops() {
        StopStyle::Slip => config.clamp(position),
        StopStyle::Remember => position,
    }
}

/// The same place under another configuration. Monotone, as the bounds need.
fn converted(from: &TrimConfig, to: &TrimConfig, position: FixedCounts) -> FixedCounts {
    let visible = from.clamp(position);
    let overshoot = position - visible;
    // The detour through degrees is exact when the wheel stays the same: a float has six bits to spare for the
    // longest travel on the finest wheel.
    let same_place = Place::At(from.degrees(visible)).in_counts(to);
    let at_same_stop = if overshoot > FixedCounts::ZERO {
        same_place == to.travel_counts()
    } else {
        same_place == FixedCounts::ZERO
    };
    if at_same_stop {
        let overshoot = to.counts(from.unclamped_degrees(overshoot));
        at_stops(to, same_place + overshoot)
    } else {
        // The stop moved away: what was wound past it must not make the trim jump after it.
        same_place
    }
}
