//! Puts rig and aircraft together: what is read, decoded, counted and published.
//!
//! The files' words become the crates' own configuration here and nowhere else.

mod outputs;

use crate::report::last_hour::{Glimpse, Tap};
use crate::tally::{Effect, TRIMS_MAX, Tally, TrimTally};
use tallywheel_accumulator::{Accumulator, Place, TrimConfig};
use tallywheel_hid_reader as reader;
use tallywheel_hid_reader::{
    BoardDecoder, BoardMatch, ConfigError, Layout, LayoutError, WheelConfig, WheelFacts,
};
use tallywheel_output::OutputConfig;
use tallywheel_profile::{Aircraft, FileErrors, Rig, Start};
use tallywheel_units::{BoardIndex, Buttons, FixedCounts, Timestamp, WheelIndex};

/// Why rig and aircraft cannot be flown together.
#[derive(Debug, thiserror::Error)]
pub enum PlanError {
    /// The aircraft file asks for what the rig has not.
    #[error(transparent)]
    Unfit(#[from] FileErrors),
    /// A list is longer than a frame or an index holds.
    #[error("at most {limit} {what} can be used, there are {found}")]
    TooMany { what: &'static str, limit: usize, found: usize },
    /// An output that could never be opened.
    #[error("output {output}: {source}")]
    Output { output: String, source: tallywheel_output::ConfigProblem },
    /// The trim's travel does not suit its wheel.
    #[error("trim {trim}: {source}")]
    Trim { trim: String, source: tallywheel_accumulator::ConfigError },
}

/// Why a board that is plugged in cannot be decoded.
#[derive(Debug, thiserror::Error)]
pub enum PathError {
    /// The system does not hand out its report descriptor, and the rig file does not say where the buttons are.
    #[error(
        "this system does not say where its buttons are; describe them in the rig file as [[board.buttons]]"
    )]
    NoDescriptor,
    /// Neither its report descriptor nor the rig file says where the buttons are.
    #[error("its report descriptor cannot be used ({0}); describe its buttons as [[board.buttons]]")]
    Layout(LayoutError),
    /// The layout and the rig's wheels do not go together.
    #[error("wheel {wheel}: {source}")]
    Wheels { wheel: String, source: ConfigError },
}

/// What things are called, for logs and pictures.
#[derive(Debug, Clone)]
pub struct Names {
    /// The rig.
    pub rig: String,
    /// The aircraft.
    pub aircraft: String,
    boards: Vec<String>,
    wheels: Vec<(String, BoardIndex)>,
    trims: Vec<String>,
}

impl Names {
    /// A board's name.
    #[must_use]
    pub fn board(&self, board: BoardIndex) -> &str {
        self.boards.get(board.get()).map_or("?", String::as_str)
    }

    /// A wheel's name.
    #[must_use]
    pub fn wheel(&self, wheel: WheelIndex) -> &str {
        self.wheels.get(wheel.get()).map_or("?", |(name, _)| name)
    }

    /// The name of the board that a wheel is on.
    #[must_use]
    pub fn board_of(&self, wheel: WheelIndex) -> &str {
        self.wheels.get(wheel.get()).map_or("?", |(_, board)| self.board(*board))
    }

    /// The board that a wheel is on.
    #[must_use]
    pub fn board_index(&self, wheel: WheelIndex) -> Option<BoardIndex> {
        self.wheels.get(wheel.get()).map(|(_, board)| *board)
    }

    /// Every wheel with its name.
    pub fn wheels(&self) -> impl Iterator<Item = (WheelIndex, &str)> {
        (0_u8..).map(WheelIndex::new).zip(self.wheels.iter().map(|(name, _)| name.as_str()))
    }

    /// The trims' names, in the order of the aircraft file.
    pub fn trims(&self) -> impl Iterator<Item = &str> {
        self.trims.iter().map(String::as_str)
    }
}

/// Everything that follows from a rig and an aircraft.
#[derive(Debug)]
pub struct Plan {
    /// What things are called.
    pub names: Names,
    /// One plan for each board of the rig.
    pub boards: Vec<BoardPlan>,
    /// The tally at the start.
    pub tally: Tally,
    /// What to publish and where.
    pub outputs: Vec<OutputConfig>,
}

/// How one board is found and decoded.
#[derive(Debug, Clone)]
pub struct BoardPlan {
    board: BoardIndex,
    find: BoardMatch,
    runs: Vec<reader::ButtonRun>,
    wheels: Vec<WheelPlan>,
    report_interval: Option<std::time::Duration>,
}

