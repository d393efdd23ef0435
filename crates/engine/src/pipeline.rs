//! One report's whole way, on the thread of the board that sent it.
//!
//! | step | where | what it does |
//! |---|---|---|
//! | read | `Pipeline::run` | waits for the board's next report; without a timer while all is certain |
//! | lock | [`Pipeline::take`] | takes the one lock of [`SharedState`], once |
//! | decode, apply | [`Pipeline::count`] | turns the report's bytes into counts, and adds those to wheels and trims |
//! | publish | `Bridge::publish_changes` | writes what changed to the outputs |
//! | settle | [`Pipeline::settle`] | judges the times of the reports; what that finds is published too |
//! | post | [`Pipeline::take`] | without the lock: hands what was found to the main loop's queue, which never waits |
//!
//! Outputs do not wait for the judgement of times. Steps return what they found as a list whose size is fixed when the
//! pipeline is made; nothing calls back, allocates or logs.

mod reader_commands;

pub(crate) use reader_commands::{ReaderCommand, ReaderCommands};

use crate::clock::Clock;
use crate::commands::{Command, Origin};
use crate::events::BoardEvent;
use crate::presses::Presses;
use crate::recording_filter::{PositionWatch, RecordingFilter};
use crate::shared::SharedState;
use crate::tally::{Effect, Tally};
use tallywheel_hid_reader::{BoardDecoder, Event, REPORT_BYTES_MAX, ReportSource, WheelFacts};
use tallywheel_units::{BoardIndex, ButtonNumber, Buttons, Counts, Timestamp, WheelIndex};

/// The most events of one wheel that one step finds; a step is everything from one report to the next.
///
/// | from | at most |
/// |---|---|
/// | the report itself | counts, a loss, a doubt, a loss for the unseen start: 4 |
/// | the index mark | a mark or a loss: 1 |
/// | the detents' rhythm | a loss: 1 |
/// | the lines' times, for each of two lines | a stuck input, and when it is pressed the pulse before judged, drained, its pace (2) and the other line's: 6 each, 12 |
/// | what fell due meanwhile, for each of two lines | a stuck input, a drained pulse: 2 each, 4 |
/// | a stalled reader | its loss, and what the interruption leaves: counts, a loss, a doubt: 4 |
///
/// That makes 26. A debug assertion holds it in tests; in a release one more would cost an allocation and be kept.
const EVENTS_PER_WHEEL: usize = 32;

/// What a step found about one wheel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WheelEvent {
    /// The wheel, by its index for the life of the program.
    pub wheel: WheelIndex,
    /// What it did to the tally.
    pub effect: Effect,
}

/// Why `Pipeline::run` returned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ended {
    /// The board is gone.
    Disconnected,
    /// The rig has this board no more.
    Told,
}

/// Everything that one board's reports pass through.
#[derive(Debug)]
pub struct Pipeline {
    board: BoardIndex,
    decoder: BoardDecoder,
    wheels: Vec<WheelIndex>,
    /// Those with an index mark.
    marked: Vec<WheelIndex>,
    facts: Vec<WheelFacts>,
    presses: Option<Box<Presses>>,
    filter: RecordingFilter,
    positions: PositionWatch,
    /// What the running step found; its capacity is fixed by the number of wheels.
    found: Vec<WheelEvent>,
}

/// What a [`Pipeline`] is made of: the wheels of `decoder` in its order, each with its index and facts.
pub(crate) struct Parts {
    pub(crate) board: BoardIndex,
    pub(crate) decoder: BoardDecoder,
    pub(crate) wheels: Vec<WheelIndex>,
    pub(crate) marked: Vec<WheelIndex>,
    pub(crate) facts: Vec<WheelFacts>,
    pub(crate) presses: Option<Box<Presses>>,
    pub(crate) filter: RecordingFilter,
}

/// The whole way, from the board to the outputs.
impl Pipeline {
    /// Reads `source` until it is gone or a command ends it.
    pub(crate) fn run(
        &mut self,
        source: &mut impl ReportSource,
        shared: &SharedState,
        clock: Clock,
        commands: &ReaderCommands,
    ) -> Ended {
        let mut buffer = [0_u8; REPORT_BYTES_MAX];
        self.decoder.opened(clock.now());
        loop {
            let deadline = self.deadline();
            match source.read(&mut buffer, deadline.map(|at| at.since(clock.now()))) {
                // The time is over, or a signal came; there is nothing to read yet.
                Ok(0) => {
                    let now = clock.now();
                    if deadline.is_some_and(|at| at <= now) {
                        self.take_rest(now, shared);
                    }
                }
                Ok(length) => {
                    let now = clock.now();
                    if commands.waiting() && !self.obey(now, shared, commands.take()) {
                        return Ended::Told;
                    }
                    self.take(now, buffer.get(..length).unwrap_or_default(), shared);
                }
                Err(_) => return Ended::Disconnected,
            }
        }
    }

