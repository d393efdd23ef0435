//! Every constant of the sample clock and the tracker: value, unit and origin. `docs/tracking.md` lists them.

/// For `timing/clock.rs`.
pub(crate) mod clock {
    /// After so many repeated reports in a row a board reports at every interval.
    pub(crate) const STEADY_AFTER: u8 = 16;
    /// The longest and shortest intervals that are believed, in nanoseconds (USB 2.0: 255 frames; a microframe).
    pub(crate) const SHORTEST: f64 = 100_000.0;
    /// The same as the constant before, or its counterpart.
    pub(crate) const LONGEST: f64 = 255_000_000.0;
    /// A first guess that is off by less than this was right.
    pub(crate) const AS_GUESSED: f64 = 0.03;
    /// An interval that is off by less than this, of itself, is still the same.
    pub(crate) const SAME: f64 = 0.06;
    /// A reading is on the beat within so many standard deviations, and within these limits, in intervals.
    pub(crate) const ON_BEAT: (f32, f32, f32) = (4.0, 0.12, 0.45);
    /// The interval is followed as a growing regression does, by 6 / (n (n + 1)) of what the n-th reading is off, but never by less
    /// than this and from this n on (the alpha-beta filter of a straight line; from memory).
    pub(crate) const FOLLOWS: f64 = 1.0 / 2048.0;
    /// The same as the constant before, or its counterpart.
    pub(crate) const FIRST: f64 = 20.0;
    /// The least relative uncertainty of the interval: crystals of bus and host (USB 2.0, 7.1.12: 0.05 %), which drift.
    pub(crate) const INTERVAL_UNCERTAIN: f64 = 2e-4;
    /// After so many readings in a row that are off the beat, but whole intervals from each other, the beat is where they are.
    pub(crate) const BEAT_MOVED: u8 = 2;
    /// After so many intervals of silence the beat is taken anew from the next reading.
    pub(crate) const SURE: u64 = 64;
    /// Gaps up to so many intervals say how uneven gaps are.
    pub(crate) const NEIGHBOURS: u64 = 2;
    /// Of the last reports, about so many; where more than this part was not on the beat, the interval is looked for anew.
    pub(crate) const MISFITS: (f32, f32) = (1.0 / 48.0, 0.3);
    /// A report off the beat is remembered until the part of such reports has faded to this.
    pub(crate) const STALLS: f32 = 0.002;
    /// After so many reports an interval apart that stay behind the schedule, reports are missing.
    pub(crate) const BEHIND_FOR: u8 = 2;
    /// A silence of so many intervals of a board that reports at every interval means that it does no such thing.
    pub(crate) const NOT_STEADY: f64 = 2000.0;
}

/// For `timing/interval.rs`.
pub(crate) mod interval {
    /// Gaps that are kept.
    pub(crate) const KEPT: usize = 64;
    /// An interval is looked for when there are so many gaps, and again after each so many more.
    pub(crate) const ENOUGH: usize = 20;
    /// The same as the constant before, or its counterpart.
    pub(crate) const EACH: u32 = 8;
    /// Reports that were waiting are read closer together than any board sends them, in nanoseconds: a microframe of
    /// high-speed USB is 125 us.
    pub(crate) const SHORTEST: u64 = 100_000;
    /// The longest interval that a full-speed device can ask for is 255 ms (USB 2.0, bInterval).
    pub(crate) const LONGEST: u64 = 255_000_000;
    /// From one candidate to the next.
    pub(crate) const STEP: f64 = 1.006;
    /// Longer gaps, in intervals, say too little about the interval.
    pub(crate) const FARTHEST: f64 = 8.5;
    /// A gap shorter than this, in intervals, speaks against a candidate.
    pub(crate) const TOO_SHORT: f64 = 0.6;
    /// By so many standard deviations a score has to be above chance, and above so much.
    pub(crate) const SIGNIFICANT: f64 = 5.0;
    /// The same as the constant before, or its counterpart.
    pub(crate) const LEAST_SCORE: f64 = 0.35;
    /// A longer candidate is taken if its score is at least this part of the best.
    pub(crate) const NEARLY: f64 = 0.88;
    /// At least so many gaps have to be near enough to speak.
    pub(crate) const LEAST_GAPS: usize = 12;
}