/// One wheel of a board, as the decoder has to know it.
#[derive(Debug, Clone)]
struct WheelPlan {
    wheel: WheelIndex,
    name: String,
    config: WheelConfig,
    facts: WheelFacts,
}

impl BoardPlan {
    /// The board's place in the rig file.
    #[must_use]
    pub const fn board(&self) -> BoardIndex {
        self.board
    }

    /// How the board is told from others.
    #[must_use]
    pub const fn find(&self) -> &BoardMatch {
        &self.find
    }

    /// Where this board, which describes itself by `descriptor`, has its buttons.
    ///
    /// # Errors
    /// [`PathError::Layout`], [`PathError::NoDescriptor`]
    pub fn layout(&self, descriptor: &[u8]) -> Result<Layout, PathError> {
        let layout = if !self.runs.is_empty() {
            Layout::from_runs(&self.runs)
        } else if descriptor.is_empty() {
            return Err(PathError::NoDescriptor);
        } else {
            Layout::from_descriptor(descriptor)
        };
        layout.map_err(PathError::Layout)
    }

    /// The decoder for this board, which describes itself by `descriptor`.
    ///
    /// # Errors
    /// [`PathError`], which the user cures in the rig file.
    pub fn path(&self, descriptor: &[u8]) -> Result<BoardPath, PathError> {
        let layout = self.layout(descriptor)?;
        let configs: Vec<_> = self.wheels.iter().map(|wheel| wheel.config).collect();
        let mut decoder = BoardDecoder::new(layout, &configs, self.report_interval).map_err(|source| {
            let place = match &source {
                ConfigError::NoSuchButton { wheel, .. } => *wheel,
                ConfigError::ButtonTwice { second, .. } => *second,
            };
            let wheel = self.wheels.get(place).map_or_else(String::new, |wheel| wheel.name.clone());
            PathError::Wheels { wheel, source }
        })?;
        for (place, wheel) in self.wheels.iter().enumerate() {
            decoder.know(place, &wheel.facts);
        }
        let wheels = self.wheels.iter().map(|wheel| wheel.wheel).collect();
        let lines = configs.iter().flat_map(|config| config.inputs.buttons());
        let tap = Tap::new(Buttons::from_bits(lines.fold(0, |lines, line| lines | line.mask())));
        Ok(BoardPath { board: self.board, decoder, wheels, tap })
    }
}

/// One board's way from reports to the tally.
#[derive(Debug)]
pub struct BoardPath {
    board: BoardIndex,
    decoder: BoardDecoder,
    wheels: Vec<WheelIndex>,
    tap: Tap,
}

impl BoardPath {
    /// The board's place in the rig file.
    #[must_use]
    pub const fn board(&self) -> BoardIndex {
        self.board
    }

    /// The board was opened at `at`.
    pub fn opened(&mut self, at: Timestamp) {
        self.decoder.opened(at);
    }

    /// Decodes one report into `tally` and tells `effect` what came of it.
    pub fn report<F>(&mut self, at: Timestamp, report: &[u8], tally: &mut Tally, effect: &mut F)
    where
        F: FnMut(WheelIndex, Effect) + ?Sized,
    {
        self.count(at, report, tally, effect);
        self.settle(at, tally, effect);
    }

    /// The first half of [`Self::report`]: all that outputs wait for.
    pub fn count<F>(&mut self, at: Timestamp, report: &[u8], tally: &mut Tally, effect: &mut F)
    where
        F: FnMut(WheelIndex, Effect) + ?Sized,
    {
        tally.report();
        let wheels = &self.wheels;
        self.decoder.count(at, report, &mut |place, event| {
            if let Some(wheel) = wheels.get(place) {
                effect(*wheel, tally.apply(*wheel, event));
            }
        });
    }

    /// The second half of [`Self::report`]: losses that follow from when reports come.
    pub fn settle<F>(&mut self, at: Timestamp, tally: &mut Tally, effect: &mut F)
    where
        F: FnMut(WheelIndex, Effect) + ?Sized,
    {
        let wheels = &self.wheels;
        self.decoder.settle(at, &mut |place, event| {
            if let Some(wheel) = wheels.get(place) {
                effect(*wheel, tally.apply(*wheel, event));
            }
        });
    }

    /// Shows a report, after it was decoded, to the recording of the last hour; `happened` says whether it
    /// changed the tally.
    pub fn glimpse(&mut self, at: Timestamp, report: &[u8], happened: bool, post: &mut impl FnMut(Glimpse)) {
        self.tap.report(at, report, self.decoder.buttons(), happened, post);
    }

