//! Finds the facts. What Linux shows in files is read below [`Roots`], so that a test can show something else.

#[cfg(target_os = "linux")]
mod panel;
mod processes;
mod sockets;

use super::facts::{
    BoardPresence, Daemon, DeviceAccess, ProbedBoard, Receiver, RuleFile, SystemClock, SystemFacts,
};
use crate::check;
use std::fs::{self, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tallywheel_engine::runtime_config;
use tallywheel_engine::{files, folders};
use tallywheel_hid_reader::{Access, FoundBoard, Hid, Layout, SourceError};
use tallywheel_profile::{Destination, OutputConfig, Rig, UsbId};
use tallywheel_units::{BoardIndex, Buttons};

/// Where Linux shows its devices, its processes and its rules.
#[derive(Debug, Clone)]
pub struct Roots {
    /// The folder of device nodes, `/dev`.
    pub dev: PathBuf,
    /// The folder of the kernel's devices, `/sys`.
    pub sys: PathBuf,
    /// The folder of processes, `/proc`.
    pub proc: PathBuf,
    /// Folders of rules, the weightiest first (udev(7)).
    pub rules: Vec<PathBuf>,
}

impl Default for Roots {
    fn default() -> Self {
        let rules = [
            "/etc/udev/rules.d",
            "/run/udev/rules.d",
            "/usr/local/lib/udev/rules.d",
            "/usr/lib/udev/rules.d",
        ];
        Self {
            dev: "/dev".into(),
            sys: "/sys".into(),
            proc: "/proc".into(),
            rules: rules.map(Into::into).into(),
        }
    }
}

/// Where the user's files are.
#[derive(Debug, Clone)]
pub struct DoctorFolders {
    /// The configuration folder.
    pub config: PathBuf,
    /// The folder of log files.
    pub logs: PathBuf,
    /// The user's runtime folder.
    pub runtime: PathBuf,
}

/// Asks the daemon of these folders how it stands.
pub type Ask<'a> = &'a dyn Fn(&DoctorFolders) -> Daemon;

/// Finds all facts of this machine; `ask` finds those of the running daemon.
#[must_use]
pub fn gather(places: &DoctorFolders, roots: &Roots, ask: Ask<'_>) -> SystemFacts {
    let rig = files::rig_in(&places.config).ok();
    let daemon = ask(places);
    let boards = rig.as_ref().map(|rig| boards(rig, roots, &daemon)).unwrap_or_default();
    let (joystick, receivers) = outputs(places, rig.as_ref(), roots);
    let linux = cfg!(target_os = "linux");
    SystemFacts {
        files: check::look(&places.config),
        log_folder: log_folder(&places.logs),
        runtime_folder: !linux || std::env::var_os("XDG_RUNTIME_DIR").is_some(),
        boards,
        rules: linux.then(|| rules(roots)),
        uinput: (linux && joystick).then(|| node(&roots.dev.join("uinput"))),
        receivers,
        reports: rig.as_ref().and_then(|rig| {
            let listen = rig.simulator.as_ref()?.listen;
            Some((listen.to_string(), sockets::clash(&sockets::udp(&roots.proc)?, listen)))
        }),
        #[cfg(target_os = "linux")]
        panel: panel::look(),
        #[cfg(not(target_os = "linux"))]
        panel: None,
        clock: clock(roots),
        daemon,
    }
}

/// Why no log can be written to `folder`; a folder that is not there yet is made by the daemon.
fn log_folder(folder: &Path) -> Option<(PathBuf, String)> {
    let there = folder.ancestors().find(|folder| folder.exists())?;
    let probe = there.join(format!(".tallywheel-doctor-{}", std::process::id()));
    match OpenOptions::new().write(true).create_new(true).open(&probe) {
        Ok(_) => {
            let _ = fs::remove_file(probe);
            None
        }
        Err(error) => Some((folder.to_owned(), error.to_string())),
    }
}

fn boards(rig: &Rig, roots: &Roots, daemon: &Daemon) -> Vec<ProbedBoard> {
    let mut hid = Hid::new();
    let mut boards = Vec::new();
    for (index, said) in (0_u8..).map(BoardIndex::new).zip(&rig.boards) {
        let found = match &mut hid {
            Ok(hid) => hid.find(&runtime_config::board_match(said)),
            Err(error) => Err(error.clone()),
        };
        let mut board = ProbedBoard {
            name: said.name.clone(),
            usb: said.usb,
            seen: BoardPresence::Absent,
            stated_interval: said.report_interval,
            polled: None,
            missing_buttons: Vec::new(),
            holders: Vec::new(),
            listeners: Vec::new(),
        };
        match found {
            Ok(found) => look_at(&found, &mut board, rig, index, roots, daemon),
            Err(SourceError::AwaitPlug | SourceError::Reopen { .. }) => {}
            Err(SourceError::AskWhich { paths }) => board.seen = BoardPresence::Several(paths),
            Err(error) => board.seen = BoardPresence::Unknown(error.to_string()),
        }
        boards.push(board);
    }
    boards
}

fn look_at(
    found: &FoundBoard,
    board: &mut ProbedBoard,
    rig: &Rig,
    index: BoardIndex,
    roots: &Roots,
    daemon: &Daemon,
) {
    let node = found.path.rsplit('/').next().unwrap_or_default();
    let device = roots.sys.join("class/hidraw").join(node).join("device");
    let said = rig.boards.get(index.get());
    let runs = said.map(|said| said.buttons.as_slice()).unwrap_or_default();
    let layout = if runs.is_empty() {
        fs::read(device.join("report_descriptor")).ok().and_then(|text| Layout::from_descriptor(&text).ok())
    } else {
        Layout::from_runs(runs).ok()
    };
    board.seen = BoardPresence::Here {
        path: found.path.clone(),
        usb: UsbId { vendor: found.vendor, product: found.product },
        refused: match &found.access {
            Access::Ready => None,
            Access::Refused { reason, cure } => Some((reason.clone(), cure.clone())),
        },
        // Where descriptors are not shown in files, hidapi has looked.
        described: layout.is_some()
            || (!runs.is_empty() || found.buttons.is_some()) && !cfg!(target_os = "linux"),
    };
    if let Some(layout) = layout {
        board.missing_buttons = missing(rig, index, layout.buttons());
    }
    board.polled = polled(&device, &roots.sys);
    let own = [daemon.process(), Some(std::process::id())];
    board.holders = processes::holders(&roots.proc, &[roots.dev.join(node)], &own);
    board.listeners = processes::holders(&roots.proc, &input_nodes(&device, &roots.dev), &own);
}

fn missing(rig: &Rig, board: BoardIndex, there: Buttons) -> Vec<(String, Vec<u8>)> {
    let wheels = rig.wheels.iter().filter(|wheel| wheel.board == board);
    let missing = wheels.map(|wheel| {
        let buttons =
            wheel.inputs.buttons().into_iter().chain(wheel.index).filter(|button| !there.pressed(*button));
        (wheel.name.clone(), buttons.map(tallywheel_units::ButtonNumber::get).collect())
    });
    missing.filter(|(_, buttons): &(String, Vec<u8>)| !buttons.is_empty()).collect()
}

/// How often the system asks the board for a report: the interval of its interrupt endpoint, in the words of
/// the kernel's drivers/usb/core/endpoint.c ("4ms", "125us"), unless a parameter of usbhid says otherwise.
fn polled(device: &Path, sys: &Path) -> Option<Duration> {
    let text = |path: &Path| fs::read_to_string(path).ok().map(|text| text.trim().to_owned());
    // Only those of USB have endpoints; the HID device lies in the folder of the USB interface.
    let interface = fs::canonicalize(device).ok()?.parent()?.to_owned();
    let endpoint =
        fs::read_dir(interface).ok()?.filter_map(|entry| Some(entry.ok()?.path())).find(|path| {
            let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
            name.starts_with("ep_") && text(&path.join("direction")).as_deref() == Some("in")
        })?;
    let forced = text(&sys.join("module/usbhid/parameters/jspoll")).and_then(|text| text.parse().ok());
    if let Some(forced) = forced.filter(|forced: &u64| *forced > 0) {
        return Some(Duration::from_millis(forced));
    }
    interval(&text(&endpoint.join("interval"))?)
}

fn interval(text: &str) -> Option<Duration> {
    match text.strip_suffix("ms") {
        Some(number) => Some(Duration::from_millis(number.parse().ok()?)),
        None => Some(Duration::from_micros(text.strip_suffix("us")?.parse().ok()?)),
    }
}

/// What the kernel makes of the board for everybody: its event and joystick nodes.
fn input_nodes(device: &Path, dev: &Path) -> Vec<PathBuf> {
    let names = |folder: &Path| -> Vec<PathBuf> {
        fs::read_dir(folder).into_iter().flatten().filter_map(|entry| Some(entry.ok()?.path())).collect()
    };
    let inputs = names(&device.join("input"));
    let nodes = inputs.iter().flat_map(|input| names(input));
    let name = |path: PathBuf| Some(path.file_name()?.to_str()?.to_owned());
    let nodes = nodes.filter_map(name).filter(|name| {
        let number = name.strip_prefix("event").or_else(|| name.strip_prefix("js"));
        number.is_some_and(|number| number.bytes().all(|byte| byte.is_ascii_digit()))
    });
    nodes.map(|name| dev.join("input").join(name)).collect()
}

fn rules(roots: &Roots) -> Vec<RuleFile> {
    let mut files = Vec::new();
    for folder in &roots.rules {
        let entries = fs::read_dir(folder).into_iter().flatten().flatten();
        for path in
            entries.map(|entry| entry.path()).filter(|path| path.extension().is_some_and(|e| e == "rules"))
        {
            if let Ok(text) = fs::read_to_string(&path) {
                files.push(RuleFile { path, text });
            }
        }
    }
    files
}

/// Whether a virtual joystick can be made by this node; opening it for writing makes none yet.
fn node(path: &Path) -> DeviceAccess {
    match OpenOptions::new().write(true).open(path) {
        Ok(_) => DeviceAccess::Usable,
        Err(error) => match error.kind() {
            io::ErrorKind::NotFound => DeviceAccess::Absent,
            io::ErrorKind::PermissionDenied => DeviceAccess::Forbidden,
            _ => DeviceAccess::Broken(error.to_string()),
        },
    }
}

/// Whether any aircraft wants a virtual joystick, and where datagrams go.
fn outputs(places: &DoctorFolders, rig: Option<&Rig>, roots: &Roots) -> (bool, Vec<Receiver>) {
    let taken = sockets::udp(&roots.proc);
    let (mut joystick, mut receivers) = (false, Vec::new());
    let Some(rig) = rig else { return (joystick, receivers) };
    for path in files::aircraft_in(&places.config).unwrap_or_default() {
        let Ok(aircraft) = files::aircraft(&path) else { continue };
        let (aircraft, _) = tallywheel_profile::reduce(rig, &aircraft);
        let Ok(plan) = runtime_config::build(rig, &aircraft) else { continue };
        for output in plan.outputs {
            match output {
                OutputConfig::Axis { .. } | OutputConfig::Steps { .. } => joystick = true,
                OutputConfig::Datagram(config) => {
                    // Elsewhere than on this machine nobody here can tell.
                    let here = match &config.to {
                        Destination::Address(to) => Some(*to).filter(|to| to.ip().is_loopback()),
                        Destination::Host { .. } => None,
                    };
                    receivers.push(Receiver {
                        aircraft: aircraft.name.clone(),
                        to: config.to.to_string(),
                        taken: taken.as_ref().zip(here).map(|(taken, to)| sockets::reach(taken, to)),
                    });
                }
                OutputConfig::Keys { .. } => {}
            }
        }
    }
    (joystick, receivers)
}

/// Seconds of Unix time before which this program was not there: 2026-01-01.
const FIRST_SECOND: u64 = 1_767_225_600;

fn clock(roots: &Roots) -> SystemClock {
    let source = roots.sys.join("devices/system/clocksource/clocksource0/current_clocksource");
    let since = tallywheel_engine::clock::since_1970();
    SystemClock {
        step: tallywheel_engine::clock::step(),
        source: fs::read_to_string(source).ok().map(|text| text.trim().to_owned()),
        date_wrong: since.is_none_or(|since| since.as_secs() < FIRST_SECOND),
    }
}

/// The user's places.
///
/// # Errors
/// Where the user has no home folder.
pub fn places(config: Option<PathBuf>, logs: Option<PathBuf>) -> Result<DoctorFolders, folders::NoHome> {
    Ok(DoctorFolders {
        config: config.map_or_else(folders::config, Ok)?,
        logs: logs.map_or_else(folders::logs, Ok)?,
        runtime: folders::runtime()?,
    })
}

#[cfg(test)]
#[cfg(target_os = "linux")]
mod tests;
