//! Puts rig and aircraft together: what is read, decoded, counted and published.
//!
//! The files' words become the crates' own configuration here and nowhere else.

mod index_registry;
mod outputs;

pub use index_registry::IndexRegistry;

use crate::pipeline::{Parts, Pipeline};
use crate::presses::Presses;
use crate::recording_filter::RecordingFilter;
use crate::tally::{TRIMS_MAX, Tally, TrimTally};
use tallywheel_accumulator::{Curve, Place, TrimConfig};
use tallywheel_hid_reader as reader;
use tallywheel_hid_reader::{
    BoardDecoder, BoardMatch, ConfigError, Layout, LayoutError, WheelConfig, WheelFacts,
};
use tallywheel_profile::{Aircraft, FileErrors, OutputConfig, Rig, Start};
use tallywheel_units::{BoardIndex, ButtonNumber, Buttons, WheelIndex};

/// Why rig and aircraft cannot be flown together.
#[derive(Debug, thiserror::Error)]
pub enum RuntimeConfigError {
    /// The aircraft file asks for what the rig has not.
    #[error(transparent)]
    Unfit(#[from] FileErrors),
    /// A list is longer than a frame or an index holds.
    #[error("at most {limit} {what} can be used, there are {found}")]
    TooMany {
        /// What there are too many of.
        what: &'static str,
        /// The most that there may be.
        limit: usize,
        /// How many there are.
        found: usize,
    },
    /// An output that could never be opened.
    #[error("output {output}: {source}")]
    Output {
        /// The output's name.
        output: String,
        /// What is wrong with it.
        source: tallywheel_output::ConfigProblem,
    },
    /// The trim's travel does not suit its wheel.
    #[error("trim {trim}: {source}")]
    Trim {
        /// The trim's name.
        trim: String,
        /// What is wrong with it.
        source: tallywheel_accumulator::ConfigError,
    },
    /// The trim's curve is none.
    #[error("trim {trim}: {source}")]
    Curve {
        /// The trim's name.
        trim: String,
        /// What is wrong with its curve.
        source: tallywheel_accumulator::CurveError,
    },
}

/// Why a board that is plugged in cannot be decoded.
#[derive(Debug, thiserror::Error)]
pub enum PipelineError {
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
    Wheels {
        /// The wheel's name.
        wheel: String,
        /// What is wrong with it.
        source: ConfigError,
    },
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

