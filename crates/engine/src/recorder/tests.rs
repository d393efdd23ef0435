//! From reports to segments and back, in virtual time.

use super::{Found, Recorder, find, merge};
use crate::events::{self, BoardEvent, EventReceiver};
use crate::pipeline::Pipeline;
use crate::player::Player;
use crate::recording_filter::RecordedSample;
use crate::runtime_config::{self, RuntimeConfig};
use crate::shared::SharedState;
use crate::tally::Tally;
use std::path::PathBuf;
use std::time::Duration;
use tallywheel_accumulator::Place;
use tallywheel_hid_reader::{MarkKind, RecordedDevice, Recording};
use tallywheel_output::Epoch;
use tallywheel_units::{BoardIndex, Margin, Timestamp};

const RIG: &str = include_str!("../../../../config/rig.toml");
const AIRCRAFT: &str = include_str!("../../../../config/aircraft/kettrin-2-floatplane.toml");
const DEMO: &str = include_str!("../../../../tests/recordings/demo.hid");
const BOARD: BoardIndex = BoardIndex::new(0);

fn plan() -> RuntimeConfig {
    let rig = tallywheel_profile::rig("rig.toml", RIG).unwrap();
    runtime_config::build(&rig, &tallywheel_profile::aircraft("kettrin.toml", AIRCRAFT).unwrap()).unwrap()
}

/// A daemon without threads: a board's pipeline, the shared state, and the recorder that gets the events.
struct Bench {
    folder: PathBuf,
    recorder: Recorder,
    pipeline: Pipeline,
    shared: SharedState,
    events: EventReceiver,
}

