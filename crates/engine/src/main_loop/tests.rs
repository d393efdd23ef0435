//! The main loop in virtual time: a hand, an encoder and a board of testkit's, files that are saved, and a clock that
//! only the test sets. No thread, no sleep and no runtime, so each seed goes the same way on every machine.

use super::{LoopEvent, MainLoop, Settings, prepare};
use crate::clock::{Clock, ManualClock};
use crate::config_files::{FileEvent, Watch};
use crate::device_manager::{self, DeviceReceiver};
use crate::pipeline::Pipeline;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;
use std::path::PathBuf;
use std::time::Duration;
use tallywheel_testkit::{Chance, Encoder, Hand, RawBoard, Report, Reporting, Sampling, Wheel};
use tallywheel_units::{ButtonNumber, Degrees, Timestamp};

const RIG: &str = "name = \"bench\"\n[[board]]\nname = \"main\"\nusb = \"1209:7a11\"\nreport_interval_ms = 4\n[[wheel]]\n\
                   name = \"rudder\"\nwiring = \"quadrature\"\na = 1\nb = 2\ncounts_per_cycle = 4\ncounts_per_turn = 96\n";
/// Joystick with 32 one-bit buttons.
const DESCRIPTOR: [u8; 23] = [
    0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x20, 0x15, 0x00, 0x25, 0x01, 0x75,
    0x01, 0x95, 0x20, 0x81, 0x02, 0xC0,
];
/// What README promises of a saved position, and of a file that is saved.
const PROMISED: Duration = Duration::from_millis(200);

fn aircraft(travel: u32) -> String {
    format!(
        "name = \"Dabchick 1\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = {travel}\nneutral_degrees = 100\n"
    )
}

/// A bridge without threads, its board and its user.
struct Bench {
    main: MainLoop,
    clock: ManualClock,
    now: Timestamp,
    pipeline: Pipeline,
    folder: PathBuf,
    /// Where the trim was, and since when.
    places: Vec<(Timestamp, Degrees)>,
    /// The oldest that the saved position was at any moment.
    oldest: Duration,
    _devices: DeviceReceiver,
}