    /// Every board with its name.
    pub fn boards(&self) -> impl Iterator<Item = (BoardIndex, &str)> {
        (0_u8..).map(BoardIndex::new).zip(self.boards.iter().map(String::as_str))
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

    /// The place of the board of this name.
    #[must_use]
    pub fn board_named(&self, name: &str) -> Option<BoardIndex> {
        (0_u8..).map(BoardIndex::new).zip(&self.boards).find(|(_, known)| *known == name).map(|(at, _)| at)
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
#[derive(Debug, Clone)]
pub struct RuntimeConfig {
    /// What things are called.
    pub names: Names,
    /// One plan for each board of the rig.
    pub boards: Vec<BoardConfig>,
    /// The tally at the start.
    pub tally: Tally,
    /// What to publish and where.
    pub outputs: Vec<OutputConfig>,
}

/// How one board is found and decoded.
#[derive(Debug, Clone, PartialEq)]
pub struct BoardConfig {
    board: BoardIndex,
    find: BoardMatch,
    runs: Vec<reader::ButtonRun>,
    wheels: Vec<WheelSetup>,
    /// Buttons that do something.
    presses: Vec<ButtonNumber>,
    report_interval: Option<std::time::Duration>,
    hidden: Option<Buttons>,
}

/// One wheel of a board, as the decoder has to know it.
#[derive(Debug, Clone, PartialEq)]
struct WheelSetup {
    wheel: WheelIndex,
    name: String,
    config: WheelConfig,
    facts: WheelFacts,
}

impl BoardConfig {
    /// The board's place in the rig file.
    #[must_use]
    pub const fn board(&self) -> BoardIndex {
        self.board
    }

    /// The buttons that nobody else shall see, if the rig file asks for that.
    #[must_use]
    pub const fn hidden(&self) -> Option<Buttons> {
        self.hidden
    }

    /// How the board is told from others.
    #[must_use]
    pub const fn find(&self) -> &BoardMatch {
        &self.find
    }

    /// Whether a wheel is on this board.
    #[must_use]
    pub fn has(&self, wheel: WheelIndex) -> bool {
        self.wheels.iter().any(|plan| plan.wheel == wheel)
    }

    /// Where this board, which describes itself by `descriptor`, has its buttons.
    ///
    /// # Errors
    /// [`PipelineError::Layout`], [`PipelineError::NoDescriptor`]
    pub fn layout(&self, descriptor: &[u8]) -> Result<Layout, PipelineError> {
        let layout = if !self.runs.is_empty() {
            Layout::from_runs(&self.runs)
        } else if descriptor.is_empty() {
            return Err(PipelineError::NoDescriptor);
        } else {
            Layout::from_descriptor(descriptor)
        };
        layout.map_err(PipelineError::Layout)
    }

    /// The decoder for this board, which describes itself by `descriptor`.
    ///
    /// # Errors
    /// [`PipelineError`], which the user cures in the rig file.
    pub fn pipeline(&self, descriptor: &[u8]) -> Result<Pipeline, PipelineError> {
        let layout = self.layout(descriptor)?;
        let configs: Vec<_> = self.wheels.iter().map(|wheel| wheel.config).collect();
        let decoder = BoardDecoder::new(layout, &configs, self.report_interval).map_err(|source| {
            let place = match &source {
                ConfigError::NoSuchButton { wheel, .. } => *wheel,
                ConfigError::ButtonTwice { second, .. } => *second,
            };
            let wheel = self.wheels.get(place).map_or_else(String::new, |wheel| wheel.name.clone());
            PipelineError::Wheels { wheel, source }
        })?;
        let facts = self.wheels.iter().map(|wheel| wheel.facts).collect();
        let wheels = self.wheels.iter().map(|wheel| wheel.wheel).collect();
        let lines = configs.iter().flat_map(WheelConfig::buttons);
        let filter =
            RecordingFilter::new(Buttons::from_bits(lines.fold(0, |lines, line| lines | line.mask())));
        let presses = Presses::of(&self.presses);
        let marked = self.wheels.iter().filter(|wheel| wheel.config.index.is_some());
        let marked = marked.map(|wheel| wheel.wheel).collect();
        Ok(Pipeline::new(Parts { board: self.board, decoder, wheels, marked, facts, presses, filter }))
    }
}

/// Puts `aircraft` on `rig`.
///
/// # Errors
/// [`RuntimeConfigError`]: what the user has to change.
pub fn build(rig: &Rig, aircraft: &Aircraft) -> Result<RuntimeConfig, RuntimeConfigError> {
    build_in(rig, aircraft, &mut IndexRegistry::default(), &[aircraft])
}

/// The same for a program that has flown with another rig: boards and wheels that keep their names keep their
/// places. `all_aircraft` is what may be flown beside it.
///
/// # Errors
/// [`RuntimeConfigError`]: what the user has to change.
pub fn build_in(
    rig: &Rig,
    aircraft: &Aircraft,
    places: &mut IndexRegistry,
    all_aircraft: &[&Aircraft],
) -> Result<RuntimeConfig, RuntimeConfigError> {
    let fitted = tallywheel_profile::fit(rig, aircraft)?;
    let all_aircraft: Vec<_> =
        all_aircraft.iter().map(|aircraft| tallywheel_profile::reduce(rig, aircraft).0).collect();
    if fitted.len() > TRIMS_MAX {
        return Err(RuntimeConfigError::TooMany { what: "trims", limit: TRIMS_MAX, found: fitted.len() });
    }
    let at = places.of(rig)?;
    let mut trims = Vec::with_capacity(fitted.len());
    for (fit, trim) in fitted.iter().zip(&aircraft.trims) {
        let error = |source| RuntimeConfigError::Trim { trim: trim.name.clone(), source };
        // The wheel's own direction is applied when it is counted, so that the tally's counts are the hand's.
        let direct = TrimConfig::new(fit.per_turn, trim.travel, trim.neutral, trim.stops, trim.reversed)
            .map_err(error)?;
        let ratios: Result<Vec<_>, _> = trim.ratios.iter().map(|ratio| direct.with_ratio(*ratio)).collect();
        let ratios = ratios.map_err(error)?;
        let config = ratios.first().copied().unwrap_or(direct);
        let curve = match trim.curve.as_slice() {
            [] => None,
            points => {
                let curve = Curve::new(points, trim.neutral);
                Some(curve.map_err(|source| RuntimeConfigError::Curve { trim: trim.name.clone(), source })?)
            }
        };
        let ratios = ratios.into_boxed_slice();
        let wheel = at.wheels.get(fit.wheel.get()).copied().unwrap_or(fit.wheel);
        trims.push(TrimTally::new(wheel, config, start(trim.start), curve, trim.smoothing, ratios));
    }
    let names = Names {
        rig: rig.name.clone(),
        aircraft: aircraft.name.clone(),
        boards: places.boards().to_vec(),
        wheels: places.wheels().to_vec(),
        trims: aircraft.trims.iter().map(|trim| trim.name.clone()).collect(),
    };
    let boards = (0_u8..).map(BoardIndex::new).zip(&rig.boards);
    let boards = boards.map(|(place, board)| board_plan(rig, place, board, &at));
    let reversed = at.reversed(rig, places.wheels().len());
    let outputs = outputs::configs(rig, aircraft, &all_aircraft)?;
    Ok(RuntimeConfig { names, boards: boards.collect(), tally: Tally::new(reversed, trims), outputs })
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

fn board_plan(
    rig: &Rig,
    place: BoardIndex,
    board: &tallywheel_profile::Board,
    at: &index_registry::RigIndexes,
) -> BoardConfig {
    let wheels = at.wheels.iter().copied().zip(&rig.wheels).filter(|(_, wheel)| wheel.board == place);
    let used = wheels.clone().flat_map(|(_, wheel)| wheel.inputs.buttons().into_iter().chain(wheel.index));
    let used = used.fold(Buttons::NONE, |all, button| all.with(button, true));
    BoardConfig {
        board: at.boards.get(place.get()).copied().unwrap_or(place),
        find: board_match(board),
        runs: board.buttons.clone(),
        wheels: wheels
            .map(|(wheel, said)| WheelSetup {
                wheel,
                name: said.name.clone(),
                config: wheel_config(said),
                facts: wheel_facts(said),
            })
            .collect(),
        presses: rig.buttons.iter().filter(|b| b.board == place).map(|b| b.button).collect(),
        report_interval: board.report_interval,
        hidden: board.hide.then_some(used),
    }
}

fn wheel_config(wheel: &tallywheel_profile::Wheel) -> WheelConfig {
    WheelConfig { inputs: wheel.inputs, pressed_at_rest: wheel.pressed_at_rest, index: wheel.index }
}

fn wheel_facts(wheel: &tallywheel_profile::Wheel) -> WheelFacts {
    WheelFacts {
        counts_per_turn: Some(wheel.per_turn),
        pulse_on: wheel.pulse_on,
        pulse_off: wheel.pulse_off,
        counts_per_detent: wheel.counts_per_detent,
    }
}

const fn start(start: Start) -> Place {
    match start {
        // Where nothing was saved or reported yet, both mean neutral.
        Start::Saved | Start::Simulator | Start::Neutral => Place::Neutral,
        Start::Low => Place::Low,
        Start::High => Place::High,
        Start::At(degrees) => Place::At(degrees),
    }
}
