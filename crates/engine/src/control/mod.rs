//! The one place where commands are done and changed files are taken up.
//!
//! It runs beside the readers' threads and owns what only it changes: which files there are, what is flown, the
//! log. A lock of the shared's is held for single steps only, so no reader waits for a file or a device.

mod listener;
mod overview;
mod simulator;

use crate::clock::Clock;
use crate::commands::{Answer, Choice, Command, Origin, Outcome, Refusal, Request, Shift, Spot, Switch};
use crate::config_files::{ChangedFile, Config, ConfigFile, FileChange};
use crate::device_manager::DeviceSender;
use crate::event_log::EventLog;
use crate::runtime_config::{self, BoardConfig, IndexRegistry, Names, RuntimeConfig};
use crate::saved::{self, Saved};
use crate::shared::{ConfigUpdate, SharedState};
use crate::state::{BridgeState, Question};
use crate::tally::{Tally, TrimTally};
pub(crate) use listener::SimulatorListener;
use simulator::Reports;
use std::path::Path;
use std::sync::Arc;
use tallywheel_accumulator::{Change, Place};
use tallywheel_profile as profile;
use tallywheel_profile::{Aircraft, Button, Press, Rig, Start};
use tallywheel_units::{BoardIndex, ButtonNumber, Counts, Margin, Timestamp};

/// More turns than these in one go are a slip of the finger.
const TURNS_MAX: i32 = 1000;

/// What is flown, as it was last good.
#[derive(Debug, Clone)]
pub struct Flying {
    /// The aircraft file's name without `.toml`.
    pub stem: String,
    /// The aircraft.
    pub aircraft: Arc<Aircraft>,
    /// The rig.
    pub rig: Arc<Rig>,
    /// Where its boards and wheels are.
    pub places: IndexRegistry,
}

/// Does what is asked.
pub struct Control {
    config: Config,
    flying: Flying,
    shared: Arc<SharedState>,
    devices: DeviceSender,
    clock: Clock,
    event_log: EventLog,
    saved: Saved,
    reports: Reports,
    /// Why the newest good files are not in use together, as far as it was said.
    misfit: Option<String>,
}

impl Control {
    /// Of a shared state that flies `flying` with the boards of `devices`.
    #[must_use]
    pub fn new(
        config: Config,
        flying: Flying,
        shared: Arc<SharedState>,
        devices: DeviceSender,
        clock: Clock,
        event_log: EventLog,
        mut saved: Saved,
    ) -> Self {
        saved.flies(&flying.stem, shared.look(Tally::sequence));
        let mut reports = Reports::default();
        reports.fly(&flying.rig, &flying.aircraft, &shared.outputs(), None);
        shared.silence(reports.is_silent(), clock.now());
        Self { config, flying, shared, devices, clock, event_log, saved, reports, misfit: None }
    }

    /// What is flown.
    #[must_use]
    pub const fn flying(&self) -> &Flying {
        &self.flying
    }

    /// The user's files.
    #[must_use]
    pub const fn config(&self) -> &Config {
        &self.config
    }

    /// Why the newest files are not in use although each is good by itself.
    #[must_use]
    pub fn misfit(&self) -> Option<&str> {
        self.misfit.as_deref()
    }

    /// What things are called now.
    #[must_use]
    pub const fn names(&self) -> &Names {
        self.event_log.names()
    }

    /// What is kept for those who ask.
    #[must_use]
    pub const fn state(&self) -> &BridgeState {
        self.event_log.state()
    }

    /// What those who look on see has changed.
    fn changed(&self) {
        self.state().changes().changed();
    }

    /// Logs and records what happened so far.
    fn drain(&mut self) {
        if self.event_log.drain() {
            self.shared.tell_positions();
        }
    }

    /// The time since the start.
    #[must_use]
    pub fn now(&self) -> Timestamp {
        self.clock.now()
    }

    /// Returns when readers, boards or outputs have something to say. Nothing is lost where the caller gives up waiting.
    pub(crate) async fn events(&self) {
        self.event_log.wait().await;
    }

