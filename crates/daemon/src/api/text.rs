//! The daemon's state as text for a terminal.

use std::fmt::Write;
use tallywheel_engine::state::status::{
    BoardState, BoardStatus, DatagramsStatus, Hangar, Losses, MarginStatus, OutputState, OutputStatus,
    SimulatorStatus, Status, StopName, TrimStatus,
};
use tallywheel_tools::demo::picture::scale;
use tallywheel_units::Degrees;

/// Returns the whole status, a few lines for each trim, wheel, board and output.
#[must_use]
pub fn status(status: &Status) -> String {
    let mut text = format!(
        "Tallywheel {}, rig {}, flying {}, for {} (process {})\n",
        status.version,
        status.rig,
        status.aircraft.name,
        duration(status.running_s),
        status.process,
    );
    if status.held {
        text += "  The outputs are held: wheels are counted, nothing is published. `tallywheel hold off` ends it.\n";
    }
    text.push('\n');
    let names = status.trims.iter().map(|trim| trim.name.chars().count());
    let wide = names.max().unwrap_or(0).max(8);
    for trim in &status.trims {
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "  {:<wide$}  \u{2523}{}\u{252b}  {:+.4}  {:>6.1}\u{b0} of {}\u{b0}  {}{}{}",
            trim.name,
            scale(degrees(trim.degrees), degrees(trim.travel_degrees), degrees(trim.neutral_degrees)),
            trim.position,
            trim.degrees,
            trim.travel_degrees,
            margin(trim.margin),
            stop(trim.at_stop),
            if trim.held && !status.held { ", held until the wheel passes the simulator's trim" } else { "" },
        );
    }
    text.push('\n');
    for board in &status.boards {
        text += &self::board(board);
    }
    for wheel in &status.wheels {
        let _ = writeln!(
            text,
            "  wheel   {:<wide$}  {} counts on {}, {}",
            wheel.name,
            signed(wheel.counts),
            wheel.board,
            margin(wheel.margin)
        );
    }
    for output in &status.outputs {
        text += &self::output(output);
    }
    if let Some(simulator) = &status.simulator {
        text += &self::simulator(simulator);
    }
    if status.losses.is_empty() {
        text += "  losses  none\n";
    } else {
        let kinds: Vec<_> =
            status.losses.iter().map(|kind| format!("{} {}", kind.losses, kind.kind)).collect();
        let _ = writeln!(text, "  losses  {}; `tallywheel status --losses` says more", kinds.join(", "));
    }
    for file in &status.wrong_files {
        let _ = writeln!(text, "  file    {} is wrong and was not taken:", file.file);
        for mistake in &file.mistakes {
            let _ = writeln!(text, "            {mistake}");
        }
    }
    text
}

fn board(board: &BoardStatus) -> String {
    let state = match board.state {
        BoardState::Starting => "is being looked for".to_owned(),
        BoardState::Reading => {
            let path = board.path.as_deref().unwrap_or("?");
            let mut state = format!("is read: {path} ({})", board.device.as_deref().unwrap_or("?"));
            if let Some(twin) = &board.twin {
                let _ = write!(state, "; its wheels are hidden, all else is on {twin}");
            }
            if let Some(reason) = &board.not_hidden {
                let _ = write!(state, "\n            its wheels are not hidden: {reason}");
            }
            state
        }
        BoardState::Missing | BoardState::Gone | BoardState::Refused => {
            let reason = board.reason.as_deref().unwrap_or("it cannot be read");
            format!(
                "is not read: {reason}\n            cure: {}",
                board.cure.as_deref().unwrap_or("see the log")
            )
        }
    };
    format!("  board   {} {state}\n", board.name)
}

fn output(output: &OutputStatus) -> String {
    let state = match output.state {
        OutputState::Starting => "about to open",
        OutputState::Open => "open",
        OutputState::Failed => "not open, and tried again by itself",
        OutputState::Refused => "not open, and not tried again until its file changes",
    };
    let errors = match output.errors {
        0 => String::new(),
        1 => ", 1 error".to_owned(),
        errors => format!(", {errors} errors"),
    };
    let mut text = format!("  output  {} is {state}, {} frames out{errors}\n", output.name, output.published);
    if let Some(trouble) = &output.trouble {
        let _ = writeln!(text, "            {} ago: {}", duration(trouble.seconds_ago), trouble.what);
    }
    text
}

