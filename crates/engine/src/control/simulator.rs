//! What the simulator reports, taken up.

use super::Control;
use crate::commands::{Choice, Command, Origin};
use crate::inbound::{Action, Arrival, Counters, EchoSuppression, Message, SimulatorSession, Verdict};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tallywheel_accumulator::Place;
use tallywheel_profile::{Aircraft, OutputConfig, Rig, Simulator, Start, TitleChoice, choose_by_title};
use tallywheel_units::{Normalized, Timestamp};

/// Between two lines about useless datagrams at least this much time passes.
const LOG_EVERY: Duration = Duration::from_secs(10);

/// What is known of the simulator.
#[derive(Debug, Default)]
pub(super) struct Reports {
    link: Option<SimulatorSession>,
    followers: Vec<EchoSuppression>,
    /// Trims of which nothing is sent before they are reported.
    awaited: Vec<usize>,
    title: Option<String>,
    /// The title says which aircraft to fly.
    recognised: bool,
    paused: bool,
    logged: Option<Timestamp>,
    strangers: Vec<String>,
    counters: Counters,
    /// Why the datagrams cannot come in.
    deaf: Option<String>,
}

impl Reports {
    /// Flies `aircraft` from now on. `kept` has for each of its trims the place that it had before, if it goes on;
    /// nothing is kept of another aircraft. What is known of the simulator stays.
    pub(super) fn fly(
        &mut self,
        rig: &Rig,
        aircraft: &Aircraft,
        outputs: &[OutputConfig],
        kept: Option<&[Option<usize>]>,
    ) {
        match (&rig.simulator, &mut self.link) {
            (None, _) => *self = Self { counters: self.counters, ..Self::default() },
            (Some(simulator), None) => self.link = Some(SimulatorSession::new(simulator.gone_after)),
            (Some(simulator), Some(link)) => link.set_gone_after(simulator.gone_after),
        }
        let guided = |trim: usize| {
            outputs.iter().any(|output| match output {
                OutputConfig::Steps { trims, .. } => trims.iter().any(|steps| steps.trim.get() == trim),
                OutputConfig::Keys { trims, .. } => trims.iter().any(|steps| steps.trim.get() == trim),
                OutputConfig::Axis { .. } | OutputConfig::Datagram(_) => false,
            })
        };
        let before = |place: usize| kept.and_then(|kept| *kept.get(place)?);
        let mut known: Vec<_> = std::mem::take(&mut self.followers).into_iter().map(Some).collect();
        let trims = aircraft.trims.iter().enumerate();
        let followers = trims.map(|(place, trim)| {
            let same = before(place).and_then(|before| known.get_mut(before)?.take());
            match same {
                Some(mut follower) => {
                    follower.revise(trim.report, guided(place));
                    follower
                }
                None => EchoSuppression::new(trim.report, guided(place)),
            }
        });
        self.followers = followers.collect();
        let starts = aircraft.trims.iter().enumerate().filter(|(_, trim)| trim.start == Start::Simulator);
        let starts = starts.map(|(place, _)| place).filter(|_| rig.simulator.is_some());
        // A file that is saved while it is flown starts nothing: its outputs say something already, or wait already.
        let waits = |place: &usize| {
            kept.is_none() || before(*place).is_some_and(|before| self.awaited.contains(&before))
        };
        self.awaited = starts.filter(waits).collect();
        self.strangers.clear();
    }

    /// Whether nothing is to be sent yet.
    pub(super) fn is_silent(&self) -> bool {
        !self.awaited.is_empty()
    }

    /// A trim's place is known otherwise.
    pub(super) fn known(&mut self, trim: usize) {
        self.awaited.retain(|awaited| *awaited != trim);
    }

    fn may_log(&mut self, at: Timestamp) -> bool {
        let may = self.logged.is_none_or(|logged| at.since(logged) >= LOG_EVERY);
        if may {
            self.logged = Some(at);
        }
        may
    }
}

impl Control {
    /// Where the simulator's reports come in, if they do.
    #[must_use]
    pub fn simulator(&self) -> Option<&Simulator> {
        self.flying.rig.simulator.as_ref()
    }

    /// Whether the simulator reports.
    #[must_use]
    pub fn is_simulator_up(&self) -> bool {
        self.reports.link.as_ref().is_some_and(SimulatorSession::is_up)
    }

    /// The title that the simulator reported last.
    #[must_use]
    pub fn title(&self) -> Option<&str> {
        self.reports.title.as_deref()
    }

    /// Whether the simulator says that it is paused.
    #[must_use]
    pub const fn is_paused(&self) -> bool {
        self.reports.paused
    }

    /// How many datagrams came in since the start, and what became of them.
    #[must_use]
    pub const fn datagrams(&self) -> Counters {
        self.reports.counters
    }

    /// Why the simulator cannot be listened to.
    #[must_use]
    pub fn deaf(&self) -> Option<&str> {
        self.reports.deaf.as_deref()
    }

    /// The simulator is listened to, or cannot be because of `reason`.
    pub fn set_deaf(&mut self, reason: Option<String>) {
        if self.reports.deaf != reason {
            self.reports.deaf = reason;
            self.changed();
        }
    }

    /// When [`Self::due`] is wanted although nothing comes.
    #[must_use]
    pub fn deadline(&self) -> Option<Timestamp> {
        self.reports.link.as_ref().and_then(SimulatorSession::deadline)
    }

    /// Looks whether the simulator is gone.
    pub fn due(&mut self) {
        if self.reports.link.as_mut().is_some_and(|link| link.gone(self.clock.now())) {
            tracing::warn!("the simulator reports no more");
            self.reports.followers.iter_mut().for_each(EchoSuppression::forget);
            self.reports.paused = false;
            self.changed();
        }
    }

