//! A session at a terminal: each board is read on a thread of its own, and Enter sets a mark.

use super::prompts::Prompts;
use super::session::{ButtonSample, MarkedBy, Session, SessionMark, SessionMarkKind};
use crate::args::LearnArgs;
use crossbeam_channel::{Receiver, Sender, bounded};
use std::io::{self, BufRead, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;
use tallywheel_engine::clock::Clock;
use tallywheel_engine::failure::Failure;
use tallywheel_hid_reader::{
    Access, BoardMatch, Hid, Layout, OpenBoard, REPORT_BYTES_MAX, RecordedDevice, RecordingWriter,
    ReportSource,
};
use tallywheel_units::{Buttons, Timestamp};

/// The most messages that wait; a board that is faster than this program waits in the kernel.
const QUEUE: usize = 1024;
/// The most reports that a session keeps: an hour at one a millisecond.
const REPORTS_MAX: usize = 3_600_000;
/// How often a silent board is left to see whether the session is over.
const LOOK_UP: Duration = Duration::from_millis(200);

enum Message {
    Report {
        device: usize,
        at: Timestamp,
        bytes: Vec<u8>,
    },
    Line(String),
    /// Standard input is closed.
    NoMoreLines,
}

/// A session with the boards that were read.
pub(super) struct LiveSession {
    pub(super) session: Session,
    pub(super) devices: Vec<RecordedDevice>,
    /// Standard input has one reader only, so later answers come from here too.
    pub(super) answers: Answers,
}

/// What the user types after the session.
pub(super) struct Answers(Receiver<Message>);

impl Answers {
    /// The next line; none when standard input is closed.
    pub(super) fn line(&self) -> Option<String> {
        loop {
            match self.0.recv() {
                Ok(Message::Line(line)) => return Some(line),
                Ok(Message::Report { .. }) => {}
                Ok(Message::NoMoreLines) | Err(_) => return None,
            }
        }
    }
}

/// Records a session. It prompts on standard error, so that standard output is the result's alone.
pub(super) fn record(args: &LearnArgs) -> Result<LiveSession, Failure> {
    let boards = open(args)?;
    let devices: Vec<_> = boards.iter().map(OpenBoard::recorded).collect();
    let layouts: Vec<_> =
        boards.iter().map(|board| Layout::from_descriptor(board.descriptor()).ok()).collect();
    let over = Arc::new(AtomicBool::new(false));
    let (send, receive) = bounded(QUEUE);
    let clock = Clock::start();
    for (device, board) in boards.into_iter().enumerate() {
        let (send, over) = (send.clone(), Arc::clone(&over));
        thread::Builder::new()
            .name("learn".into())
            .spawn(move || pass_on(board, device, clock, &send, &over))?;
    }
    thread::Builder::new().name("enter".into()).spawn(move || lines(&send))?;
    let collected = collect(&receive, &layouts);
    over.store(true, Ordering::Relaxed);
    let (session, reports) = collected?;
    if let Some(path) = &args.save {
        let file = std::fs::File::create(path)
            .and_then(|file| save(io::BufWriter::new(file), &devices, &session, &reports));
        file.map_err(|source| Failure::File { path: path.clone(), source })?;
    }
    Ok(LiveSession { session, devices, answers: Answers(receive) })
}

fn open(args: &LearnArgs) -> Result<Vec<OpenBoard>, Failure> {
    let mut hid = Hid::new()?;
    let paths: Vec<String> = match &args.board {
        Some(path) => vec![path.clone()],
        None => hid
            .boards()?
            .into_iter()
            .filter(|board| board.access == Access::Ready && board.buttons != Some(0))
            .map(|board| board.path)
            .collect(),
    };
    if paths.is_empty() {
        return Err(Failure::Choice(
            "no board with buttons can be opened; `tallywheel boards` says why".to_owned(),
        ));
    }
    let one = |path: String| hid.open(&BoardMatch { path: Some(path), ..BoardMatch::default() });
    Ok(paths.into_iter().map(one).collect::<Result<_, _>>()?)
}

fn pass_on(mut board: OpenBoard, device: usize, clock: Clock, send: &Sender<Message>, over: &AtomicBool) {
    let mut buffer = vec![0_u8; REPORT_BYTES_MAX];
    while !over.load(Ordering::Relaxed) {
        match board.read(&mut buffer, Some(LOOK_UP)) {
            Ok(0) => {}
            Ok(length) => {
                let at = clock.now();
                let bytes = buffer.get(..length).unwrap_or_default().to_vec();
                if send.send(Message::Report { device, at, bytes }).is_err() {
                    return;
                }
            }
            // The analysis will see that nothing came any more.
            Err(_) => return,
        }
    }
}

fn lines(send: &Sender<Message>) {
    for line in io::stdin().lock().lines() {
        let Ok(line) = line else { break };
        if send.send(Message::Line(line)).is_err() {
            return;
        }
    }
    let _ = send.send(Message::NoMoreLines);
}

type Reports = Vec<(usize, Timestamp, Vec<u8>)>;

/// Goes through the prompts and collects samples; the reports are kept for a recording.
fn collect(receive: &Receiver<Message>, layouts: &[Option<Layout>]) -> Result<(Session, Reports), Failure> {
    let mut prompts = Prompts::new();
    let mut states = vec![Buttons::NONE; layouts.len()];
    let (mut samples, mut reports): (Vec<ButtonSample>, Reports) = (Vec::new(), Vec::new());
    let ask = |prompts: &Prompts| -> io::Result<bool> {
        let Some(ask) = prompts.ask() else { return Ok(false) };
        writeln!(io::stderr(), "{ask}")?;
        Ok(true)
    };
    let mut asking = ask(&prompts)?;
    while asking {
        match receive.recv() {
            Ok(Message::Report { device, at, bytes }) => {
                let read = layouts.get(device).and_then(Option::as_ref).zip(states.get_mut(device));
                if let Some((layout, state)) = read
                    && layout.apply(&bytes, state).is_ok()
                    && samples.len() < REPORTS_MAX
                {
                    samples.push(ButtonSample { device, at, buttons: *state });
                    reports.push((device, at, bytes));
                }
            }
            Ok(Message::Line(line)) => {
                prompts.typed(&line, samples.len());
                asking = ask(&prompts)?;
            }
            Ok(Message::NoMoreLines) | Err(_) => {
                return Err(Failure::Choice("the input ended before the last turn".to_owned()));
            }
        }
    }
    Ok((Session { samples, marks: prompts.marks, marked_by: MarkedBy::Hand }, reports))
}

/// Writes the session as a recording with its marks: what `--recording` reads.
fn save<W: Write>(
    mut to: W,
    devices: &[RecordedDevice],
    session: &Session,
    reports: &Reports,
) -> io::Result<()> {
    // One board without `D:` lines; several boards would need them, which no writer here makes, so only the
    // first board that sent something is written.
    let first = reports.first().map_or(0, |(device, _, _)| *device);
    let Some(device) = devices.get(first) else { return Ok(()) };
    RecordingWriter::new(&mut to, device)?;
    let mut marks = session.marks.iter().peekable();
    let mut mark = |to: &mut W, place: usize| -> io::Result<()> {
        while let Some(mark) = marks.next_if(|mark| mark.after <= place) {
            writeln!(to, "# {}", word(*mark))?;
        }
        Ok(())
    };
    for (place, (from, at, bytes)) in reports.iter().enumerate() {
        mark(&mut to, place)?;
        if *from == first {
            let micros = at.micros();
            write!(to, "E: {:06}.{:06} {}", micros / 1_000_000, micros % 1_000_000, bytes.len())?;
            for byte in bytes {
                write!(to, " {byte:02x}")?;
            }
            writeln!(to)?;
        }
    }
    mark(&mut to, reports.len())?;
    to.flush()
}

const fn word(mark: SessionMark) -> &'static str {
    match mark.kind {
        SessionMarkKind::Turn => "mark",
        SessionMarkKind::Click => "mark click",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tallywheel_hid_reader::Recording;
    use tallywheel_testkit::Chance;
    use tallywheel_testkit::lesson;

    /// A board and a user in one thread's messages: what is saved reads back as the same session.
    #[test]
    fn a_live_session_is_saved_as_it_was_recorded() {
        let text = lesson::Lesson::raw().recording("Bench board", &mut Chance::new(2));
        let recording = Recording::parse(&text).unwrap();
        let expected = Session::from_recording(&recording, &text);
        let (send, receive) = crossbeam_channel::unbounded();
        let mut marks = expected.marks.iter().peekable();
        for (place, report) in recording.reports.iter().enumerate() {
            while marks.next_if(|mark| mark.after <= place).is_some() {
                send.send(Message::Line(String::new())).unwrap();
            }
            let (device, at, bytes) = (report.device, report.at, report.bytes.clone());
            send.send(Message::Report { device, at, bytes }).unwrap();
        }
        for _ in marks {
            send.send(Message::Line(String::new())).unwrap();
        }
        let layout = Layout::from_descriptor(&recording.devices[0].descriptor).unwrap();
        let (session, reports) = collect(&receive, &[Some(layout)]).unwrap();
        // After the last click nothing is asked for, so the last reports are not recorded.
        assert_eq!(session.marks, expected.marks);
        assert_eq!(session.samples, expected.samples[..session.samples.len()]);
        let mut saved = Vec::new();
        save(&mut saved, &recording.devices, &session, &reports).unwrap();
        let saved = String::from_utf8(saved).unwrap();
        assert_eq!(Session::from_recording(&Recording::parse(&saved).unwrap(), &saved), session);
    }

    #[test]
    fn an_input_that_ends_is_said() {
        let (send, receive) = bounded(1);
        send.send(Message::NoMoreLines).unwrap();
        assert!(collect(&receive, &[]).is_err());
    }
}
