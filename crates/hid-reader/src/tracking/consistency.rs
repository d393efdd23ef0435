//! Whether the hypotheses can be believed: how badly even the best of them fits.
//!
//! Above a x T^2 = 1 or so a wheel can do between two reports what no hypothesis expects. The filter then still has
//! a best hypothesis, as a broken clock has a time. What gives it away is that the phases keep being less likely
//! than those of a wheel that is followed.

use crate::parameters::consistency::{
    COMMON, EARLY_TENTATIVE, EASILY_FOLLOWED, FASTEST_DOUBTED, FORESEEN_MAX, GIVEN_UP, HARDEST_CERTAIN,
    HARDEST_DOUBTED, INCONSISTENT, KNOCK, LOST, NOISE, PER_ACCELERATION, PER_FOLD_OF_HARDEST,
    PER_FOLD_OF_REPORTS, PER_RIVAL, SLOW_FOR, SMEARED, SMEARED_PART, SMEARED_TIMES, TOO_DOUBTFUL,
    WORST_WEIGHED,
};

/// How well the hypotheses fit since the tally was last certain.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct ConsistencyTest {
    /// What the reports cost beyond what is common, summed up while they do.
    cusum: f32,
    /// The largest that this has been.
    worst: f32,
    /// How many reports have been judged.
    judged: f32,
    /// The same beyond what noise costs.
    noise: f32,
    /// The most that the uncertain time of a sample came to, in edges, and the edges that went by while it was too much.
    smeared: f32,
    smeared_way: f32,
    /// It began in the middle of a turn, at a speed that nobody knows.
    anywhere: bool,
    given_up: bool,
    lost: bool,
    inconsistent: bool,
    /// By how much the phases that nobody was told of since the last change were likelier than is common.
    foreseen: f32,
    /// Reports in a row for which the best hypothesis has been slow.
    slow: u8,
    /// The hardest that this hand accelerates this wheel, in edges per tick^2.
    hardest: f32,
    /// The fastest that the best hypothesis was, in edges per tick.
    fastest: f32,
    /// The hardest that it accelerated, in edges per tick^2.
    accelerated: f32,
    /// Ticks since the wheel first moved.
    ticks: f32,
    /// The same at its last move.
    moved: f32,
}

/// What is judged.
#[derive(Debug, Clone, Copy)]
pub(super) struct Evidence {
    /// Logarithm of the likelihood of the report for the best hypothesis.
    pub(super) likelihood: f32,
    /// Ticks since the report before.
    pub(super) ticks: f32,
    /// Whether there was a report.
    pub(super) told: bool,
    /// Whether the phase changed.
    pub(super) changed: bool,
    /// The best hypothesis's speed in edges per tick.
    pub(super) speed: f32,
    /// The best hypothesis's acceleration in edges per tick^2, 0 until it is known.
    pub(super) acceleration: f32,
    /// The hardest that this hand accelerates this wheel.
    pub(super) hardest: f32,
    /// What the uncertain time of the sample comes to, in edges.
    pub(super) smeared: f32,
}

impl ConsistencyTest {
    /// Sums up how badly the best hypothesis fits while the wheel moves.
    pub(super) fn judge(&mut self, seen: &Evidence) {
        if self.ticks > 0.0 || seen.changed {
            self.ticks += seen.ticks;
        }
        if !seen.changed && seen.speed.abs() < 1.0 {
            return;
        }
        self.moved = self.ticks + 1.0;
        self.smeared = self.smeared.max(seen.smeared);
        if seen.smeared > SMEARED {
            self.smeared_way += seen.speed.abs() * seen.ticks;
        }
        let (mut noise, mut common) = (-seen.likelihood - NOISE, -seen.likelihood - COMMON);
        if seen.changed {
            let foreseen = std::mem::take(&mut self.foreseen).min(FORESEEN_MAX);
            (noise, common) =
                ((noise - foreseen).max(noise.min(0.0)), (common - foreseen).max(common.min(0.0)));
        } else {
            // An unchanged phase fits too many accounts to make up for what did not fit before it. But a wheel near
            // four edges a tick is foreseen to change seldom, and where only changes are told, nothing but surprises
            // would be judged.
            if !seen.told {
                self.foreseen += (-common).max(0.0);
                return;
            }
            (noise, common) = (noise.max(0.0), common.max(0.0));
        }
        self.slow = if seen.speed.abs() < 1.0 { self.slow.saturating_add(1) } else { 0 };
        if self.slow > SLOW_FOR {
            (noise, common) = (noise.min(0.0), common.min(0.0));
        }
        self.noise = (self.noise + noise).max(0.0);
        self.cusum = (self.cusum + common).max(0.0);
        self.worst = self.worst.max(self.cusum);
        self.judged += 1.0;
        self.hardest = seen.hardest;
        self.fastest = self.fastest.max(seen.speed.abs());
        self.accelerated = self.accelerated.max(seen.acceleration.abs());
        // Where no hand turns the wheel too hard, it takes more to doubt a hypothesis.
        self.given_up |= self.noise > if self.is_hard() { GIVEN_UP } else { LOST };
        self.lost |= self.noise > LOST;
        self.inconsistent |= self.cusum > LOST
            || (self.can_be_too_hard()
                && (self.cusum > INCONSISTENT || seen.acceleration.abs() > HARDEST_CERTAIN));
    }