    /// Takes one report, read at `at`, from its bytes to the outputs.
    pub fn take(&mut self, at: Timestamp, report: &[u8], shared: &SharedState) {
        self.found.clear();
        let mut bridge = shared.lock();
        let (before, placements) = (bridge.tally.sequence(), bridge.placements());
        self.positions.look(at, placements, &bridge.tally, &self.wheels);
        self.decode(at, report, &mut bridge.tally);
        bridge.publish_changes(at);
        self.judge(at, &mut bridge.tally);
        bridge.publish_changes(at);
        let changed = bridge.tally.sequence() != before;
        drop(bridge);

        self.post(at, shared);
        self.press(at, shared);
        self.record(at, report, changed, placements, shared);
    }

    /// No report has come until `at`.
    #[cold]
    pub fn take_rest(&mut self, at: Timestamp, shared: &SharedState) {
        self.with_tally(at, shared, |pipeline, tally| pipeline.rest(at, tally).len());
    }

    /// The board is gone since `at`.
    #[cold]
    pub fn take_unplugging(&mut self, at: Timestamp, shared: &SharedState) {
        self.with_tally(at, shared, |pipeline, tally| pipeline.unplugged(at, tally).len());
        shared.events().post(BoardEvent::Unplugged { board: self.board, at });
        // What follows is another recording.
        self.positions = PositionWatch::default();
    }

    /// Does what the reader is told before its next report; false where it is to end.
    #[cold]
    fn obey(&mut self, at: Timestamp, shared: &SharedState, commands: Vec<ReaderCommand>) -> bool {
        for command in commands {
            match command {
                ReaderCommand::Confirm { wheel, turned } => {
                    self.with_tally(at, shared, |pipeline, tally| {
                        pipeline.confirm(wheel, at, turned, tally).len()
                    });
                }
                ReaderCommand::Exchange(next) => {
                    let mut next = *next;
                    next.take_over(self);
                    *self = next;
                }
                ReaderCommand::End => return false,
            }
        }
        true
    }

    /// A step that no report begins: `work` is done to the tally, published and posted.
    fn with_tally(
        &mut self,
        at: Timestamp,
        shared: &SharedState,
        work: impl FnOnce(&mut Self, &mut Tally) -> usize,
    ) {
        let mut bridge = shared.lock();
        work(self, &mut bridge.tally);
        bridge.publish_changes(at);
        drop(bridge);
        self.post(at, shared);
    }

    fn post(&self, at: Timestamp, shared: &SharedState) {
        let board = self.board;
        for WheelEvent { wheel, effect } in self.found.iter().copied() {
            match effect {
                Effect::Counted(counts) => shared.events().post(BoardEvent::Counted { at, wheel, counts }),
                Effect::Lost(loss) => shared.events().post(BoardEvent::Lost { board, wheel, loss }),
                // What stays of a doubt is a loss; a mark that agrees is no news.
                Effect::Doubted(_) | Effect::Agreed => {}
            }
        }
    }

    /// Posts what the recording of the last hour wants of a report. While something is in doubt, each report counts.
    #[inline]
    fn record(&mut self, at: Timestamp, report: &[u8], changed: bool, placements: u64, shared: &SharedState) {
        let (board, changed) = (self.board, changed || self.decoder.deadline().is_some());
        let mut kept = self.filter.report(at, report, self.decoder.buttons(), changed);
        if let Some(first) = kept.first_mut()
            && let Some(positions) = self.positions.take(at, placements)
        {
            first.positions = u8::try_from(positions.len()).ok();
            for position in positions.iter().copied() {
                shared.events().post(BoardEvent::Position { board, position });
            }
        }
        for sample in kept {
            shared.events().post(BoardEvent::Report { board, sample });
        }
    }

    #[inline]
    fn press(&mut self, at: Timestamp, shared: &SharedState) {
        if let Some(presses) = &mut self.presses {
            let pressed = presses.take(at, self.decoder.buttons());
            if pressed.bits() != 0 {
                pressed_in(self.board, pressed, shared);
            }
        }
    }
}

#[cold]
fn pressed_in(board: BoardIndex, pressed: Buttons, shared: &SharedState) {
    let Some(commands) = shared.commands() else { return };
    let all = 1..=ButtonNumber::LAST.get();
    for button in all.filter_map(ButtonNumber::new).filter(|button| pressed.pressed(*button)) {
        // Where too many wait, somebody leans on the button.
        let _ = commands.post(Command::Press { board, button }, Origin::Button);
    }
}