/// For `timing/jitter.rs`.
pub(crate) mod jitter {
    /// Gaps over which variances are averaged.
    pub(crate) const MEMORY: f32 = 96.0;
    /// Standard deviations that are presumed before any gap was seen, in intervals: of readings, and of samples.
    pub(crate) const PRESUMED_READING: f32 = 0.02;
    /// The same as the constant before, or its counterpart.
    pub(crate) const PRESUMED_SAMPLE: f32 = 0.03;
    /// So much of the variance of gaps is left out of that of samples, which else would be too large by chance.
    pub(crate) const SHRINKS: f32 = 0.25;
    /// The gain is worked out anew after so many gaps.
    pub(crate) const TUNED_EACH: u8 = 8;
    /// The least gain: the interval is known well enough by then.
    pub(crate) const LEAST_GAIN: f32 = 0.05;
}

/// For `tracking/mod.rs`.
pub(crate) mod tracker {
    /// The finest wheel that is presumed where the edges of a turn are not said.
    pub(crate) const EDGES_PRESUMED: u32 = 2400;
    /// After so many intervals without a report a wheel that is followed is looked at.
    pub(crate) const PATIENCE: u32 = 10;
    /// After so many intervals of silence a wheel on a board that reports on change rests in any case.
    pub(crate) const SILENCE: u32 = 64;
    /// After so many slow reports in a row a wheel is no longer followed.
    pub(crate) const SLOW_REPORTS: u8 = 8;
    /// No two samples are nearer to each other or farther from each other, in intervals, for all that follows from it.
    pub(crate) const SHORTEST_TICK: f32 = 0.05;
    /// The same as the constant before, or its counterpart.
    pub(crate) const LONGEST_TICKS: f32 = 10_000.0;
    /// The longest report interval of a board whose interval is not known: that of low-speed devices (USB 2.0: bInterval,
    /// rounded down to a power of two as hosts do), in nanoseconds.
    pub(crate) const LONGEST_INTERVAL: u64 = 32_000_000;
    /// An interval that was not measured yet may be so many times what the rig file says.
    pub(crate) const RIG_FILE_OFF: u64 = 2;
    /// After so many nanoseconds a wheel that fell silent too fast to have stopped is taken for resting somewhere.
    pub(crate) const MISSING_FOR: u64 = 1_000_000_000;
    /// Reports that are kept after one that was late or follows on missing ones: as many as it takes to tell which.
    pub(crate) const AFTER_GAP: usize = 4;
    /// Where no more reports than this are missing, the wheel is followed through.
    pub(crate) const FOLLOWED_THROUGH: u64 = 3;
}

/// For `tracking/limits.rs`.
pub(crate) mod limits {
    /// The fastest that a hand turns a trim wheel, in turns/s. The strokes of the first experiments peak at 4
    /// (common practice, no source); half as much again is allowed for.
    pub(crate) const FASTEST_TURNS: f64 = 6.0;
    /// The hardest that a hand accelerates a trim wheel, in turns/s^2: a minimum-jerk stroke over 0.15 turns that
    /// peaks at 4 turns/s takes 70 ms and reaches `10 / sqrt(3) * 0.15 / 0.07^2` = 175.
    pub(crate) const HARDEST_TURNS: f64 = 200.0;
    /// A common stroke in turns, from which it is concluded how long an acceleration lasts.
    pub(crate) const STROKE_TURNS: f64 = 0.4;
    /// Above so many edges per tick^2 nothing can be followed, whatever the hand could do.
    pub(crate) const HARDEST_FOLLOWED: f64 = 2.2;
    /// How many levels of acceleration are told apart.
    pub(crate) const MODELS: usize = 4;
    /// Firmware may look at the lines on a timer of its own; 1 ms is common practice, no source. A sample is up to so much older
    /// than its report then, in seconds, and no host can see by how much.
    pub(crate) const OWN_SCAN: f64 = 0.001;
    /// The longest that a report waits to be read, in seconds; common practice, no source.
    pub(crate) const LONGEST_WAIT: f64 = 0.015;
}

