//! What a report of the simulator does to one trim. No I/O and no clock.
//!
//! A simulator mostly reports what it was sent a moment ago, or its trim on the way there. Taking that for news would
//! turn the wheel back under the hand. So after the first report of a session only what is none of that counts:
//!
//! | trim | the report is | while | action |
//! |---|---|---|---|
//! | no report in this session yet | where the outputs are | | none |
//! | the same, file says adopt | elsewhere | | adopt |
//! | the same, file says await | elsewhere | | await |
//! | the same, file says override | elsewhere | | none |
//! | reported | any | the file says override | none |
//! | reported | any | an output closes the loop itself (steps) | none |
//! | reported | any | the simulator is paused, or was in the last second | none |
//! | reported | near a place where the outputs were in the last 1.5 s, or between two of them | | none |
//! | reported | elsewhere | the wheel was turned in the last second | none |
//! | reported | elsewhere, another place than the report before | the wheel rests | none, it may be moving |
//! | reported | elsewhere, the same place for a second | the wheel rests | adopt or await, as the file says |
//!
//! "Adopt": the trim goes where the simulator has it, so the outputs say what the simulator already knows, and the
//! hand goes on from there; the wheel turns for ever. "Await": the outputs say the simulator's place until the wheel
//! has been turned past it. Neither moves anything in the aircraft.

use std::collections::VecDeque;
use std::time::Duration;
use tallywheel_profile::OnReport;
use tallywheel_units::{Counts, Normalized, Timestamp};

/// How long a report may be the echo of what was sent.
const ECHO: Duration = Duration::from_millis(1500);
/// How long the wheel rests, and a report stays the same, before the report is news.
const STEADY: Duration = Duration::from_secs(1);
/// How far a simulator's rounding takes what it was sent.
const NEAR: f64 = 0.02;
/// At the first report a smaller step is not seen.
const SAME: f64 = 0.001;
/// The most places of the last moment that are remembered; when there are more, the oldest are one.
const PLACES: usize = 32;

/// What a report does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// The trim goes where the simulator has it.
    Adopt,
    /// The outputs say where the simulator has it until the trim comes there.
    Await,
}

/// One trim and what is reported of it.
#[derive(Debug)]
pub struct EchoSuppression {
    policy: OnReport,
    /// An output of the trim uses the reports by itself.
    guided: bool,
    reported: bool,
    /// Where the outputs were and until when, the oldest first; the last is where they are.
    shown: VecDeque<(Timestamp, f64)>,
    turned: Counts,
    turned_at: Option<Timestamp>,
    /// A report that is no echo, and since when it is the same.
    strange: Option<(Timestamp, f64)>,
}

impl EchoSuppression {
    /// Of a trim whose aircraft file says `policy`.
    #[must_use]
    pub const fn new(policy: OnReport, guided: bool) -> Self {
        Self {
            policy,
            guided,
            reported: false,
            shown: VecDeque::new(),
            turned: Counts::ZERO,
            turned_at: None,
            strange: None,
        }
    }

    /// The aircraft file was saved; what was seen and reported before stays known, so that the next report is not
    /// taken for a session's first one.
    pub const fn revise(&mut self, policy: OnReport, guided: bool) {
        self.policy = policy;
        self.guided = guided;
    }

    /// The simulator began a new session, or is gone.
    pub const fn forget(&mut self) {
        self.reported = false;
        self.strange = None;
    }

    /// The outputs say `shown`, and the wheel was turned by `turned` in sum. To be called often while it turns.
    pub fn see(&mut self, at: Timestamp, shown: Normalized, turned: Counts) {
        if turned != self.turned {
            self.turned = turned;
            self.turned_at = Some(at);
        }
        let now = shown.get();
        match self.shown.back_mut() {
            Some((until, last)) if *last == now => *until = at,
            _ => self.shown.push_back((at, now)),
        }
        while let [(until, _), _, ..] = self.shown.make_contiguous()
            && (at.since(*until) > ECHO || self.shown.len() > PLACES)
        {
            self.shown.pop_front();
        }
    }

    /// The simulator is paused: it reports what was before, whatever it is sent.
    pub const fn paused(&mut self, at: Timestamp) {
        self.turned_at = Some(at);
    }

    /// The simulator has the trim at `value`; what the outputs say now has been seen.
    pub fn report(&mut self, at: Timestamp, value: Normalized) -> Option<Action> {
        let value = value.get();
        let action = match self.policy {
            OnReport::Adopt => Action::Adopt,
            OnReport::Await => Action::Await,
            OnReport::Override => {
                self.reported = true;
                return None;
            }
        };
        if !self.reported {
            self.reported = true;
            let here = self.shown.back().is_some_and(|(_, shown)| (shown - value).abs() < SAME);
            return (!here).then_some(action);
        }
        let turned = self.turned_at.is_some_and(|turned| at.since(turned) < STEADY);
        if self.guided || turned || self.is_echo(value) {
            self.strange = None;
            return None;
        }
        match self.strange {
            Some((since, before)) if (value - before).abs() < SAME => {
                let news = at.since(since) >= STEADY;
                if news {
                    self.strange = None;
                }
                news.then_some(action)
            }
            _ => {
                self.strange = Some((at, value));
                None
            }
        }
    }