    /// The buttons as last reported.
    #[must_use]
    pub fn buttons(&self) -> Buttons {
        self.decoder.buttons()
    }

    /// Reports of this board are missing that some other tally has counted.
    pub fn gap(&mut self, at: Timestamp, tally: &mut Tally) {
        let wheels = &self.wheels;
        self.decoder.unplugged(at, &mut |place, _| {
            if let Some(wheel) = wheels.get(place) {
                tally.doubt(*wheel);
            }
        });
    }

    /// The board is gone; the state of its lines is forgotten.
    pub fn unplugged<F>(&mut self, at: Timestamp, tally: &mut Tally, effect: &mut F)
    where
        F: FnMut(WheelIndex, Effect) + ?Sized,
    {
        let wheels = &self.wheels;
        self.decoder.unplugged(at, &mut |place, event| {
            if let Some(wheel) = wheels.get(place) {
                effect(*wheel, tally.apply(*wheel, event));
            }
        });
    }
}

/// Puts `aircraft` on `rig`.
///
/// # Errors
/// [`PlanError`]: what the user has to change.
pub fn plan(rig: &Rig, aircraft: &Aircraft) -> Result<Plan, PlanError> {
    let fitted = tallywheel_profile::fit(rig, aircraft)?;
    if fitted.len() > TRIMS_MAX {
        return Err(PlanError::TooMany { what: "trims", limit: TRIMS_MAX, found: fitted.len() });
    }
    let mut trims = Vec::with_capacity(fitted.len());
    for (fit, trim) in fitted.iter().zip(&aircraft.trims) {
        // The wheel's own direction is applied when it is counted, so that the tally's counts are the hand's.
        let config = TrimConfig::new(fit.per_turn, trim.travel, trim.neutral, trim.stops, trim.reversed)
            .map_err(|source| PlanError::Trim { trim: trim.name.clone(), source })?;
        trims.push(TrimTally {
            wheel: fit.wheel,
            accumulator: Accumulator::new(config, start(trim.start)),
            applied: FixedCounts::ZERO,
            refused: FixedCounts::ZERO,
        });
    }
    let names = Names {
        rig: rig.name.clone(),
        aircraft: aircraft.name.clone(),
        boards: rig.boards.iter().map(|board| board.name.clone()).collect(),
        wheels: rig.wheels.iter().map(|wheel| (wheel.name.clone(), wheel.board)).collect(),
        trims: aircraft.trims.iter().map(|trim| trim.name.clone()).collect(),
    };
    let boards =
        (0_u8..).map(BoardIndex::new).zip(&rig.boards).map(|(place, board)| board_plan(rig, place, board));
    let reversed = rig.wheels.iter().map(|wheel| wheel.reversed).collect();
    let outputs = outputs::configs(rig, aircraft)?;
    Ok(Plan { names, boards: boards.collect(), tally: Tally::new(reversed, trims), outputs })
}

/// How a board of the rig file is told from others.
#[must_use]
pub fn board_match(board: &tallywheel_profile::Board) -> BoardMatch {
    BoardMatch {
        vendor: board.usb.map(|usb| usb.vendor),
        product: board.usb.map(|usb| usb.product),
        serial: board.serial.clone(),
        path: board.path.clone(),
    }
}

fn board_plan(rig: &Rig, place: BoardIndex, board: &tallywheel_profile::Board) -> BoardPlan {
    let wheels = (0_u8..).map(WheelIndex::new).zip(&rig.wheels).filter(|(_, wheel)| wheel.board == place);
    BoardPlan {
        board: place,
        find: board_match(board),
        runs: board.buttons.clone(),
        wheels: wheels
            .map(|(wheel, said)| WheelPlan {
                wheel,
                name: said.name.clone(),
                config: wheel_config(said),
                facts: wheel_facts(said),
            })
            .collect(),
        report_interval: board.report_interval,
    }
}

fn wheel_config(wheel: &tallywheel_profile::Wheel) -> WheelConfig {
    WheelConfig { inputs: wheel.inputs, inverted: wheel.inverted }
}

fn wheel_facts(wheel: &tallywheel_profile::Wheel) -> WheelFacts {
    WheelFacts { counts_per_turn: Some(wheel.per_turn), ..WheelFacts::default() }
}

const fn start(start: Start) -> Place {
    match start {
        Start::Neutral => Place::Neutral,
        Start::Low => Place::Low,
        Start::High => Place::High,
        Start::At(degrees) => Place::At(degrees),
    }
}