    /// The wheel is followed from the middle of a turn on.
    pub(super) const fn start_anywhere(&mut self) {
        self.anywhere = true;
        self.ticks = self.ticks.max(1.0);
        self.moved = self.ticks;
    }

    /// No hypothesis was left at all.
    pub(super) fn lose_all(&mut self) {
        self.inconsistent = true;
        self.worst = f32::INFINITY;
    }

    /// The hardest that the best hypothesis accelerated, in edges per tick^2.
    pub(super) const fn accelerated(&self) -> f32 {
        self.accelerated
    }

    /// By how many edges the tally may be off because it is not known well enough when samples were taken; `None` where that
    /// is well enough known for this wheel.
    pub(super) fn smeared(&self) -> Option<f32> {
        let edges = SMEARED_TIMES * self.smeared + SMEARED_PART * self.smeared_way;
        (self.smeared > SMEARED).then_some(edges)
    }

    /// Whether the hypotheses are no better than the table.
    pub(super) const fn is_given_up(&self) -> bool {
        self.given_up
    }

    /// Whether they are worse than the table.
    pub(super) const fn is_lost(&self) -> bool {
        self.lost
    }

    /// Whether a hypothesis that cannot be relied on is worse than the table too.
    pub(super) fn is_out_of_range(&self) -> bool {
        self.hardest > HARDEST_DOUBTED && self.fastest > FASTEST_DOUBTED
    }

    /// Whether it is too early to rely on any hypothesis, though one may still turn out right.
    pub(super) fn is_early_tentative(&self) -> bool {
        self.is_hard() && self.cusum > EARLY_TENTATIVE
    }

    /// Whether no hypothesis can be relied on, so that a hand's speed is all that limits where the wheel is.
    ///
    /// `rival` is the logarithm of how likely another number of edges is, of one beside the best.
    pub(super) fn is_tentative(&self, rival: f32) -> bool {
        self.anywhere
            || self.given_up
            || self.worst > LOST
            || (self.can_be_too_hard() && self.is_doubtful(rival))
    }

    /// Whether what is weighed against the hypotheses comes to too much.
    fn is_doubtful(&self, rival: f32) -> bool {
        let weighed = self.worst.min(WORST_WEIGHED) - PER_FOLD_OF_REPORTS * self.judged.ln_1p()
            + PER_RIVAL * rival
            + PER_FOLD_OF_HARDEST * self.hardest.ln()
            + PER_ACCELERATION * (self.accelerated - EASILY_FOLLOWED).max(0.0);
        self.judged > KNOCK && weighed > TOO_DOUBTFUL
    }

    /// Whether this hand can turn this wheel harder than anyone can follow.
    fn is_hard(&self) -> bool {
        self.hardest > 2.0 * HARDEST_CERTAIN
    }

    /// Whether this hand can turn this wheel harder than is followed with certainty.
    fn can_be_too_hard(&self) -> bool {
        self.hardest > 1.2 * HARDEST_CERTAIN
    }

    /// Whether the hypotheses' own idea of how the wheel moved is in doubt.
    pub(super) const fn is_inconsistent(&self) -> bool {
        self.inconsistent
    }