fn simulator(simulator: &SimulatorStatus) -> String {
    let SimulatorStatus { heard, title, paused, listen, not_listening, datagrams } = simulator;
    let state = match (heard, not_listening) {
        (_, Some(reason)) => format!("cannot be listened to at {listen}: {reason}"),
        (true, None) => {
            let title = title.as_deref().unwrap_or("which names no aircraft");
            format!("heard: {title}{}", if *paused { ", paused" } else { "" })
        }
        (false, None) => format!("not heard at {listen}"),
    };
    format!("  simulator  {state}\n             {}\n", self::datagrams(*datagrams))
}

/// Returns the counts of datagrams; of the dropped ones only the kinds that occurred.
fn datagrams(datagrams: DatagramsStatus) -> String {
    let DatagramsStatus { accepted, late, malformed, strangers, flooded } = datagrams;
    let kinds = [
        (late, "late or repeated"),
        (malformed, "not understood"),
        (strangers, "from senders that are not allowed"),
        (flooded, "too many at once"),
    ];
    let dropped: Vec<_> = kinds
        .iter()
        .filter(|(number, _)| *number > 0)
        .map(|(number, kind)| format!("{number} {kind}"))
        .collect();
    match (accepted, dropped.is_empty()) {
        (0, true) => "no datagram has come".to_owned(),
        (_, true) => format!("datagrams: {accepted} accepted, none dropped"),
        (_, false) => format!("datagrams: {accepted} accepted; dropped: {}", dropped.join(", ")),
    }
}

/// Returns the position of a trim in one line.
#[must_use]
pub fn position(trim: &TrimStatus) -> String {
    format!(
        "{} is at {:+.4}, {:.1}\u{b0} of {}\u{b0}, {}{}",
        trim.name,
        trim.position,
        trim.degrees,
        trim.travel_degrees,
        margin(trim.margin),
        stop(trim.at_stop)
    )
}

/// Returns the last losses with cause and cure, the newest last.
#[must_use]
pub fn losses(losses: &Losses) -> String {
    let mut text = String::new();
    if losses.older > 0 {
        let _ = writeln!(text, "{} older ones are not listed.", losses.older);
    }
    for loss in &losses.losses {
        let _ = writeln!(
            text,
            "{} ago  {} on {}: {} ({}), {}\n    {}; {}",
            duration(loss.seconds_ago),
            loss.wheel,
            loss.board,
            loss.kind,
            loss.certainty,
            match loss.margin {
                Some([0, 0]) => "which cost no counts".to_owned(),
                lost => format!("counts: {}", margin(lost)),
            },
            loss.cause,
            loss.cure
        );
    }
    if text.is_empty() { "no losses\n".to_owned() } else { text }
}

/// Returns the list of aircraft, with a mark at the active one.
#[must_use]
pub fn aircraft_list(list: &Hangar) -> String {
    let mut text = String::new();
    let wide = list.aircraft.iter().map(|entry| entry.file.chars().count()).max().unwrap_or(0);
    for entry in &list.aircraft {
        let mark = if entry.flown { '>' } else { ' ' };
        let name = entry.name.as_deref().unwrap_or("its file is wrong; `tallywheel check` says where");
        let _ = writeln!(text, "{mark} {:<wide$}  {name}", entry.file);
    }
    text
}

fn margin(margin: MarginStatus) -> String {
    match margin {
        Some([0, 0]) => "certain".to_owned(),
        Some([low, high]) => format!("-{low}..+{high} counts"),
        None => "anywhere: align it".to_owned(),
    }
}

fn signed(counts: i64) -> String {
    if counts == 0 { "0".to_owned() } else { format!("{counts:+}") }
}

const fn stop(stop: Option<StopName>) -> &'static str {
    match stop {
        Some(StopName::Low) => ", at the low stop",
        Some(StopName::High) => ", at the high stop",
        None => "",
    }
}

fn degrees(degrees: f64) -> Degrees {
    Degrees::new(degrees).unwrap_or(Degrees::ZERO)
}

/// Returns a time in seconds as people say it, with two units at most.
fn duration(seconds: f64) -> String {
    let whole = std::time::Duration::try_from_secs_f64(seconds).map_or(0, |lasted| lasted.as_secs());
    let (days, hours, minutes) = (whole / 86_400, whole / 3600 % 24, whole / 60 % 60);
    match (days, hours, minutes) {
        (0, 0, 0) => format!("{} s", whole % 60),
        (0, 0, _) => format!("{minutes} min {} s", whole % 60),
        (0, _, _) => format!("{hours} h {minutes} min"),
        _ => format!("{days} d {hours} h"),
    }
}
