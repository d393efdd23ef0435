//! `tallywheel capture`: a board's reports into a file, as they come.

use crate::args::CaptureArgs;
use std::io::{self, Write};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tallywheel_engine::clock::Clock;
use tallywheel_engine::failure::Failure;
use tallywheel_engine::{files, folders};
use tallywheel_hid_reader::{BoardMatch, Hid, REPORT_BYTES_MAX, RecordingWriter, ReportSource};
use tallywheel_units::Timestamp;

/// How often a silent board is left to see whether the user wants to stop.
const LOOK_UP: Duration = Duration::from_millis(200);

/// Records a board until the time is over, Ctrl-C comes, or the board goes.
///
/// # Errors
/// Where the board cannot be opened or the file not be written.
pub fn capture(args: &CaptureArgs) -> Result<(), Failure> {
    let limit = match args.seconds {
        None => None,
        Some(seconds) => Some(Duration::try_from_secs_f64(seconds).map_err(|_| {
            Failure::Choice(format!("--seconds {seconds}: expected a number of seconds, 0 or more"))
        })?),
    };
    let mut board = Hid::new()?.open(&wanted(args)?)?;
    let device = board.recorded();
    let stop = on_interrupt()?;
    let in_file = |source| Failure::File { path: args.to.clone(), source };
    let to: Box<dyn Write> = if args.to == Path::new("-") {
        Box::new(io::stdout())
    } else {
        Box::new(std::fs::File::create(&args.to).map_err(in_file)?)
    };
    let mut writer = RecordingWriter::new(to, &device).map_err(in_file)?;
    writeln!(io::stderr(), "recording {} ({}); Ctrl-C ends it", device.name, board.path())?;
    let clock = Clock::start();
    let (mut buffer, mut reports) = (vec![0_u8; REPORT_BYTES_MAX], 0_u64);
    let ending = loop {
        let now = clock.now();
        let left = limit.map(|limit| Timestamp::START.after(limit).since(now));
        if left.is_some_and(|left| left.is_zero()) {
            break "the time is over";
        }
        if stop.load(Ordering::Relaxed) {
            break "stopped";
        }
        match board.read(&mut buffer, Some(left.map_or(LOOK_UP, |left| left.min(LOOK_UP)))) {
            Ok(0) => {}
            Ok(length) => {
                writer.report(clock.now(), buffer.get(..length).unwrap_or_default()).map_err(in_file)?;
                reports += 1;
            }
            Err(_) => break "the board is gone",
        }
    };
    writeln!(io::stderr(), "{ending}: {reports} reports in {:.1} s", clock.now().seconds())?;
    Ok(())
}

/// The board that the arguments mean: by its path, by its name in the rig file, or the rig's only one.
fn wanted(args: &CaptureArgs) -> Result<BoardMatch, Failure> {
    if let Some(path) = args.board.as_ref().filter(|board| board.contains(['/', '\\'])) {
        return Ok(BoardMatch { path: Some(path.clone()), ..BoardMatch::default() });
    }
    let folder = args.folder.config.clone().map_or_else(folders::config, Ok)?;
    let rig = files::rig_in(&folder)?;
    let names = || rig.boards.iter().map(|board| board.name.as_str()).collect::<Vec<_>>().join(", ");
    let board = match (&args.board, rig.boards.as_slice()) {
        (Some(name), boards) => boards.iter().find(|board| board.name == *name).ok_or_else(|| {
            Failure::Choice(format!("the rig file has no board {name}; it has {}", names()))
        })?,
        (None, [only]) => only,
        (None, _) => {
            return Err(Failure::Choice(format!("choose a board with --board: {}", names())));
        }
    };
    Ok(tallywheel_engine::runtime_config::board_match(board))
}

/// A flag that Ctrl-C or SIGTERM sets, or the end of the terminal.
///
/// # Errors
/// Where the system takes no signal handler or gives no thread.
pub(crate) fn on_interrupt() -> io::Result<Arc<AtomicBool>> {
    let stop = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&stop);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    std::thread::Builder::new().name("signals".into()).spawn(move || {
        let _ = runtime.block_on(tallywheel_engine::signals::stopped());
        flag.store(true, Ordering::Relaxed);
    })?;
    Ok(stop)
}