/// For `tracking/gains.rs`.
pub(crate) mod gains {
    /// Ticks after which the gains no longer change.
    pub(crate) const AGES: usize = 16;
    /// The last of them.
    pub(crate) const LAST_AGE: u8 = 15;
    /// Likelihoods are tabled for distances of this many eighths of an edge.
    pub(crate) const DISTANCES: usize = 64;
    /// Variance of the measurement in edges^2: a position is known to a state only, and states are unequal
    /// (1/12 for one edge, and as much again for phase error and bounce; tried from 0.1 to 0.3).
    pub(crate) const MEASUREMENT: f64 = 0.15;
    /// Variance of the place of an edge: a phase error of 0.25 T +- 0.1 T is up to 0.2 edges either way.
    pub(crate) const EDGE_PLACE: f64 = 0.02;
    /// The logarithm of a likelihood that is as good as none.
    pub(crate) const NEVER: f32 = -16.0;
}

/// For `tracking/filter.rs`.
pub(crate) mod filter {
    /// Per tick, the probability that a resting wheel begins to move.
    pub(crate) const STARTS: f32 = 0.03;
    /// Per tick, the probability that a resting wheel creeps or trembles over one edge.
    pub(crate) const CREEPS: f32 = 0.03;
    /// Per tick, the probability that a moving wheel whose speed may be 0 rests.
    pub(crate) const STOPS: f32 = 0.15;
    /// Per tick, the probability that a moving wheel goes over to the next model up or down.
    pub(crate) const MODE_TRANSITIONS: f32 = 0.02;
    /// Per tick, the probability of showing a state next to the true one for no reason but a bad contact. Small:
    /// a larger one explains true reversals away.
    pub(crate) const GLITCHES: f32 = 0.001;
    /// A hypothesis that is less likely than the best by this logarithm is no longer in doubt: 1 in 8,000.
    pub(crate) const CERTAIN: f32 = 9.0;
    /// What is less likely than the best by this logarithm does not keep the tally from settling.
    pub(crate) const SETTLED: f32 = 12.0;
    /// Hypotheses whose likelihoods differ by less than this logarithm are as likely.
    pub(crate) const TIED: f32 = 1.0;
    /// Ticks without a change after which the wheel may be said to rest.
    pub(crate) const RESTS_AFTER: u16 = 8;
    /// The same for a wheel that stands at several edges a tick, where no hypothesis can be believed.
    pub(crate) const RESTS_AFTER_INCONSISTENT: u16 = 4;
    /// The most that a stroke turns at one even speed, in turns: its speed is within a tenth of its peak for 0.4 of
    /// its length, which is two turns at most.
    pub(crate) const FARTHEST_UNSEEN: f64 = 0.8;
    /// What a hypothesis pays per tick that claims to have gone farther without a change of phase.
    pub(crate) const TOO_FAR_COSTS: f32 = 3.0;
    /// Variances of the speed, from 0, beyond which a hypothesis is not asked whether it stops.
    pub(crate) const STOP_UNLIKELY: f32 = 8.0;
    /// What a hypothesis pays per tick at the fastest that a hand turns; half as fast, a sixteenth. Tried from 0 to 1: without it a
    /// coarse wheel that begins with a bounce may be followed at its true speed and eight edges a tick more.
    pub(crate) const HASTE_COSTS: f32 = 0.5;
    /// So many standard deviations of a sample's time are held possible.
    pub(crate) const SMEARS: f32 = 3.0;
    /// Less noise of a sample's place than this, in edges, makes no difference.
    pub(crate) const NOISE_COUNTS: f32 = 0.12;
    /// A hand stops a wheel at most so many times as hard as it sped it up before, and at least as hard as this in edges per
    /// tick^2, within so many edges unseen; the speed is known to so many edges per tick.
    pub(crate) const STOPS_HARDER: f32 = 3.0;
    /// The same as the constant before, or its counterpart.
    pub(crate) const STOPS_HARD: f32 = 0.15;
    /// The same as the constant before, or its counterpart.
    pub(crate) const STOPS_WITHIN: f32 = 1.5;
    /// The same as the constant before, or its counterpart.
    pub(crate) const STOP_SPEED_UNCERTAIN: f32 = 0.25;
    /// Paces as an index.
    pub(crate) const LAST_MODEL: u8 = 3;
    /// What a wheel turns in a tick at least that nobody can follow: with less the phases would tell the way. The table's sign
    /// is right then, since a stroke begins and ends slowly, and what it has counted is that much short.
    pub(crate) const LEAST_EDGES: f32 = 2.0;
}

