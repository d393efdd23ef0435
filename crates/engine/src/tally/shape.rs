//! What most trims do without: a curve, smoothing, ratios.

use std::time::Duration;
use tallywheel_accumulator::{Accumulator, Curve, Reading, Smoother, TrimConfig};
use tallywheel_units::{FixedCounts, Timestamp};

/// How a trim's position becomes what is published, where that is more than straight lines at once.
#[derive(Debug, Clone)]
pub(super) struct Shape {
    curve: Option<Curve>,
    smoother: Option<Smoother>,
    /// Where the smoother was when it was last looked at.
    shown: FixedCounts,
    /// The trim with each of its ratios.
    ratios: Box<[TrimConfig]>,
    ratio: usize,
}

impl Shape {
    /// `None` where there is nothing to it. The first of `ratios` is in force.
    pub(super) fn new(
        accumulator: &Accumulator,
        curve: Option<Curve>,
        smoothing: Option<Duration>,
        ratios: Box<[TrimConfig]>,
    ) -> Option<Box<Self>> {
        if curve.is_none() && smoothing.is_none() && ratios.len() < 2 {
            return None;
        }
        let shown = accumulator.reading().position;
        let smoother = smoothing.map(|longest| Smoother::new(longest, shown));
        Some(Box::new(Self { curve, smoother, shown, ratios, ratio: 0 }))
    }

    pub(super) const fn curve(&self) -> Option<&Curve> {
        self.curve.as_ref()
    }

    pub(super) const fn is_smooth(&self) -> bool {
        self.smoother.is_some()
    }

    /// What is shown of a trim.
    pub(super) fn reading(&self, accumulator: &Accumulator) -> Reading {
        let reading = match self.smoother {
            Some(_) => accumulator.reading_at(self.shown),
            None => accumulator.reading(),
        };
        match &self.curve {
            Some(curve) => reading.along(curve),
            None => reading,
        }
    }

    /// Goes after the trim, which is where counting has taken it; says whether that shows.
    pub(super) fn glide(&mut self, at: Timestamp, accumulator: &Accumulator) -> bool {
        let Some(smoother) = &mut self.smoother else { return false };
        smoother.follow(at, accumulator.reading().position);
        let before = std::mem::replace(&mut self.shown, smoother.at(at));
        self.shown != before
    }

    /// Is where the trim is, which was not counted there.
    pub(super) fn jump(&mut self, accumulator: &Accumulator) {
        self.shown = accumulator.reading().position;
        if let Some(smoother) = &mut self.smoother {
            smoother.jump(self.shown);
        }
    }

    /// When what is shown changes next after `at` although nothing is counted.
    pub(super) fn deadline(&self, at: Timestamp) -> Option<Timestamp> {
        self.smoother.as_ref()?.deadline(at)
    }

    /// Which ratio is in force.
    pub(super) const fn ratio(&self) -> usize {
        self.ratio
    }

    /// The trim with another ratio, from now on; `None` where it has no such ratio.
    pub(super) fn shift(&mut self, ratio: usize) -> Option<&TrimConfig> {
        let config = self.ratios.get(ratio)?;
        self.ratio = ratio;
        Some(config)
    }

    /// The place of the ratio of `config`, if there is one.
    pub(super) fn ratio_like(&self, config: &TrimConfig) -> Option<usize> {
        self.ratios.iter().position(|own| own.ratio() == config.ratio())
    }
}