    /// Takes a datagram from the simulator, or somebody else's.
    pub fn hear(&mut self, arrival: Arrival<'_>) {
        match arrival {
            Arrival::Datagram(from, bytes) => self.look_into(from, bytes),
            Arrival::Stranger => self.reports.counters.strangers += 1,
            Arrival::Flooded => self.reports.counters.flooded += 1,
        }
    }

    fn look_into(&mut self, from: SocketAddr, bytes: &[u8]) {
        let now = self.clock.now();
        let message = match Message::parse(bytes) {
            Ok(message) => message,
            Err(garbage) => {
                self.reports.counters.malformed += 1;
                if self.reports.may_log(now) {
                    let total = self.reports.counters.malformed;
                    tracing::warn!(%from, bytes = bytes.len(), total, "a datagram is of no use: {garbage}");
                }
                return;
            }
        };
        match self.reports.link.as_mut().map(|link| link.take(now, from, &message)) {
            None => return,
            Some(Verdict::Late | Verdict::Superseded) => {
                self.reports.counters.late += 1;
                return;
            }
            Some(Verdict::Fresh { new_session: true }) => {
                self.changed();
                self.drain();
                tracing::info!(%from, "the simulator reports");
                self.reports.followers.iter_mut().for_each(EchoSuppression::forget);
                self.reports.strangers.clear();
            }
            Some(Verdict::Fresh { new_session: false }) => {}
        }
        self.reports.counters.accepted += 1;
        self.paused(now, message.paused.unwrap_or(self.reports.paused));
        if let Some(title) = message.title
            && self.reports.title.as_ref() != Some(&title)
        {
            self.titled(title);
        }
        self.see(now);
        for (name, value) in &message.trims {
            self.reported(now, name, *value);
        }
        if !self.reports.is_silent() {
            self.shared.silence(false, now);
        }
    }

    fn paused(&mut self, now: Timestamp, paused: bool) {
        if paused != self.reports.paused {
            tracing::info!("the simulator is {}", if paused { "paused" } else { "going on" });
            self.changed();
        }
        if paused || self.reports.paused {
            self.reports.followers.iter_mut().for_each(|follower| follower.paused(now));
        }
        self.reports.paused = paused;
    }

    /// Remembers where the outputs are, to know their echo.
    pub(super) fn see(&mut self, now: Timestamp) {
        if !self.is_simulator_up() {
            return;
        }
        let seen = self.shared.seen(now);
        for (follower, (shown, turned)) in self.reports.followers.iter_mut().zip(seen) {
            follower.see(now, shown, turned);
        }
    }

    fn reported(&mut self, now: Timestamp, name: &str, value: Normalized) {
        let Some(place) = self.flying.aircraft.trims.iter().position(|trim| trim.name == name) else {
            if !self.reports.strangers.iter().any(|known| known == name) && self.reports.strangers.len() < 8 {
                tracing::warn!(
                    trim = name,
                    "the simulator reports a trim that the aircraft file does not have"
                );
                self.reports.strangers.push(name.to_owned());
            }
            return;
        };
        self.shared.told(place, value, now);
        let action = self.reports.followers.get_mut(place).and_then(|follower| follower.report(now, value));
        let degrees = self.shared.look(|tally| tally.trims().get(place).map(|trim| trim.degrees_at(value)));
        if let (Some(action), Some(degrees)) = (action, degrees) {
            let to = Place::At(degrees);
            match action {
                Action::Adopt => {
                    self.drain();
                    if let Some(change) = self.shared.align(place, to, now) {
                        tracing::info!(trim = name, "taken from the simulator: {change}");
                    }
                }
                Action::Await => {
                    if self.shared.await_at(place, to, now) {
                        let value = value.get();
                        tracing::info!(
                            trim = name,
                            value,
                            "nothing is sent until the wheel passes the simulator's place"
                        );
                    }
                }
            }
            self.see(now);
        }
        self.reports.known(place);
    }

    /// Flies the aircraft whose file is for a title.
    fn titled(&mut self, title: String) {
        let files: Vec<_> =
            self.config.to_fly().map(|(stem, aircraft)| (stem.to_owned(), Arc::clone(aircraft))).collect();
        let named: Vec<(&str, &Aircraft)> =
            files.iter().map(|(stem, file)| (stem.as_str(), &**file)).collect();
        let stem = |place: usize| named.get(place).map_or("", |(stem, _)| *stem);
        self.reports.recognised = false;
        match choose_by_title(&named, &title) {
            TitleChoice::Matched(place) | TitleChoice::Default(place) => {
                self.reports.recognised = true;
                tracing::info!(title, aircraft = stem(place), "the simulator reports its aircraft");
                // What cannot be flown is logged there.
                let _ =
                    self.execute(&Command::Fly(Choice::Named(stem(place).to_owned())), &Origin::Simulator);
            }
            TitleChoice::Tie(places) => {
                let files: Vec<_> = places.into_iter().map(stem).collect();
                tracing::error!(
                    title,
                    "several aircraft files are equally for this title: {}",
                    files.join(", ")
                );
            }
            TitleChoice::Nothing => {
                tracing::warn!(title, flying = self.flying.stem, "no aircraft file is for this title");
            }
        }
        self.reports.title = Some(title);
        self.changed();
    }

    /// Files changed: one of them may be for a title that none was for.
    pub(super) fn look_for_title(&mut self) {
        if self.is_simulator_up()
            && !self.reports.recognised
            && let Some(title) = self.reports.title.take()
        {
            self.titled(title);
        }
    }
}