    /// For how many ticks the wheel has moved since the tally was last certain.
    pub(super) const fn moved(&self) -> f32 {
        self.moved
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// No other state is left.
    const ALONE: f32 = -16.0;

    const FITS: Evidence = Evidence {
        likelihood: -0.5,
        ticks: 1.0,
        told: true,
        changed: true,
        speed: 3.0,
        acceleration: 0.1,
        hardest: 10.0,
        smeared: 0.0,
    };

    #[test]
    fn what_fits_is_trusted_for_ever() {
        let mut trust = ConsistencyTest::default();
        (0..100_000).for_each(|_| trust.judge(&FITS));
        assert!(!trust.is_tentative(ALONE) && !trust.is_given_up());
    }

    #[test]
    fn what_does_not_fit_is_first_doubted_and_then_given_up() {
        let mut trust = ConsistencyTest::default();
        let bad = Evidence { likelihood: -3.0, ..FITS };
        let mut states = Vec::new();
        for _ in 0..20 {
            trust.judge(&bad);
            states.push((trust.is_tentative(ALONE), trust.is_given_up()));
        }
        states.dedup();
        assert_eq!(states, [(false, false), (true, false), (true, true)]);
        assert!((trust.moved() - 21.0).abs() < 1e-6);
    }

    #[test]
    fn a_wheel_that_no_hand_turns_so_hard_is_trusted_for_longer() {
        let mut trust = ConsistencyTest::default();
        let bad = Evidence { likelihood: -3.0, hardest: 1.0, ..FITS };
        (0..20).for_each(|_| trust.judge(&bad));
        assert!(!trust.is_tentative(ALONE));
        (0..10).for_each(|_| trust.judge(&bad));
        assert!(trust.is_tentative(ALONE));
    }

    /// Eight of nine phases are as they were, and the ninth is a surprise: so is each change of a wheel that turns at
    /// nearly four edges a tick.
    #[test]
    fn changes_that_have_to_be_rare_are_not_held_against_the_paths() {
        let mut trust = ConsistencyTest::default();
        for _ in 0..100 {
            let unchanged = Evidence { likelihood: -0.1, changed: false, told: false, ..FITS };
            (0..8).for_each(|_| trust.judge(&unchanged));
            trust.judge(&Evidence { likelihood: -2.5, ..FITS });
        }
        assert!(!trust.is_tentative(ALONE));
        (0..40).for_each(|_| trust.judge(&Evidence { likelihood: -2.5, ..FITS }));
        assert!(trust.is_tentative(ALONE), "only the first change after them is excused");
    }

    #[test]
    fn a_wheel_that_has_been_slow_for_long_is_not_doubted_for_uneven_edges() {
        let mut trust = ConsistencyTest::default();
        let uneven = Evidence { likelihood: -2.0, speed: 0.4, ..FITS };
        (0..1000).for_each(|_| trust.judge(&uneven));
        assert!(!trust.is_tentative(ALONE));
        let fast = Evidence { speed: 1.4, ..uneven };
        (0..40).for_each(|_| trust.judge(&fast));
        assert!(trust.is_tentative(ALONE), "as soon as it is no longer slow it may be");
    }

    /// A stroke that fits as badly as a followed one now and then does.
    fn after(reports: usize, hardest: f32) -> ConsistencyTest {
        let mut trust = ConsistencyTest::default();
        let poor = Evidence { likelihood: -2.05, hardest, ..FITS };
        (0..10).for_each(|_| trust.judge(&poor));
        (10..reports).for_each(|_| trust.judge(&Evidence { hardest, ..FITS }));
        trust
    }

    #[test]
    fn a_rival_few_reports_and_a_hard_hand_are_weighed_against_the_paths() {
        assert!(after(10, 6.0).is_tentative(-10.0));
        assert!(!after(10, 6.0).is_tentative(ALONE), "no other state is near");
        assert!(!after(100, 6.0).is_tentative(-10.0), "it is the worst of many reports");
        assert!(!after(10, 1.5).is_tentative(-10.0), "hardly any hand turns it so hard");
        assert!(!after(10, 1.4).is_tentative(0.0), "no hand does");
    }

    #[test]
    fn a_stroke_that_was_hard_to_follow_is_weighed_against_its_path() {
        let mut trust = after(30, 6.0);
        trust.judge(&Evidence { acceleration: 0.6, hardest: 6.0, ..FITS });
        assert!(!trust.is_tentative(ALONE));
        trust.judge(&Evidence { acceleration: 1.3, hardest: 6.0, ..FITS });
        (0..3).for_each(|_| trust.judge(&Evidence { hardest: 6.0, ..FITS }));
        assert!(trust.is_tentative(ALONE), "and it stays so");
    }

    #[test]
    fn a_path_is_wild_where_it_was_too_fast_for_a_wheel_that_can_be_turned_too_hard() {
        let wild = |hardest, speed| {
            let mut trust = ConsistencyTest::default();
            trust.judge(&Evidence { speed, hardest, ..FITS });
            trust.judge(&Evidence { hardest, ..FITS });
            trust.is_out_of_range()
        };
        assert!(wild(60.0, 31.0) && wild(60.0, -31.0));
        assert!(!wild(60.0, 29.0), "as fast as that a hypothesis may be right");
        assert!(!wild(40.0, 31.0), "random phases have no hypothesis that fits them");
    }

    #[test]
    fn a_knock_puts_no_more_in_doubt_than_its_rival() {
        let mut trust = ConsistencyTest::default();
        let knock = Evidence { likelihood: -4.0, hardest: 6.0, ..FITS };
        (0..4).for_each(|_| trust.judge(&knock));
        assert!(!trust.is_tentative(0.0));
        trust.judge(&knock);
        assert!(trust.is_tentative(0.0));
    }

    #[test]
    fn where_no_path_was_left_nothing_is_believed() {
        let mut trust = after(100, 6.0);
        trust.lose_all();
        assert!(trust.is_tentative(ALONE));
    }

    #[test]
    fn rest_tells_nothing() {
        let mut trust = ConsistencyTest::default();
        let rest = Evidence { likelihood: -9.0, changed: false, speed: 0.0, ..FITS };
        (0..100).for_each(|_| trust.judge(&rest));
        assert!(!trust.is_tentative(ALONE));
        assert!(trust.moved() == 0.0);
    }
}