    /// Whether `Self::events` would return at once.
    #[must_use]
    pub fn has_events(&self) -> bool {
        self.event_log.is_awake()
    }

    /// Where the trims are on disk, or on their way there.
    #[must_use]
    pub const fn saved(&self) -> &Saved {
        &self.saved
    }

    /// Answers what is asked at the interface; `log` is the log file.
    pub fn answer(&self, question: Question, log: &Path) {
        // Whoever asked may have given up.
        match question {
            Question::Status(reply) => drop(reply.send(overview::status(self, log))),
            Question::Losses(reply) => drop(reply.send(self.state().losses(self.now(), self.names()))),
            Question::Hangar(reply) => drop(reply.send(overview::hangar(self))),
        }
    }

    /// What the readers' threads share.
    #[must_use]
    pub fn shared(&self) -> &SharedState {
        &self.shared
    }

    /// What is written down, to be read.
    #[must_use]
    pub const fn written(&self) -> &EventLog {
        &self.event_log
    }

    /// What is written down.
    pub const fn event_log(&mut self) -> &mut EventLog {
        &mut self.event_log
    }

    /// Writes down what happened since the last time, in the log and as the positions to start from next time. Says
    /// whether something did.
    pub fn tick(&mut self) -> bool {
        self.drain();
        self.save();
        self.see(self.clock.now());
        self.event_log.is_busy()
    }

    fn save(&mut self) {
        let places = self.shared.look(saved::places);
        self.saved.take(&self.flying.stem, &self.flying.aircraft, places);
    }

    /// Writes the last lines and the last positions.
    pub fn close(mut self) {
        self.save();
        self.event_log.close();
        self.saved.close();
    }

    /// Does what is asked, logs it and answers.
    pub fn serve(&mut self, request: Request) {
        let answer = self.execute(&request.command, &request.origin);
        if let Some(reply) = request.reply {
            // Whoever asked may have given up.
            let _ = reply.send(answer);
        }
    }

    /// Does what is asked and logs it.
    ///
    /// # Errors
    /// [`Refusal`]; nothing has changed then.
    pub fn execute(&mut self, command: &Command, origin: &Origin) -> Answer {
        // What happened before is in the log before.
        self.drain();
        let answer = match command {
            Command::Align { trim, to } => self.align(trim, to),
            Command::Fly(choice) => self.fly(choice),
            Command::Hold(switch) => Ok(self.hold(*switch)),
            Command::Ratio { trim, ratio } => self.ratio(trim, *ratio),
            Command::Press { board, button } => self.press(*board, *button, origin),
            Command::Reload => Ok(self.reload()),
            Command::Confirm { wheel, turns } => self.confirm(wheel, *turns),
        };
        if matches!(command, Command::Press { .. }) {
            // What the button stands for is in the log already.
            return answer;
        }
        match &answer {
            Ok(outcome) => tracing::info!(%origin, "{outcome}"),
            Err(refusal) => tracing::warn!(%origin, %command, "not done: {refusal}"),
        }
        answer
    }

    /// Reads the files again and takes up what changed.
    pub fn reload(&mut self) -> Outcome {
        let news = self.config.read();
        self.drain();
        for changed in &news {
            say(changed, &self.flying.stem);
            self.event_log.notifications().file(&changed.which, &changed.news);
        }
        if news.iter().any(|changed| self.concerns(changed)) {
            self.take_up();
        }
        if !news.is_empty() {
            self.look_for_title();
            self.changed();
        }
        Outcome::Reloaded { changed: news.len(), wrong: self.config.problems().count() }
    }

    /// Logs what is wrong with the files now, and takes up what was saved since what is flown was read.
    pub fn begin(&mut self) {
        for (which, reason) in self.config.problems() {
            tracing::error!("the {which} file is not valid: {reason}");
            self.event_log.notifications().file(&which, &FileChange::Wrong(reason.to_owned()));
        }
        self.take_up();
    }