/// For `tracking/gaps.rs`.
pub(crate) mod gaps {
    /// The longest gap that is crossed interval by interval.
    pub(crate) const LONGEST: f32 = 64.0;
    /// The longest that a report is taken to have waited, in intervals.
    pub(crate) const LONGEST_WAIT: u8 = 16;
    /// The least standard deviation of an interval's length, in intervals: what is left of what was measured.
    pub(crate) const LEAST_JITTER: f32 = 0.008;
    /// The same for the end of an interval that no report marks, beside the jitter.
    pub(crate) const BLUR: f32 = 0.05;
    /// How much likelihood a blur takes, per nat, in a gap of up to so many intervals.
    pub(crate) const SPREAD: (f32, f32) = (0.5, 6.0);
    /// Gaps below so many intervals have just so many.
    pub(crate) const COUNTED: f32 = 4.0;
    /// After a gap a hypothesis that moved at least so fast, in edges per tick, knows its speed as if it had been seen
    /// for so many ticks only.
    pub(crate) const BLURRED: (f32, u8) = (1.0, 5);
    /// The logarithm of the probability that a report after a gap waited to be read until it seemed to be on the beat: hosts
    /// that stall twice a second, of which a quarter end so (common practice, no source).
    pub(crate) const WAITED: f32 = -5.5;
    /// A wheel slower than this, in edges per tick, is the same by all accounts.
    pub(crate) const WAITS_MATTER: f32 = 0.8;
}

/// For `tracking/consistency.rs`.
pub(crate) mod consistency {
    /// Up to here an acceleration, in edges per tick^2, is followed with certainty.
    pub(crate) const HARDEST_CERTAIN: f32 = 1.2;
    /// What a report costs in likelihood on average while a wheel is followed: -ln of it, from simulation.
    pub(crate) const COMMON: f32 = 1.05;
    /// What it costs when all four phases are as likely: ln 4.
    pub(crate) const NOISE: f32 = 1.386;
    /// Summed up over what is common, this is too much.
    pub(crate) const INCONSISTENT: f32 = 13.0;
    /// Summed up over what noise costs, this is too much.
    pub(crate) const GIVEN_UP: f32 = 16.0;
    /// The same, so much that not even the direction is to be believed.
    pub(crate) const LOST: f32 = 40.0;
    /// Summed up over what is common, this is enough to say so while it may still come right.
    pub(crate) const EARLY_TENTATIVE: f32 = 4.0;
    /// After so many reports in a row of a slow wheel one more is nothing against the hypotheses, however uneven its edges
    /// come: a contact that bounces and a wheel with detents are like that.
    pub(crate) const SLOW_FOR: u8 = 12;
    /// As much may be excused in a change by the silence before it, tried from 0 to no limit. Of 17 long strokes near four
    /// edges a tick that were given up without it (`testkit -- grid --seeds 1000`) 2 are at 1.5, 1 is at 2, none at 2.5; with
    /// more a wheel that is turned too hard is believed for too long.
    pub(crate) const FORESEEN_MAX: f32 = 2.5;
    /// What is weighed where a hand can turn the wheel harder than anyone can follow: the worst cusum, up to a limit, less
    /// so much for each e-fold of reports (the largest of many is larger), and more the nearer another state comes, the
    /// harder the hand can turn and the harder it turned. All but the last fitted by logistic regression to 51,759 strokes of
    /// `testkit -- grid` with seeds 0 to 59, of which it is known which were followed wrongly.
    pub(crate) const WORST_WEIGHED: f32 = 16.0;
    /// The same as the constant before, or its counterpart.
    pub(crate) const PER_FOLD_OF_REPORTS: f32 = 2.64;
    /// The same as the constant before, or its counterpart.
    pub(crate) const PER_RIVAL: f32 = 0.57;
    /// The same as the constant before, or its counterpart.
    pub(crate) const PER_FOLD_OF_HARDEST: f32 = 1.72;
    /// For each edge per tick^2 above what is followed easily.
    pub(crate) const PER_ACCELERATION: f32 = 10.0;
    /// The same as the constant before, or its counterpart.
    pub(crate) const EASILY_FOLLOWED: f32 = 0.45;
    /// Weighed so, this is too much: a choice between runs that are wrongly told to be certain and runs that are not told to be
    /// although they are right. Of 37,799 runs up to a x T^2 = 1 with reports read at once (`testkit -- grid --seeds 200`) 1 was
    /// outside its margin at -1 and 31,584 were certain; at -2 none and 30,455; at 0.3 there were 6 and 32,873.
    pub(crate) const TOO_DOUBTFUL: f32 = -1.0;
    /// Not of so few reports: a knock out of rest has a rival that is as likely, and only what both say is in doubt.
    pub(crate) const KNOCK: f32 = 4.0;
    /// Where a hand can turn the wheel harder than this, in edges per tick^2, random phases have a hypothesis that fits them well
    /// enough to be only doubted, at some high speed. So a doubted hypothesis that was ever faster than this, in edges per tick, is
    /// no better than the table (tried from 20 to 40; `testkit -- grid`: at 40 a cell is worse than the table, at 20 one run in
    /// 2,000 more is wrong below its limit).
    pub(crate) const HARDEST_DOUBTED: f32 = 50.0;
    /// The same as the constant before, or its counterpart.
    pub(crate) const FASTEST_DOUBTED: f32 = 30.0;
    /// Where the uncertain time of a sample comes to more edges than this, a sample may be taken for one four edges off, and
    /// nothing shows. Then each may add so many times as much, and the whole way is off by so much of itself: timers that differ
    /// by as much.
    pub(crate) const SMEARED: f32 = 1.6;
    /// The same as the constant before, or its counterpart.
    pub(crate) const SMEARED_TIMES: f32 = 3.0;
    /// The same as the constant before, or its counterpart.
    pub(crate) const SMEARED_PART: f32 = 0.03;
}