    /// Whether the outputs were there lately. The trim goes through every place between two.
    fn is_echo(&self, value: f64) -> bool {
        let places = self.shown.iter().map(|(_, shown)| *shown);
        let low = places.clone().fold(f64::INFINITY, f64::min);
        let high = places.fold(f64::NEG_INFINITY, f64::max);
        (low - NEAR..=high + NEAR).contains(&value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    enum Do {
        /// The outputs say this, after so many counts in sum.
        See(f64, i64),
        /// Reported, and what comes of it.
        Report(f64, Option<Action>),
        Paused,
        Forget,
    }
    use Do::{Forget, Paused, Report, See};

    const ADOPT: Option<Action> = Some(Action::Adopt);
    const AWAIT: Option<Action> = Some(Action::Await);

    /// At milliseconds.
    fn check(mut follower: EchoSuppression, script: &[(u64, Do)]) {
        for (ms, step) in script {
            let at = Timestamp::from_micros(ms * 1000);
            match step {
                See(shown, turned) => follower.see(at, Normalized::clamped(*shown), Counts::new(*turned)),
                Report(value, action) => {
                    assert_eq!(follower.report(at, Normalized::clamped(*value)), *action, "at {ms} ms");
                }
                Paused => follower.paused(at),
                Forget => follower.forget(),
            }
        }
    }

    fn adopts() -> EchoSuppression {
        EchoSuppression::new(OnReport::Adopt, false)
    }

    #[test]
    fn the_first_report_of_a_session() {
        let first = |policy, value, action| {
            check(EchoSuppression::new(policy, false), &[(0, See(0.0, 0)), (10, Report(value, action))]);
        };
        first(OnReport::Adopt, 0.0, None);
        first(OnReport::Adopt, 0.3, ADOPT);
        first(OnReport::Adopt, 0.005, ADOPT);
        first(OnReport::Await, 0.3, AWAIT);
        first(OnReport::Await, 0.0, None);
        first(OnReport::Override, 0.3, None);
        check(EchoSuppression::new(OnReport::Adopt, true), &[(0, See(0.0, 0)), (1, Report(0.3, ADOPT))]);
        check(
            adopts(),
            &[
                (0, See(0.0, 0)),
                (0, Report(0.3, ADOPT)),
                (1, See(0.3, 0)),
                (2, Forget),
                (3, Report(-0.3, ADOPT)),
            ],
        );
    }

    #[test]
    fn an_echo_is_no_news_however_late() {
        // The hand turns from 0 to 0.5 in half a second; the simulator follows 800 ms later.
        let mut script = vec![(0, See(0.0, 0)), (0, Report(0.0, None))];
        for n in 1..=50_i32 {
            script.push((u64::try_from(n * 10).unwrap(), See(f64::from(n) / 100.0, n.into())));
        }
        for n in 0..=50_i32 {
            let ms = u64::try_from(800 + n * 10).unwrap();
            script.push((ms, See(0.5, 50)));
            script.push((ms, Report(f64::from(n) / 100.0, None)));
        }
        script.extend([(5000, See(0.5, 50)), (5000, Report(0.5, None)), (7000, Report(0.495, None))]);
        check(adopts(), &script);
    }

    #[test]
    fn a_simulator_that_moves_its_trim_slowly_is_waited_for() {
        let mut script = vec![(0, See(0.0, 0)), (0, Report(0.0, None)), (10, See(0.5, 50))];
        for n in 0..=50_i32 {
            let ms = u64::try_from(20 + n * 200).unwrap();
            script.push((ms, See(0.5, 50)));
            script.push((ms, Report(f64::from(n) / 100.0, None)));
        }
        check(adopts(), &script);
    }

    #[test]
    fn what_stays_elsewhere_while_the_wheel_rests_is_news() {
        let script = |action| {
            vec![
                (0, See(0.0, 0)),
                (0, Report(0.0, None)),
                (3000, See(0.0, 0)),
                (3000, Report(-0.4, None)),
                (3500, Report(-0.4, None)),
                (4000, Report(-0.4, action)),
            ]
        };
        check(adopts(), &script(ADOPT));
        check(EchoSuppression::new(OnReport::Await, false), &script(AWAIT));
        check(EchoSuppression::new(OnReport::Override, false), &script(None));
        check(EchoSuppression::new(OnReport::Adopt, true), &script(None));
    }

    #[test]
    fn a_turning_hand_is_never_fought() {
        let mut script = vec![(0, See(0.0, 0)), (0, Report(0.0, None))];
        for n in 1..=100_i32 {
            let ms = u64::try_from(n * 100).unwrap();
            script.push((ms, See(f64::from(n) / 100.0, n.into())));
            script.push((ms, Report(-0.8, None)));
        }
        // It rests now, and what is reported stays: only then.
        script.extend([
            (10_900, See(1.0, 100)),
            (10_900, Report(-0.8, None)),
            (11_100, Report(-0.8, None)),
            (12_000, Report(-0.8, None)),
            (12_100, Report(-0.8, ADOPT)),
        ]);
        check(adopts(), &script);
    }

    #[test]
    fn a_paused_simulator_repeats_what_was() {
        check(
            adopts(),
            &[
                (0, See(0.0, 0)),
                (0, Report(0.0, None)),
                (100, See(0.5, 50)),
                (3000, See(0.5, 50)),
                (3000, Paused),
                (3000, Report(0.0, None)),
                (3900, Paused),
                (4100, Report(0.0, None)),
                (5000, Report(0.5, None)),
            ],
        );
    }

    #[test]
    fn memory_is_bounded() {
        let mut follower = adopts();
        for n in 0..10_000_u32 {
            let shown = Normalized::clamped(f64::from(n) / 10_000.0);
            follower.see(Timestamp::from_micros(n.into()), shown, Counts::ZERO);
        }
        assert!(follower.shown.len() <= PLACES, "{}", follower.shown.len());
    }
}