    fn concerns(&self, changed: &ChangedFile) -> bool {
        let ours = match &changed.which {
            ConfigFile::Rig => true,
            ConfigFile::Aircraft(stem) => *stem == self.flying.stem,
        };
        ours && changed.news == FileChange::Good
    }

    /// Flies the newest good rig and aircraft file, if they go together.
    fn take_up(&mut self) {
        let rig = self.config.rig().map_or_else(|| Arc::clone(&self.flying.rig), Arc::clone);
        let aircraft = self.config.aircraft(&self.flying.stem);
        let aircraft = aircraft.map_or_else(|| Arc::clone(&self.flying.aircraft), Arc::clone);
        let (usable, _) = profile::reduce(&rig, &aircraft);
        if (&rig, &usable) == (&self.flying.rig, &*self.flying.aircraft) {
            self.misfit = None;
            return;
        }
        let stem = self.flying.stem.clone();
        if let Err(reason) = self.fly_with(stem, rig, aircraft) {
            if self.misfit.as_ref() != Some(&reason) {
                tracing::error!("the files cannot be used together, so everything stays as it was: {reason}");
            }
            self.misfit = Some(reason);
        }
    }

    fn fly(&mut self, choice: &Choice) -> Answer {
        let meant = match choice {
            Choice::Named(name) => self.config.meant(name),
            Choice::Next => self.config.after(&self.flying.stem),
        };
        let Some((stem, aircraft)) = meant.map(|(stem, aircraft)| (stem.to_owned(), Arc::clone(aircraft)))
        else {
            let given = match choice {
                Choice::Named(name) => name.clone(),
                Choice::Next => "to follow".to_owned(),
            };
            return Err(Refusal::no_such_aircraft(&given, self.config.to_fly().map(|(stem, _)| stem)));
        };
        let name = aircraft.name.clone();
        let was_flying = stem == self.flying.stem;
        if !was_flying {
            let rig = self.config.rig().map_or_else(|| Arc::clone(&self.flying.rig), Arc::clone);
            self.fly_with(stem.clone(), rig, aircraft)
                .map_err(|reason| Refusal::unflyable(&stem, &reason))?;
        }
        Ok(Outcome::Flying { stem, aircraft: name, was_flying })
    }

    /// Flies this from now on. Trims of the same aircraft that keep their names go on where they are.
    fn fly_with(&mut self, stem: String, rig: Arc<Rig>, aircraft: Arc<Aircraft>) -> Result<(), String> {
        let mut places = self.flying.places.clone();
        let all_aircraft: Vec<_> =
            self.config.to_fly().map(|(_, file)| &**file).chain([&*aircraft]).collect();
        let (usable, left_out) = profile::reduce(&rig, &aircraft);
        let plan = runtime_config::build_in(&rig, &usable, &mut places, &all_aircraft);
        let mut plan = plan.map_err(|error| error.to_string())?;
        left_out.iter().for_each(|part| tracing::warn!("{part}"));
        let aircraft = Arc::new(usable);
        let same = stem == self.flying.stem;
        if !same {
            self.save();
        }
        start_where_saved(&mut plan, &stem, &aircraft, &mut self.saved);
        let before = |name: &str| self.flying.aircraft.trims.iter().position(|trim| trim.name == name);
        let kept = aircraft.trims.iter().map(|trim| before(&trim.name).filter(|_| same));
        let kept: Vec<_> = kept.collect();
        let rig_changed = rig != self.flying.rig;
        let now = self.clock.now();
        if !same && self.shared.is_held() {
            tracing::info!("outputs follow again: they were held for another aircraft");
            self.shared.hold(false, now);
        }
        let RuntimeConfig { names, boards, tally, outputs } = plan;
        let present: Vec<_> = boards.iter().map(BoardConfig::board).collect();
        let (trims, reversed) = tally.into_parts();
        self.reports.fly(&rig, &aircraft, &outputs, same.then_some(&*kept));
        if self.reports.is_silent() {
            // Before the new trims can be sent.
            self.shared.silence(true, now);
        }
        let update = ConfigUpdate { trims, kept, reversed, outputs };
        let changes = self.shared.apply(update, now);
        if rig_changed {
            self.say_exchanged(&rig);
            self.devices.rig_changed(boards);
        }
        self.drain();
        self.event_log.rename(names, &present);
        if !self.reports.is_silent() {
            self.shared.silence(false, now);
        }
        self.say_moved(&changes);
        if !same {
            self.saved.flies(&stem, self.shared.look(Tally::sequence));
        }
        self.flying = Flying { stem, aircraft, rig, places };
        self.misfit = None;
        Ok(())
    }