/// The steps by themselves, for recordings, which have neither outputs nor threads. Each returns what it found.
impl Pipeline {
    pub(crate) fn new(parts: Parts) -> Self {
        let Parts { board, mut decoder, wheels, marked, facts, presses, filter } = parts;
        tell_facts(&mut decoder, &facts);
        let found = Vec::with_capacity(wheels.len() * EVENTS_PER_WHEEL);
        let positions = PositionWatch::default();
        Self { board, decoder, wheels, marked, facts, presses, filter, positions, found }
    }

    /// The board's index.
    #[must_use]
    pub const fn board(&self) -> BoardIndex {
        self.board
    }

    /// Decodes one report, read at `at`, and applies it to `tally`: [`Self::count`] and [`Self::settle`].
    pub fn report(&mut self, at: Timestamp, report: &[u8], tally: &mut Tally) -> &[WheelEvent] {
        self.found.clear();
        self.decode(at, report, tally);
        self.judge(at, tally);
        &self.found
    }

    /// The first half of [`Self::report`]: all that outputs wait for. [`Self::settle`] has to follow.
    pub fn count(&mut self, at: Timestamp, report: &[u8], tally: &mut Tally) -> &[WheelEvent] {
        self.found.clear();
        self.decode(at, report, tally);
        &self.found
    }

    /// The second half of [`Self::report`]: losses that follow from when reports come.
    pub fn settle(&mut self, at: Timestamp, tally: &mut Tally) -> &[WheelEvent] {
        self.found.clear();
        self.judge(at, tally);
        &self.found
    }

    /// When [`Self::rest`] is to be called if no report comes before; `None` while nothing is in doubt.
    #[must_use]
    #[inline]
    pub fn deadline(&self) -> Option<Timestamp> {
        self.decoder.deadline()
    }

    /// It is `at`, and no report has come since the last.
    pub fn rest(&mut self, at: Timestamp, tally: &mut Tally) -> &[WheelEvent] {
        self.found.clear();
        let Self { decoder, wheels, found, .. } = self;
        decoder.rest(at, &mut |place, event| apply(wheels, found, tally, place, event));
        &self.found
    }

    /// Somebody knows that a wheel turned by `turned` counts, in its decoder's direction, since the last time.
    pub fn confirm(
        &mut self,
        wheel: WheelIndex,
        at: Timestamp,
        turned: Counts,
        tally: &mut Tally,
    ) -> &[WheelEvent] {
        self.found.clear();
        let Self { decoder, wheels, found, .. } = self;
        if let Some(place) = wheels.iter().position(|known| *known == wheel) {
            decoder.confirm(place, at, turned, &mut |place, event| apply(wheels, found, tally, place, event));
        }
        &self.found
    }

    /// The board is gone; the state of its lines is forgotten.
    pub fn unplugged(&mut self, at: Timestamp, tally: &mut Tally) -> &[WheelEvent] {
        self.found.clear();
        let Self { decoder, wheels, found, presses, .. } = self;
        if let Some(presses) = presses {
            presses.forget();
        }
        decoder.unplugged(at, &mut |place, event| apply(wheels, found, tally, place, event));
        &self.found
    }

    /// Reports of this board are missing that some other tally has counted.
    pub fn gap(&mut self, at: Timestamp, tally: &mut Tally) {
        let Self { decoder, wheels, .. } = self;
        decoder.unplugged(at, &mut |place, _| {
            if let Some(wheel) = wheels.get(place) {
                tally.doubt(*wheel);
            }
        });
    }

    /// The buttons as last reported.
    #[must_use]
    pub fn buttons(&self) -> Buttons {
        self.decoder.buttons()
    }

    /// Goes on where `before` stands, which decodes the same board as the rig was described until now.
    pub fn take_over(&mut self, before: &Self) {
        self.decoder.take_over(&before.decoder);
        tell_facts(&mut self.decoder, &self.facts);
        self.filter.take_over(&before.filter);
        if let Some(presses) = &mut self.presses {
            presses.resume(self.decoder.buttons());
        }
    }

    #[inline]
    fn decode(&mut self, at: Timestamp, report: &[u8], tally: &mut Tally) {
        tally.report();
        let Self { decoder, wheels, found, .. } = self;
        decoder.count(at, report, &mut |place, event| apply(wheels, found, tally, place, event));
    }

