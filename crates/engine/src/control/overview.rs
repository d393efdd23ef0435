//! How everything stands, put together where all of it is known.

use super::Control;
use crate::config_files::ConfigFile;
use crate::inbound::Counters;
use crate::invariants;
use crate::state::BridgeState;
use crate::state::status::{
    self, DatagramsStatus, FORM, Flown, Hangar, KindStatus, OutputState, OutputStatus, Parked,
    SimulatorStatus, Status, StopName, TrimStatus, WheelStatus, WrongFile,
};
use crate::tally::Tally;
use std::path::Path;
use tallywheel_accumulator::Stop;
use tallywheel_output::{State, Supervised};
use tallywheel_units::{Timestamp, WheelIndex};

/// Everything but the log's level, which the log knows.
#[must_use]
pub(super) fn status(control: &Control, log: &Path) -> Status {
    let (flying, names, state) = (control.flying(), control.names(), control.state());
    let rig = &flying.rig;
    let boards = rig.boards.iter().map(|board| state.board(names.board_named(&board.name), &board.name));
    // Those of the rig: names also knows those of earlier ones.
    let wheels: Vec<_> = rig
        .wheels
        .iter()
        .filter_map(|wheel| names.wheels().find(|(_, name)| *name == wheel.name))
        .map(|(place, name)| (place, name, names.board_of(place)))
        .collect();
    let shared = control.shared();
    let trim_names: Vec<_> = names.trims().collect();
    // One look, so that wheels and trims belong together.
    let seen = shared.look(|tally| Seen::new(tally, &wheels));
    let held = shared.is_held();
    let trims = seen.trims.into_iter().enumerate().map(|(place, trim)| TrimStatus {
        name: trim_names.get(place).map_or_else(String::new, |name| (*name).to_owned()),
        wheel: names.wheel(trim.wheel).to_owned(),
        held: held || shared.is_awaiting(place),
        ..trim.status
    });
    let now = control.now();
    Status {
        tallywheel: FORM,
        version: env!("CARGO_PKG_VERSION").to_owned(),
        process: std::process::id(),
        running_s: now.seconds(),
        config: absolute(control.config().folder()),
        log: absolute(log),
        log_level: String::new(),
        rig: rig.name.clone(),
        aircraft: Flown { name: flying.aircraft.name.clone(), file: flying.stem.clone() },
        held,
        reports: seen.reports,
        boards: boards.collect(),
        wheels: seen.wheels,
        trims: trims.collect(),
        losses: seen.losses,
        outputs: shared
            .look_at_outputs(|outputs| outputs.iter().map(|one| output(one, state, now)).collect()),
        simulator: control.simulator().map(|simulator| SimulatorStatus {
            heard: control.is_simulator_up(),
            title: control.title().map(str::to_owned),
            paused: control.is_paused(),
            listen: simulator.listen.to_string(),
            not_listening: control.deaf().map(str::to_owned),
            datagrams: datagrams(control.datagrams()),
        }),
        wrong_files: wrong_files(control),
        broken_invariants: invariants::broken_so_far(),
    }
}

const fn datagrams(counters: Counters) -> DatagramsStatus {
    let Counters { accepted, late, malformed, strangers, flooded } = counters;
    DatagramsStatus { accepted, late, malformed, strangers, flooded }
}

/// To the ten thousandth of a degree: what is beyond comes from counting in fractions of a count.
fn rounded(degrees: f64) -> f64 {
    (degrees * 1e4).round() / 1e4
}

/// For those who are in another folder than the daemon.
fn absolute(path: &Path) -> String {
    std::path::absolute(path).as_deref().unwrap_or(path).display().to_string()
}

/// What is taken out of the tally while its lock is held.
struct Seen {
    reports: u64,
    wheels: Vec<WheelStatus>,
    trims: Vec<SeenTrim>,
    losses: Vec<KindStatus>,
}

struct SeenTrim {
    wheel: WheelIndex,
    /// Without its names.
    status: TrimStatus,
}

impl Seen {
    fn new(tally: &Tally, wheels: &[(WheelIndex, &str, &str)]) -> Self {
        let wheel = |(place, name, board): &(WheelIndex, &str, &str)| {
            let tally = tally.wheel(*place)?;
            Some(WheelStatus {
                name: (*name).to_owned(),
                board: (*board).to_owned(),
                counts: tally.counts.get(),
                turned: tally.turned.get(),
                margin: status::margin(tally.margin),
            })
        };
        let trims = tally.trims().iter().map(|trim| {
            let (reading, config) = (trim.accumulator.reading(), trim.accumulator.config());
            let status = TrimStatus {
                name: String::new(),
                wheel: String::new(),
                position: reading.normalized.get(),
                axis: reading.axis.get(),
                degrees: rounded(reading.degrees.get()),
                travel_degrees: config.travel().get(),
                neutral_degrees: config.neutral().get(),
                margin: status::margin(reading.margin),
                at_stop: reading.at_stop.map(|stop| match stop {
                    Stop::Low => StopName::Low,
                    Stop::High => StopName::High,
                }),
                refused: trim.refused.to_f64(),
                held: false,
            };
            SeenTrim { wheel: trim.wheel, status }
        });
        let losses = tally.losses().filter(|(_, losses)| *losses > 0);
        Self {
            reports: tally.reports(),
            wheels: wheels.iter().filter_map(wheel).collect(),
            trims: trims.collect(),
            losses: losses
                .map(|(kind, losses)| KindStatus { kind: kind.name().to_owned(), losses })
                .collect(),
        }
    }
}

fn output(output: &Supervised, state: &BridgeState, now: Timestamp) -> OutputStatus {
    OutputStatus {
        name: output.name().to_owned(),
        state: match output.state() {
            State::New | State::Opening => OutputState::Starting,
            State::Open => OutputState::Open,
            State::Failed => OutputState::Failed,
            State::Refused => OutputState::Refused,
        },
        published: output.published(),
        errors: output.errors().total(),
        trouble: state.trouble(now, output.name()),
    }
}

fn wrong_files(control: &Control) -> Vec<WrongFile> {
    let config = control.config();
    let folder = config.folder();
    let lines = |text: &str| text.lines().map(str::to_owned).collect();
    let mut wrong: Vec<_> = config
        .problems()
        .map(|(which, mistakes)| {
            let file = match which {
                ConfigFile::Rig => folder.join("rig.toml"),
                ConfigFile::Aircraft(stem) => folder.join("aircraft").join(format!("{stem}.toml")),
            };
            WrongFile { file: absolute(&file), mistakes: lines(mistakes) }
        })
        .collect();
    if let Some(misfit) = control.misfit() {
        wrong.push(WrongFile { file: absolute(folder), mistakes: lines(misfit) });
    }
    wrong
}

/// The aircraft files there are, those that are wrong among them.
#[must_use]
pub(super) fn hangar(control: &Control) -> Hangar {
    let (config, flown) = (control.config(), &control.flying().stem);
    let mut aircraft: Vec<_> = config
        .to_fly()
        .map(|(stem, aircraft)| Parked {
            file: stem.to_owned(),
            name: Some(aircraft.name.clone()),
            flown: stem == flown,
        })
        .collect();
    for (which, _) in config.problems() {
        if let ConfigFile::Aircraft(stem) = which
            && aircraft.iter().all(|parked| parked.file != stem)
        {
            aircraft.push(Parked { flown: stem == *flown, file: stem, name: None });
        }
    }
    aircraft.sort_by(|one, other| one.file.cmp(&other.file));
    Hangar { aircraft }
}