impl Bench {
    fn new(test: &str, device: &RecordedDevice) -> Self {
        let folder = std::env::temp_dir().join(format!("tallywheel-hour-{test}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&folder);
        let plan = plan();
        let pipeline = plan.boards[0].pipeline(&device.descriptor).unwrap();
        let mut recorder = Recorder::new(&folder, plan.names);
        recorder.take(&BoardEvent::Device { board: BOARD, device: Box::new(device.clone()) });
        let (sender, events) = events::channel();
        let shared = SharedState::new(plan.tally, Vec::new(), sender, Epoch::ZERO, Box::new(|| ()));
        Self { folder, recorder, pipeline, shared, events }
    }

    /// The reader's thread takes a report; `pass` says whether a sample gets through the queue.
    fn report(&mut self, at: Timestamp, bytes: &[u8], pass: &mut impl FnMut(&RecordedSample) -> bool) {
        while let Some(due) = self.pipeline.deadline().filter(|due| *due < at) {
            self.pipeline.take_rest(due, &self.shared);
        }
        self.pipeline.take(at, bytes, &self.shared);
        self.record(pass);
    }

    fn record(&mut self, pass: &mut impl FnMut(&RecordedSample) -> bool) {
        while let Some(event) = self.events.try_next() {
            match &event {
                BoardEvent::Report { sample, .. } if !pass(sample) => {}
                event => self.recorder.take(event),
            }
        }
        if self.recorder.take_wish() {
            self.shared.tell_positions();
        }
    }

    fn unplugged(&mut self, at: Timestamp) {
        self.pipeline.take_unplugging(at, &self.shared);
        self.record(&mut |_| true);
    }

    fn found(&mut self) -> Found {
        while let Some(due) = self.pipeline.deadline() {
            self.pipeline.take_rest(due, &self.shared);
        }
        self.recorder.flush();
        find(&self.folder).unwrap()
    }

    fn tally(&self) -> Tally {
        self.shared.look(Tally::clone)
    }

    fn segments(&self) -> usize {
        std::fs::read_dir(self.folder.join(super::segments::FOLDER)).map_or(0, Iterator::count)
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

/// What a report on the last hour comes to.
fn replayed(found: Found) -> Tally {
    let mut player = Player::assigned(plan(), found.recording, &found.boards).unwrap();
    for start in found.starts {
        player.tally_mut().resume(start.trim, Place::At(start.degrees), start.margin);
    }
    player.place(
        found.placed.into_iter().map(|(at, start)| (at, start.trim, Place::At(start.degrees), start.margin)),
    );
    while player.step().is_some() {}
    std::mem::replace(player.tally_mut(), plan().tally)
}

/// A replay begins without what the daemon's decoders had learned of the board by then, so it may be less sure, but its
/// margin holds where each trim truly is.
fn assert_within_margin(replayed: &Tally, counted: &Tally) {
    for (replayed, counted) in replayed.trims().iter().zip(counted.trims()) {
        let (replayed, counted) = (replayed.reading(), counted.reading());
        let off = (counted.position.raw() - replayed.position.raw()) >> 20;
        let margin = replayed.margin;
        assert!((-margin.low().get()..=margin.high().get()).contains(&off), "{off} is not in {margin}");
        assert!(!margin.is_unknown());
    }
}

fn positions(tally: &Tally) -> Vec<(i64, Margin)> {
    let readings = tally.trims().iter().map(|trim| trim.reading());
    readings.map(|reading| (reading.position.raw(), reading.margin)).collect()
}

fn losses(tally: &Tally) -> Vec<u64> {
    tally.losses().map(|(_, number)| number).collect()
}

fn shifted(at: Timestamp, hours: u64) -> Timestamp {
    at.after(Duration::from_secs(hours * 3600))
}

#[test]
fn a_minute_comes_back_as_the_daemon_counted_it() {
    let demo = Recording::parse(DEMO).unwrap();
    let mut bench = Bench::new("minute", &demo.devices[0]);
    for report in &demo.reports {
        bench.report(report.at, &report.bytes, &mut |_| true);
    }
    let found = bench.found();
    assert_eq!((found.boards.as_slice(), &found.recording.devices), (&[BOARD][..], &demo.devices));
    assert!(found.recording.bad_lines.is_empty() && found.recording.marks.is_empty());
    let tally = replayed(found);
    assert_eq!(positions(&tally), positions(&bench.tally()));
    assert_eq!(losses(&tally), losses(&bench.tally()));
    assert_eq!(losses(&tally).iter().sum::<u64>(), 1, "the demo's knock");
}

#[test]
fn an_unplugging_is_in_the_last_hour() {
    let demo = Recording::parse(DEMO).unwrap();
    let mut bench = Bench::new("unplugged", &demo.devices[0]);
    for (place, report) in demo.reports.iter().enumerate() {
        if place == 200 {
            bench.unplugged(report.at);
            let device = Box::new(demo.devices[0].clone());
            bench.recorder.take(&BoardEvent::Device { board: BOARD, device });
        }
        bench.report(report.at, &report.bytes, &mut |_| true);
    }
    let found = bench.found();
    assert_eq!(found.recording.marks.len(), 1);
    assert_eq!((found.recording.marks[0].kind, bench.segments()), (MarkKind::Unplugged, 2));
    let tally = replayed(found);
    assert_eq!((positions(&tally), losses(&tally)), (positions(&bench.tally()), losses(&bench.tally())));
}

/// The recording misses what the daemon counted: a replay knows nothing there, until the next sample says where the trims
/// truly are.
#[test]
fn after_a_gap_the_recording_is_told_where_the_trims_are() {
    let demo = Recording::parse(DEMO).unwrap();
    let mut bench = Bench::new("gap", &demo.devices[0]);
    // The way back from the high stop, after which no stop is met.
    for report in &demo.reports {
        bench.report(report.at, &report.bytes, &mut |sample| !(220..230).contains(&sample.number));
    }
    let mut found = bench.found();
    let gaps: Vec<_> = found.recording.marks.iter().map(|mark| mark.kind).collect();
    assert_eq!(gaps, [MarkKind::Gap { reports: 10 }]);
    assert!(!found.placed.is_empty());
    let unplaced = Found { placed: std::mem::take(&mut found.placed), ..found.clone() };
    let tally = replayed(found);
    assert!(
        tally.trims().iter().all(|trim| trim.reading().margin.is_unknown()),
        "nothing is claimed by itself"
    );
    assert_eq!(losses(&tally)[4], 0, "a gap in the recording is no board that is gone");
    assert_within_margin(&replayed(unplaced), &bench.tally());
}

/// What the queue could not take of where the trims are is asked for again.
#[test]
fn positions_that_got_lost_are_asked_for() {
    let demo = Recording::parse(DEMO).unwrap();
    let mut bench = Bench::new("asked", &demo.devices[0]);
    let first = &demo.reports[0];
    bench.pipeline.take(first.at, &first.bytes, &bench.shared);
    while let Some(event) = bench.events.try_next() {
        if let BoardEvent::Report { .. } = event {
            bench.recorder.take(&event);
        }
    }
    assert_eq!(bench.segments(), 0, "nobody knows where it would begin");
    assert!(bench.recorder.take_wish() && !bench.recorder.take_wish());
    bench.shared.tell_positions();
    for report in &demo.reports[1..] {
        bench.report(report.at, &report.bytes, &mut |_| true);
    }
    assert_eq!(bench.segments(), 1);
    assert_eq!(positions(&replayed(bench.found())), positions(&bench.tally()));
}

#[test]
fn hours_are_kept_in_few_segments_that_know_where_they_began() {
    let demo = Recording::parse(DEMO).unwrap();
    let mut bench = Bench::new("hours", &demo.devices[0]);
    // The demo's quarter of a minute once every three minutes, for five hours.
    for round in 0..100_u64 {
        for report in &demo.reports {
            let at = report.at.after(Duration::from_secs(round * 180));
            bench.report(at, &report.bytes, &mut |_| true);
        }
    }
    assert_eq!(bench.segments(), 7);
    let found = bench.found();
    let reports = &found.recording.reports;
    let lasted = reports[reports.len() - 1].at.since(reports[0].at);
    assert!((Duration::from_secs(3600)..Duration::from_secs(4300)).contains(&lasted), "{lasted:?}");
    assert_eq!(found.starts.len(), 2);
    assert_within_margin(&replayed(found), &bench.tally());
}

#[test]
fn what_is_older_than_an_hour_is_left_out() {
    let demo = Recording::parse(DEMO).unwrap();
    let mut bench = Bench::new("older", &demo.devices[0]);
    for hours in [0, 3] {
        for report in &demo.reports {
            bench.report(shifted(report.at, hours), &report.bytes, &mut |_| true);
        }
    }
    assert_eq!(bench.segments(), 2);
    let found = bench.found();
    let first = found.recording.reports[0].at;
    assert!(first >= Timestamp::from_micros(600_000_000), "{first}");
    assert_eq!(positions(&replayed(found)), positions(&bench.tally()));
}

#[test]
fn two_boards_are_woven_together_by_time() {
    let head = "N: one\nI: 3 1209 7a11\nR: 2 05 01\n";
    let one = format!("{head}E: 000001.000000 1 00\nE: 000003.000000 1 01\n# unplugged 000004.000000\n");
    let two = format!("{head}# position 1 90.5 0 2\nE: 000002.000000 1 02\n");
    let boards = [(BoardIndex::new(1), vec![one]), (BoardIndex::new(3), vec![two])];
    let found = merge(&boards).unwrap();
    assert_eq!(found.boards, [BoardIndex::new(1), BoardIndex::new(3)]);
    let order: Vec<_> =
        found.recording.reports.iter().map(|r| (r.device, r.at.micros() / 1_000_000)).collect();
    assert_eq!(order, [(0, 1), (1, 2), (0, 3)]);
    assert_eq!(found.recording.marks.iter().map(|m| (m.device, m.before)).collect::<Vec<_>>(), [(0, 3)]);
    assert_eq!(found.starts.iter().map(|s| (s.trim, s.degrees.get())).collect::<Vec<_>>(), [(1, 90.5)]);
    assert_eq!(merge(&[]), None);
    assert_eq!(merge(&[(BOARD, vec![head.to_owned()])]), None);
}

#[test]
fn a_new_daemon_forgets_the_old_ones_hour_and_nothing_else() {
    let demo = Recording::parse(DEMO).unwrap();
    let mut bench = Bench::new("restart", &demo.devices[0]);
    bench.report(demo.reports[0].at, &demo.reports[0].bytes, &mut |_| true);
    bench.recorder.flush();
    let other = bench.folder.join(super::segments::FOLDER).join("notes.txt");
    std::fs::write(&other, "mine").unwrap();
    assert_eq!(bench.segments(), 2);
    let _ = Recorder::new(&bench.folder, plan().names);
    assert_eq!(bench.segments(), 1);
    assert!(other.exists());
    assert!(find(&bench.folder).unwrap_err().to_string().contains("there is no last hour"));
}

/// A full disk or a folder that is a file must cost nothing but the recording.
#[test]
fn a_disk_that_refuses_is_said_once_and_nothing_breaks() {
    let demo = Recording::parse(DEMO).unwrap();
    let mut bench = Bench::new("refused", &demo.devices[0]);
    std::fs::create_dir_all(&bench.folder).unwrap();
    std::fs::write(bench.folder.join(super::segments::FOLDER), "in the way").unwrap();
    for report in &demo.reports {
        bench.report(report.at, &report.bytes, &mut |_| true);
    }
    bench.recorder.flush();
    assert!(find(&bench.folder).is_err());
    // Ten minutes later it is tried again.
    std::fs::remove_file(bench.folder.join(super::segments::FOLDER)).unwrap();
    for report in &demo.reports {
        bench.report(shifted(report.at, 1), &report.bytes, &mut |_| true);
    }
    assert_eq!(bench.found().recording.reports.len(), demo.reports.len());
}

/// A trim is aligned on the way: the recording comes to where it truly is, and not the way that the counts alone say.
#[test]
fn where_a_trim_was_put_is_in_the_recording() {
    let demo = Recording::parse(DEMO).unwrap();
    let mut bench = Bench::new("placed", &demo.devices[0]);
    for (n, report) in demo.reports.iter().enumerate() {
        if n == demo.reports.len() / 2 {
            bench.shared.align(0, Place::Low, report.at);
        }
        bench.report(report.at, &report.bytes, &mut |_| true);
    }
    let found = bench.found();
    assert!(found.placed.iter().any(|(_, start)| start.trim == 0 && start.degrees.get() == 0.0));
    let mut player = Player::assigned(plan(), found.recording, &found.boards).unwrap();
    for start in found.starts {
        player.tally_mut().resume(start.trim, Place::At(start.degrees), start.margin);
    }
    player.place(
        found.placed.into_iter().map(|(at, start)| (at, start.trim, Place::At(start.degrees), start.margin)),
    );
    while player.step().is_some() {}
    assert_eq!(player.tally().readings(), bench.tally().readings());
}