    #[inline]
    fn judge(&mut self, at: Timestamp, tally: &mut Tally) {
        let Self { decoder, wheels, marked, found, .. } = self;
        for wheel in marked {
            tally.visit(*wheel);
        }
        decoder.settle(at, &mut |place, event| apply(wheels, found, tally, place, event));
    }
}

fn tell_facts(decoder: &mut BoardDecoder, facts: &[WheelFacts]) {
    for (place, facts) in facts.iter().enumerate() {
        decoder.know(place, facts);
    }
}

/// Applies what the decoder found of the wheel at `place` and adds that to the list. The decoder calls back; here it ends.
#[inline]
fn apply(wheels: &[WheelIndex], found: &mut Vec<WheelEvent>, tally: &mut Tally, place: usize, event: Event) {
    if let Some(wheel) = wheels.get(place).copied() {
        debug_assert!(found.len() < wheels.len() * EVENTS_PER_WHEEL, "more events than a step can find");
        found.push(WheelEvent { wheel, effect: tally.apply(wheel, event) });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::runtime_config;
    use rand::{Rng, SeedableRng};
    use rand_pcg::Pcg64Mcg;
    use std::time::Duration;

    /// Joystick with 32 one-bit buttons.
    const DESCRIPTOR: [u8; 23] = [
        0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x20, 0x15, 0x00, 0x25, 0x01, 0x75,
        0x01, 0x95, 0x20, 0x81, 0x02, 0xC0,
    ];

    /// Wheels of every wiring, with and without an index mark, told all there is to tell.
    fn pipeline() -> (Pipeline, Tally) {
        let mut rig =
            "name = \"bench\"\n[[board]]\nname = \"main\"\nusb = \"1209:7a11\"\nreport_interval_ms = 4\n"
                .to_owned();
        let mut aircraft = "name = \"x\"\n".to_owned();
        for wheel in 0..5 {
            let (a, b, index) = (3 * wheel + 1, 3 * wheel + 2, 3 * wheel + 3);
            let lines = match wheel % 2 {
                0 => format!(
                    "wiring = \"pulses\"\nforward = {a}\nbackward = {b}\npulse_on_ms = 8\npulse_off_ms = 8\ncounts_per_detent = 2\n"
                ),
                _ => format!("wiring = \"quadrature\"\na = {a}\nb = {b}\ncounts_per_cycle = 4\n"),
            };
            let index = if wheel < 3 { format!("index = {index}\n") } else { String::new() };
            rig += &format!("[[wheel]]\nname = \"w{wheel}\"\ncounts_per_turn = 48\n{lines}{index}");
            aircraft +=
                &format!("[[trim]]\nname = \"t{wheel}\"\nwheel = \"w{wheel}\"\ntravel_degrees = 500\n");
        }
        let rig = tallywheel_profile::rig("rig.toml", &rig).unwrap();
        let aircraft = tallywheel_profile::aircraft("a.toml", &aircraft).unwrap();
        let config = runtime_config::build(&rig, &aircraft).unwrap();
        (config.boards[0].pipeline(&DESCRIPTOR).unwrap(), config.tally)
    }

    #[test]
    fn no_step_finds_more_than_its_list_holds() {
        let (mut most, mut all) = (0, 0);
        for seed in 0..300 {
            let mut chance = Pcg64Mcg::seed_from_u64(seed);
            let (mut pipeline, mut tally) = pipeline();
            let (capacity, mut at) = (pipeline.found.capacity(), Timestamp::START);
            for _ in 0..400 {
                let wait = [1, 4, 4, 4, 8, 20, 90, 700, 3000][chance.random_range(0..9)];
                at = at.after(Duration::from_millis(wait));
                let found = match chance.random_range(0..40) {
                    0 => pipeline.unplugged(at, &mut tally),
                    1 => pipeline.report(at, &[7], &mut tally),
                    2 => pipeline.rest(at, &mut tally),
                    _ => {
                        // Some lines hang for long, which a coin for each would never do.
                        let bits = chance.random::<u32>()
                            & [0x7FFF, 0x0DB6, 0x7249, 0x0001][chance.random_range(0..4)];
                        pipeline.report(at, &bits.to_le_bytes(), &mut tally)
                    }
                };
                let of = |wheel| found.iter().filter(|event| event.wheel == wheel).count();
                most = (0..5).map(|wheel| of(WheelIndex::new(wheel))).max().unwrap().max(most);
                all += found.len();
                assert_eq!(pipeline.found.capacity(), capacity, "seed {seed}: the list grew");
            }
        }
        assert!(most > 3 && most <= EVENTS_PER_WHEEL, "{most} of one wheel in one step, {all} in all");
    }
}