    /// The device manager says what it finds; why it looks is known here.
    fn say_exchanged(&self, rig: &Rig) {
        for board in &rig.boards {
            let before = self.flying.rig.boards.iter().find(|before| before.name == board.name);
            let named = |board: &profile::Board| (board.usb, board.serial.clone(), board.path.clone());
            if before.is_some_and(|before| named(before) != named(board)) {
                tracing::info!(
                    board = board.name,
                    "the rig file now describes this board differently; looking for it"
                );
            }
        }
    }

    /// A position never jumps unseen.
    fn say_moved(&self, changes: &[Option<Change>]) {
        for (name, change) in self.event_log.names().trims().zip(changes) {
            if let Some(change) = change.filter(Change::is_visible) {
                tracing::warn!(trim = name, "moved by the changed files: {change}");
            }
        }
    }

    fn align(&mut self, given: &str, to: &Spot) -> Answer {
        let (place, name) = self.trim(given)?;
        let to = self.place(place, to)?;
        let change = self.shared.align(place, to, self.clock.now());
        let change = change.ok_or_else(|| self.no_such_trim(given))?;
        self.reports.known(place);
        if !self.reports.is_silent() {
            self.shared.silence(false, self.clock.now());
        }
        Ok(Outcome::Aligned { trim: name, change })
    }

    /// The trim of this name, or the one on the wheel of this name.
    fn trim(&self, given: &str) -> Result<(usize, String), Refusal> {
        let trims = &self.flying.aircraft.trims;
        let by_name = trims.iter().position(|trim| trim.name == given);
        let place = by_name.or_else(|| trims.iter().position(|trim| trim.wheel == given));
        let found = place.and_then(|place| Some((place, trims.get(place)?.name.clone())));
        found.ok_or_else(|| self.no_such_trim(given))
    }

    fn no_such_trim(&self, given: &str) -> Refusal {
        Refusal::no_such_trim(given, self.flying.aircraft.trims.iter().map(|trim| trim.name.as_str()))
    }

    fn place(&self, trim: usize, spot: &Spot) -> Result<Place, Refusal> {
        match spot {
            Spot::Low => Ok(Place::Low),
            Spot::Neutral => Ok(Place::Neutral),
            Spot::High => Ok(Place::High),
            Spot::At(degrees) => Ok(Place::At(*degrees)),
            Spot::Named(name) => {
                let trim = self.flying.aircraft.trims.get(trim);
                let at = trim.and_then(|trim| trim.position(name));
                at.map(Place::At).ok_or_else(|| {
                    let positions = trim.map_or([].as_slice(), |trim| &trim.positions);
                    let named = positions.iter().map(|position| position.name.as_str());
                    let choices = ["low", "neutral", "high"].into_iter().chain(named);
                    Refusal::no_such_position(trim.map_or("", |trim| &trim.name), name, choices)
                })
            }
        }
    }

    fn hold(&mut self, switch: Switch) -> Outcome {
        let hold = match switch {
            Switch::On => true,
            Switch::Off => false,
            Switch::Toggle => !self.shared.is_held(),
        };
        self.shared.hold(hold, self.clock.now());
        Outcome::Held(hold)
    }