impl Bench {
    fn new(test: &str, seed: u64) -> Self {
        let folder =
            std::env::temp_dir().join(format!("tallywheel-loop-{test}-{seed}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(folder.join("aircraft")).unwrap();
        std::fs::write(folder.join("rig.toml"), RIG).unwrap();
        std::fs::write(folder.join("aircraft/dabchick.toml"), aircraft(5000)).unwrap();
        let (clock, manual) = Clock::manual();
        let settings = Settings {
            folder: folder.clone(),
            log_folder: folder.join("log"),
            state_folder: folder.join("state"),
            aircraft: None,
        };
        let (sender, devices) = device_manager::channel();
        // Its events are handed in by the test.
        let (_, watch) = Watch::scripted(&folder);
        let ready = prepare(settings, clock).unwrap();
        let (mut main, boards, _) = ready.assemble(sender, watch, folder.join("log"), Box::new(|| ()));
        main.begin();
        main.update();
        let pipeline = boards[0].pipeline(&DESCRIPTOR).unwrap();
        let start = main.shared().look(|tally| tally.readings()[0].degrees);
        Self {
            main,
            clock: manual,
            now: Timestamp::START,
            pipeline,
            folder,
            places: vec![(Timestamp::START, start)],
            oldest: Duration::ZERO,
            _devices: devices,
        }
    }

    /// Lets the loop do all that is due until `end`.
    fn run_until(&mut self, end: Timestamp) {
        loop {
            let rung = self.main.is_rung();
            let due = if rung { Some(self.now) } else { self.main.deadline() };
            let Some(at) = due.filter(|at| *at <= end) else { break };
            self.set(at);
            self.handle(if rung { LoopEvent::Bridge } else { LoopEvent::Due });
        }
        self.set(end);
    }

    fn handle(&mut self, event: LoopEvent) {
        self.main.handle(event);
        self.main.update();
    }

    fn set(&mut self, at: Timestamp) {
        self.now = self.now.max(at);
        self.clock.set(at);
        self.oldest = self.oldest.max(self.age());
    }

    /// How long the trim has not been any more where it is saved.
    fn age(&self) -> Duration {
        let saved = self.main.control().saved().positions("dabchick");
        let saved = saved.and_then(|saved| Some(saved.trims.get("rudder")?.degrees));
        let saved = saved.unwrap_or(self.places[0].1);
        let last =
            self.places.iter().rposition(|(_, degrees)| *degrees == saved).expect("it was never there");
        self.places.get(last + 1).map_or(Duration::ZERO, |(left, _)| self.now.since(*left))
    }

    /// The board reports, and its reader takes it.
    fn report(&mut self, report: &Report) {
        while let Some(due) = self.pipeline.deadline().filter(|due| *due < report.at) {
            self.run_until(due);
            self.pipeline.take_rest(due, &self.main.shared());
        }
        self.run_until(report.at);
        let bytes = u32::try_from(report.buttons.bits()).unwrap().to_le_bytes();
        self.pipeline.take(report.at, &bytes, &self.main.shared());
        let degrees = self.main.shared().look(|tally| tally.trims()[0].accumulator.reading().degrees);
        if self.places.last().is_none_or(|(_, last)| *last != degrees) {
            self.places.push((report.at, degrees));
        }
    }

    fn travel(&self) -> f64 {
        self.main.shared().look(|tally| tally.trims()[0].accumulator.config().travel().get())
    }

    fn end(self) {
        let Self { main, folder, .. } = self;
        main.close();
        let _ = std::fs::remove_dir_all(folder);
    }
}

/// What a board reports of a hand that turns for so many seconds.
fn turning(seed: u64, seconds: f64, reporting: Reporting) -> Vec<Report> {
    let mut chance = Chance::new(seed);
    let motion = Hand::wrist(1.5).turns(0.0, seconds, &mut chance);
    let wheel = Wheel { motion, encoder: Encoder::ideal(96), detents: None, offset: 0.5 };
    let [a, b] = [1, 2].map(|n| ButtonNumber::new(n).unwrap());
    RawBoard::new(Sampling::every(0.004, reporting), chance).with(&wheel, a, b).collect()
}

#[test]
fn a_saved_position_is_at_most_200_ms_old() {
    let mut oldest = Duration::ZERO;
    for seed in 0..40 {
        let mut bench = Bench::new("saved", seed);
        let reporting = if seed % 2 == 0 { Reporting::Fixed } else { Reporting::OnChange };
        turning(seed, 5.0, reporting).iter().for_each(|report| bench.report(report));
        let end = bench.now.after(Duration::from_secs(2));
        bench.run_until(end);
        assert!(bench.places.len() > 50, "seed {seed}: it never turned");
        assert!(bench.oldest <= PROMISED, "seed {seed}: {:?}", bench.oldest);
        assert_eq!(bench.age(), Duration::ZERO, "seed {seed}: the last place is saved");
        oldest = oldest.max(bench.oldest);
        bench.end();
    }
    assert!(oldest > Duration::from_millis(100), "it is looked at while it waits: {oldest:?}");
}

#[test]
fn a_saved_file_is_in_use_within_200_ms() {
    let mut longest = Duration::ZERO;
    for seed in 0..40 {
        let mut chance = Pcg64Mcg::seed_from_u64(seed);
        let mut bench = Bench::new("reload", seed);
        let reports = turning(seed, 4.0, Reporting::Fixed);
        // Some editors write in place first, some save many files in a row.
        let saved_at = Timestamp::from_micros(chance.random_range(500_000..3_000_000));
        let before = chance.random_range(0..3_u64);
        let ongoing: Vec<_> = (0..before)
            .map(|_| Timestamp::from_micros(saved_at.micros() - chance.random_range(1..100_000)))
            .collect();
        let others = chance.random_range(0..30_u64);
        let others = (0..others).map(|n| saved_at.after(Duration::from_millis(8 * (n + 1))));
        let ongoing = ongoing.into_iter().map(|at| (at, FileEvent::Ongoing));
        let finished =
            [(saved_at, FileEvent::Finished)].into_iter().chain(others.map(|at| (at, FileEvent::Finished)));
        let mut events: Vec<_> = ongoing.chain(finished).collect();
        events.sort_by_key(|(at, _)| *at);
        let (mut events, mut used_at) = (events.into_iter().peekable(), None);
        for report in &reports {
            while let Some((at, event)) = events.next_if(|(at, _)| *at <= report.at) {
                bench.run_until(at);
                if at == saved_at {
                    std::fs::write(bench.folder.join("aircraft/dabchick.toml"), aircraft(5400)).unwrap();
                }
                bench.handle(LoopEvent::File(event));
            }
            bench.report(report);
            if used_at.is_none() && bench.travel() == 5400.0 {
                used_at = Some(bench.now);
            }
        }
        let took = used_at.unwrap_or_else(|| panic!("seed {seed}: it was never used")).since(saved_at);
        assert!(took <= PROMISED, "seed {seed}: {took:?}");
        longest = longest.max(took);
        bench.end();
    }
    assert!(longest > Duration::from_millis(20), "nobody waited for the file to be finished: {longest:?}");
}

/// A wheel at rest on a board that reports steadily, and one on a board that says nothing, for ten minutes.
#[test]
fn at_rest_nothing_wakes_the_loop() {
    for (seed, reporting) in [(1, Reporting::Fixed), (2, Reporting::OnChange)] {
        let mut bench = Bench::new("rest", seed);
        let reports = turning(seed, 3.0, reporting);
        reports.iter().for_each(|report| bench.report(report));
        let last = reports[reports.len() - 1];
        let rest = |ms: u64| Report { at: last.at.after(Duration::from_millis(ms)), ..last };
        if reporting == Reporting::Fixed {
            (1..=500).for_each(|n| bench.report(&rest(n * 4)));
        }
        let settled = last.at.after(Duration::from_secs(2));
        bench.run_until(settled);
        let rounds = bench.main.rounds();
        assert!(rounds > 5 && bench.main.deadline().is_none() && !bench.main.is_rung());
        if reporting == Reporting::Fixed {
            (500..150_000).for_each(|n| bench.report(&rest(n * 4)));
        }
        bench.run_until(settled.after(Duration::from_secs(600)));
        assert_eq!(bench.main.rounds(), rounds, "{reporting:?}: something woke it");
        assert_eq!(bench.age(), Duration::ZERO);
        bench.end();
    }
}