/// For `tracking/recent.rs`.
pub(crate) mod recent {
    /// Reports that are kept: their phases fill a `u32`.
    pub(crate) const KEPT: usize = 16;
    /// Ticks without a change after which the wheel rests, so that what was before is of no use.
    pub(crate) const RESTS_AFTER: u8 = 8;
    /// A speed of one edge per tick, as the meter shows it.
    pub(crate) const ONE_EDGE: i32 = 64;
    /// Above this speed two edges may fall into one tick.
    pub(crate) const FAST: i32 = ONE_EDGE * 13 / 16;
    /// From this speed no wheel turns round within a tick. One edge out of rest reads as 16: a contact that bounces,
    /// or a line that is alone, goes back from there at any time.
    pub(crate) const STEERED: i32 = 20;
}

/// For `tracking/hypotheses.rs`.
pub(crate) mod hypotheses {
    /// How many hypotheses are kept. With 16 a stroke that begins in both directions at once may lose its true hypothesis.
    pub(crate) const KEPT: usize = 24;
}

/// For `tracking/candidates.rs`.
pub(crate) mod candidates {
    /// Hypotheses that are less likely than the best by this logarithm are dropped: 1 in 9 million.
    pub(crate) const DROPPED: f32 = 16.0;
}

#[cfg(test)]
mod tests {
    /// The page lists each constant with its value.
    #[test]
    fn the_page_lists_every_constant() {
        let page = include_str!("../docs/tracking.md");
        let (mut module, mut listed) = ("", 0);
        for line in include_str!("parameters.rs").lines() {
            if let Some(name) = line.strip_prefix("pub(crate) mod ") {
                module = name.trim_end_matches(" {");
            }
            let Some(constant) = line.strip_prefix("    pub(crate) const ") else { continue };
            let (name, rest) = constant.split_once(": ").unwrap();
            let value = rest.split_once(" = ").unwrap().1.trim_end_matches(';');
            assert!(page.contains(&format!("| `{module}::{name}` | {value} |")), "{module}::{name}");
            listed += 1;
        }
        assert!(listed > 80, "{listed}");
    }
}