    fn ratio(&mut self, given: &str, ratio: Shift) -> Answer {
        let (place, name) = self.trim(given)?;
        let ratios = self.flying.aircraft.trims.get(place).map_or([].as_slice(), |trim| &trim.ratios);
        let now = self.shared.look(|tally| tally.trims().get(place).map_or(0, TrimTally::ratio));
        let meant = match ratio {
            Shift::Next if now + 1 >= ratios.len() => 0,
            Shift::Next => now + 1,
            Shift::To(place) => place,
        };
        let change = self.shared.ratio(place, meant, self.clock.now());
        let (Some(change), Some(ratio)) = (change, ratios.get(meant).copied()) else {
            return Err(Refusal::no_such_ratio(&name, meant, ratios.len()));
        };
        Ok(Outcome::RatioChanged { trim: name, ratio, change })
    }

    fn press(&mut self, board: BoardIndex, button: ButtonNumber, origin: &Origin) -> Answer {
        let name = self.event_log.names().board(board);
        let rig = &self.flying.rig;
        let is = |known: &&Button| {
            known.button == button
                && rig.boards.get(known.board.get()).is_some_and(|board| board.name == name)
        };
        // The rig file may have changed since it was pressed.
        let does = rig
            .buttons
            .iter()
            .find(is)
            .map(|button| button.does.clone())
            .ok_or_else(Refusal::no_such_button)?;
        let command = match does {
            Press::NextAircraft => Command::Fly(Choice::Next),
            Press::Hold => Command::Hold(Switch::Toggle),
            Press::NextRatio { wheel } => Command::Ratio { trim: wheel, ratio: Shift::Next },
            Press::Align { wheel, position } => Command::Align {
                trim: wheel,
                to: match position {
                    profile::Spot::Named(name) => Spot::from_text(&name),
                    profile::Spot::At(degrees) => Spot::At(degrees),
                },
            },
        };
        self.execute(&command, origin)
    }

    fn confirm(&mut self, given: &str, turns: i32) -> Answer {
        if turns.abs() > TURNS_MAX {
            return Err(Refusal::too_many_turns(turns));
        }
        let names: &Names = self.event_log.names();
        let wheel = self.flying.rig.wheels.iter().find(|wheel| wheel.name == given);
        let place = names.wheels().find(|(_, name)| *name == given);
        let (Some(wheel), Some((place, _))) = (wheel, place) else {
            let wheels = self.flying.rig.wheels.iter().map(|wheel| wheel.name.as_str());
            return Err(Refusal::no_such_wheel(given, wheels));
        };
        let counts = Counts::new(i64::from(turns) * i64::from(wheel.per_turn.get()));
        // The decoder does not know that the rig turns its counts round.
        self.devices.confirm(place, if wheel.reversed { -counts } else { counts });
        Ok(Outcome::Confirmed { wheel: wheel.name.clone(), counts })
    }
}

/// Trims that start where they were last are put there. That is certain: the wheel turns for ever, so wherever it
/// was turned to while the program was off, the trim is where it was left.
pub fn start_where_saved(plan: &mut RuntimeConfig, stem: &str, aircraft: &Aircraft, saved: &mut Saved) {
    for (place, trim) in aircraft.trims.iter().enumerate() {
        if matches!(trim.start, Start::Saved | Start::Simulator)
            && let Some(degrees) = saved.place(stem, &trim.name)
        {
            plan.tally.resume(place, Place::At(degrees), Margin::CERTAIN);
        }
    }
}

fn say(changed: &ChangedFile, flying: &str) {
    let file = changed.path.display();
    match &changed.news {
        FileChange::Good => tracing::info!(%file, "the file changed and is valid"),
        FileChange::Wrong(reason) => {
            tracing::error!(%file, "the file is not valid; what it said before stays in use: {reason}");
        }
        FileChange::Gone
            if changed.which == ConfigFile::Rig
                || changed.which == ConfigFile::Aircraft(flying.to_owned()) =>
        {
            tracing::warn!(%file, "the file is gone; what it said stays in use");
        }
        FileChange::Gone => tracing::info!(%file, "the file is gone"),
    }
}
