use super::*;
use crate::ConfigProblem;
use proptest::prelude::*;
use std::collections::VecDeque;
use std::io;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tallywheel_profile::{DatagramConfig, Template};

/// What a scripted output does next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Act {
    Takes,
    /// Takes it and still waits before anything can go out.
    Waits,
    Fails(ErrorKind),
}

use Act::{Fails, Takes, Waits};

fn error(kind: ErrorKind) -> OutputError {
    let source = || io::Error::new(io::ErrorKind::NotFound, "no such thing");
    match kind {
        ErrorKind::ChangeConfig => ConfigProblem::NoKeys.into(),
        ErrorKind::AskUser => OutputError::AskUser { reason: "no joystick", cure: "load the module" },
        ErrorKind::Reopen => OutputError::Reopen { reason: "gone", cure: "look", source: source() },
        ErrorKind::Resend => OutputError::Resend { reason: "full", cure: "wait", source: source() },
        ErrorKind::CarryOn => OutputError::CarryOn { to: ([127, 0, 0, 1], 47_811).into() },
    }
}

/// What the outputs of one `Supervised` do, in order; when it is empty they take everything.
#[derive(Debug, Default)]
struct Script {
    opens: VecDeque<Act>,
    frames: VecDeque<Act>,
    opened: u32,
    alive: u32,
}

/// Some output; what is opened in its place acts on a stage.
fn config() -> OutputConfig {
    let to = std::net::SocketAddr::from(([127, 0, 0, 1], 9));
    OutputConfig::Datagram(DatagramConfig::new(to, Template::Line, Vec::new()))
}

#[derive(Clone, Default)]
struct Stage(Arc<Mutex<Script>>);

impl Stage {
    fn supervised(&self) -> Supervised {
        let stage = self.clone();
        Supervised::with_opener(config(), move |_, _| {
            let mut script = stage.0.lock().unwrap();
            script.opened += 1;
            if let Some(Fails(kind)) = script.opens.pop_front() {
                return Err(error(kind));
            }
            script.alive += 1;
            assert_eq!(script.alive, 1, "two of the same output at once");
            Ok(Box::new(Actor { stage: stage.clone(), waits: false }))
        })
    }

    fn opens(&self, acts: &[Act]) {
        self.0.lock().unwrap().opens.extend(acts);
    }

    fn frames(&self, acts: &[Act]) {
        self.0.lock().unwrap().frames.extend(acts);
    }

    fn opened(&self) -> u32 {
        self.0.lock().unwrap().opened
    }
}

struct Actor {
    stage: Stage,
    waits: bool,
}

impl Output for Actor {
    fn name(&self) -> &str {
        "actor"
    }
    fn publish(&mut self, _frame: &Frame<'_>) -> Result<(), OutputError> {
        let act = self.stage.0.lock().unwrap().frames.pop_front();
        self.waits = act == Some(Waits);
        match act {
            Some(Fails(kind)) => Err(error(kind)),
            Some(Takes | Waits) | None => Ok(()),
        }
    }
    fn deadline(&self) -> Option<Timestamp> {
        (!self.stage.0.lock().unwrap().frames.is_empty()).then_some(Timestamp::from_micros(5))
    }
    fn is_opening(&self) -> bool {
        self.waits
    }
}

impl Drop for Actor {
    fn drop(&mut self) {
        self.stage.0.lock().unwrap().alive -= 1;
    }
}

fn second(seconds: u64) -> Timestamp {
    Timestamp::from_micros(seconds * 1_000_000)
}

fn publish(output: &mut Supervised, seconds: u64) -> Option<String> {
    let frame = Frame { at: second(seconds), sequence: seconds, trims: &[] };
    output.publish(&frame).map(|notice| notice.to_string())
}

fn said(text: &str) -> Option<String> {
    Some(text.to_owned())
}

#[test]
fn the_first_frame_opens_it_and_all_is_quiet_from_then_on() {
    let stage = Stage::default();
    let mut output = stage.supervised();
    assert_eq!((output.state(), output.deadline()), (State::New, Some(Timestamp::START)));
    assert_eq!(publish(&mut output, 5), said("open"));
    assert_eq!((output.state(), output.deadline()), (State::Open, None));
    for seconds in 6..100 {
        assert_eq!(publish(&mut output, seconds), None);
    }
    assert_eq!((output.published(), stage.opened(), output.errors().total()), (95, 1, 0));
}

#[test]
fn a_hitch_keeps_it_open_and_is_told_by_rate() {
    let stage = Stage::default();
    let mut output = stage.supervised();
    publish(&mut output, 0);
    stage.frames(&[Fails(ErrorKind::Resend); 12]);
    assert_eq!(output.deadline(), Some(Timestamp::from_micros(5)), "the output's own");
    assert_eq!(publish(&mut output, 1), said("full (no such thing): wait"));
    for seconds in 2..11 {
        assert_eq!(publish(&mut output, seconds), None);
    }
    assert_eq!(publish(&mut output, 11), said("full (no such thing): wait; 9 more since the last such line"));
    assert_eq!((output.state(), stage.opened()), (State::Open, 1));
    assert_eq!(output.errors().get(ErrorKind::Resend), 11);
}

#[test]
fn a_missing_simulator_is_told_every_five_minutes() {
    let stage = Stage::default();
    let mut output = stage.supervised();
    publish(&mut output, 0);
    stage.frames(&[Fails(ErrorKind::CarryOn); 700]);
    let told: Vec<_> = (1..=700).filter(|&seconds| publish(&mut output, seconds).is_some()).collect();
    assert_eq!(told, [1, 301, 601]);
}

#[test]
fn a_hitch_with_the_very_first_frame_is_told_with_the_next() {
    let stage = Stage::default();
    let mut output = stage.supervised();
    stage.frames(&[Fails(ErrorKind::Resend), Fails(ErrorKind::Resend)]);
    assert_eq!(publish(&mut output, 0), said("open"));
    assert_eq!(publish(&mut output, 1), said("full (no such thing): wait; 1 more since the last such line"));
}

#[test]
fn what_cannot_be_opened_is_tried_after_1_2_4_up_to_60_seconds() {
    let stage = Stage::default();
    let mut output = stage.supervised();
    stage.opens(&[Fails(ErrorKind::AskUser); 10]);
    assert_eq!(publish(&mut output, 100), said("no joystick: load the module; tried again in 1 s"));
    let mut tried = vec![];
    let mut told = vec![];
    for seconds in 101..400 {
        let before = stage.opened();
        let due = output.deadline() <= Some(second(seconds));
        let notice = publish(&mut output, seconds);
        assert_eq!(stage.opened() > before, due, "the deadline is when it is tried");
        if stage.opened() > before {
            tried.push(seconds - 100);
        }
        told.extend(notice);
    }
    assert_eq!(tried, [1, 3, 7, 15, 31, 63, 123, 183, 243]);
    assert_eq!(
        told.first().unwrap(),
        "no joystick: load the module; 3 more since the last such line; tried again in 16 s"
    );
    assert_eq!(output.state(), State::Failed);
    assert_eq!(
        publish(&mut output, 403),
        said("open again after 303.0 s and 11 attempts; before: no joystick")
    );
    assert_eq!((output.state(), output.deadline()), (State::Open, None));
}

#[test]
fn told_to_reopen_it_tries_at_once_whatever_the_wait() {
    let stage = Stage::default();
    let mut output = stage.supervised();
    stage.opens(&[Fails(ErrorKind::AskUser); 3]);
    publish(&mut output, 100);
    for _ in 0..2 {
        output.reopen();
        assert_eq!(output.deadline(), Some(Timestamp::START));
        assert_eq!(publish(&mut output, 100), None, "not due for a line, and failed as before");
    }
    assert_eq!(stage.opened(), 3);
    output.reopen();
    assert_eq!(publish(&mut output, 100), said("open again after 0.0 s and 4 attempts; before: no joystick"));
    output.reopen();
    assert_eq!(publish(&mut output, 101), None);
    assert_eq!(stage.opened(), 4, "an open output is left alone");
}

#[test]
fn an_output_that_had_held_is_opened_again_within_the_same_frame() {
    let stage = Stage::default();
    let mut output = stage.supervised();
    publish(&mut output, 0);
    stage.frames(&[Fails(ErrorKind::Reopen)]);
    assert_eq!(
        publish(&mut output, 100),
        said("open again after 0.0 s and 1 attempt; before: gone (no such thing)")
    );
    assert_eq!((output.published(), stage.opened()), (2, 2));
    assert_eq!(output.errors().get(ErrorKind::Reopen), 1);
    // It does not hold this time, so it waits; and then twice as long.
    stage.frames(&[Fails(ErrorKind::Reopen)]);
    let failed = "gone (no such thing): look; 1 more since the last such line; tried again in 1 s";
    assert_eq!(publish(&mut output, 101), said(failed));
    assert!(publish(&mut output, 102).unwrap().starts_with("open again after 1.0 s and 1 attempt;"));
    stage.frames(&[Fails(ErrorKind::Reopen)]);
    assert_eq!(publish(&mut output, 103), said("gone (no such thing): look; tried again in 2 s"));
    publish(&mut output, 105);
    // A minute is not enough.
    stage.frames(&[Fails(ErrorKind::Reopen)]);
    assert_eq!(publish(&mut output, 165), said("gone (no such thing): look; tried again in 4 s"));
    publish(&mut output, 169);
    // It holds for more than a minute: at once again.
    stage.frames(&[Fails(ErrorKind::AskUser)]);
    assert!(publish(&mut output, 230).unwrap().starts_with("open again after 0.0 s"));
}

#[test]
fn an_output_that_had_held_and_does_not_come_back_is_told_once() {
    let stage = Stage::default();
    let mut output = stage.supervised();
    publish(&mut output, 0);
    stage.frames(&[Fails(ErrorKind::Reopen)]);
    stage.opens(&[Fails(ErrorKind::AskUser), Fails(ErrorKind::AskUser)]);
    assert_eq!(publish(&mut output, 100), said("no joystick: load the module; tried again in 1 s"));
    assert_eq!(publish(&mut output, 101), None);
    assert_eq!(publish(&mut output, 103), said("open again after 3.0 s and 3 attempts; before: no joystick"));
    assert_eq!(output.errors().total(), 3);
}

#[test]
fn a_refusal_is_final_from_any_state() {
    let refusal = "keys are pressed on Windows only: use `low_buttons` and `high_buttons`, or a datagram output; not tried again before that has changed";
    let start: [fn(&Stage, &mut Supervised); 3] = [
        |stage, _| stage.opens(&[Fails(ErrorKind::ChangeConfig)]),
        |stage, output| {
            publish(output, 0);
            stage.frames(&[Fails(ErrorKind::ChangeConfig)]);
        },
        |stage, output| {
            stage.opens(&[Fails(ErrorKind::AskUser), Fails(ErrorKind::ChangeConfig)]);
            publish(output, 0);
        },
    ];
    for prepare in start {
        let stage = Stage::default();
        let mut output = stage.supervised();
        prepare(&stage, &mut output);
        assert_eq!(publish(&mut output, 100), said(refusal));
        let opened = stage.opened();
        output.reopen();
        assert_eq!(publish(&mut output, 1_000), None);
        assert_eq!((output.state(), output.deadline(), stage.opened()), (State::Refused, None, opened));
        assert_eq!(stage.0.lock().unwrap().alive, 0);
    }
}

#[test]
fn a_hitch_from_opening_is_a_loss() {
    let stage = Stage::default();
    let mut output = stage.supervised();
    stage.opens(&[Fails(ErrorKind::Resend)]);
    assert_eq!(publish(&mut output, 0), said("full (no such thing): wait; tried again in 1 s"));
    assert_eq!(output.state(), State::Failed);
}

#[test]
fn an_output_that_waits_is_not_open_and_is_told_when_it_is() {
    let stage = Stage::default();
    let mut output = stage.supervised();
    stage.frames(&[Waits, Waits, Takes, Takes]);
    assert_eq!(publish(&mut output, 0), None);
    assert_eq!((output.state(), output.deadline()), (State::Opening, Some(Timestamp::from_micros(5))));
    output.reopen();
    assert_eq!(publish(&mut output, 1), None);
    assert_eq!((output.state(), output.published(), stage.opened()), (State::Opening, 0, 1));
    assert_eq!(publish(&mut output, 2), said("open"));
    assert_eq!((output.state(), output.published()), (State::Open, 1));
}

#[test]
fn an_output_that_waited_in_vain_is_tried_again_by_the_clock() {
    let stage = Stage::default();
    let mut output = stage.supervised();
    stage.frames(&[Waits, Fails(ErrorKind::Reopen), Waits, Fails(ErrorKind::Reopen), Waits, Takes]);
    assert_eq!(publish(&mut output, 0), None);
    assert_eq!(publish(&mut output, 1), said("gone (no such thing): look; tried again in 1 s"));
    assert_eq!((output.state(), output.deadline()), (State::Failed, Some(second(2))));
    assert_eq!(publish(&mut output, 2), None);
    assert_eq!(output.state(), State::Opening);
    assert_eq!(publish(&mut output, 3), None, "told a second ago");
    assert_eq!((output.state(), output.deadline()), (State::Failed, Some(second(5))));
    assert_eq!(publish(&mut output, 5), None);
    let back = publish(&mut output, 6).unwrap();
    assert!(back.contains("gone (no such thing)"), "{back}");
    assert_eq!((output.state(), stage.opened(), output.errors().total()), (State::Open, 3, 2));
}

#[test]
fn a_hitch_or_a_refusal_ends_the_waiting_too() {
    let stage = Stage::default();
    let mut output = stage.supervised();
    stage.frames(&[Waits, Fails(ErrorKind::CarryOn)]);
    assert_eq!(publish(&mut output, 0), None);
    assert_eq!(publish(&mut output, 1), said("open"));
    assert_eq!((output.state(), output.errors().total()), (State::Open, 1));
    let stage = Stage::default();
    let mut output = stage.supervised();
    stage.frames(&[Waits, Fails(ErrorKind::ChangeConfig)]);
    assert_eq!(publish(&mut output, 0), None);
    assert!(publish(&mut output, 1).is_some());
    assert_eq!((output.state(), output.deadline()), (State::Refused, None));
}

#[test]
fn real_outputs_are_opened_in_position() {
    // Somebody listens, so no datagram comes back as refused.
    let listener = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
    let to = listener.local_addr().unwrap();
    let config = OutputConfig::Datagram(DatagramConfig::new(to, Template::Line, Vec::new()));
    let mut output = Supervised::new(config.clone(), Epoch::ZERO);
    assert_eq!((output.name(), output.config()), (format!("datagram {to}").as_str(), &config));
    assert_eq!(publish(&mut output, 0), said("open"));
    assert_eq!(publish(&mut output, 0), None);
    assert_eq!(output.published(), 2);
    assert!(format!("{output:?}").contains("Open"));
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![4 => Just(Takes), 1 => Just(Waits), 3 => prop::sample::select(&ErrorKind::ALL[1..]).prop_map(Fails)]
}

proptest! {
    /// Whatever fails in whatever order: never two outputs at once (the stage asserts it), every error is
    /// counted, every error is told or still held back, and nothing is tried before it is due.
    #[test]
    fn every_error_is_accounted_for(
        opens in proptest::collection::vec(act(), 0..40),
        frames in proptest::collection::vec(act(), 0..200),
        steps in proptest::collection::vec((0..20_u64, prop::bool::weighted(0.1)), 1..200),
    ) {
        let stage = Stage::default();
        stage.opens(&opens);
        stage.frames(&frames);
        let mut output = stage.supervised();
        let (mut now, mut told, mut changes) = (0, 0, 0_u64);
        for (wait, reopen) in steps {
            now += wait;
            if reopen {
                output.reopen();
            }
            let (due, opened, state) = (output.deadline(), stage.opened(), output.state());
            let frame = Frame { at: second(now), sequence: 0, trims: &[] };
            let notice = output.publish(&frame);
            if state == State::Failed && due > Some(second(now)) {
                prop_assert_eq!(stage.opened(), opened);
                prop_assert!(notice.is_none());
            }
            match notice {
                Some(Notice::Failed { held_back, retry_in, .. }) => {
                    told += held_back + 1;
                    prop_assert!(retry_in.is_some_and(|wait| wait <= Duration::from_secs(60)));
                    prop_assert_eq!(output.state(), State::Failed);
                }
                Some(Notice::Trouble { held_back, .. }) => {
                    told += held_back + 1;
                    prop_assert_eq!((state, output.state()), (State::Open, State::Open));
                }
                Some(Notice::Opened) => {
                    prop_assert!(matches!(state, State::New | State::Opening));
                    prop_assert_eq!(output.state(), State::Open);
                    changes += 1;
                }
                Some(Notice::Recovered { .. }) => {
                    prop_assert_ne!(state, State::New);
                    prop_assert_eq!(output.state(), State::Open);
                }
                None => {
                    let expected = match output.state() {
                        State::Opening => true,
                        State::Failed => matches!(state, State::Failed | State::Opening),
                        now => now == state,
                    };
                    prop_assert!(expected);
                }
            }
        }
        let held: u64 = ErrorKind::ALL.into_iter().map(|kind| output.gates.get_mut(kind).held_back()).sum();
        prop_assert_eq!(told + held, output.errors().total());
        prop_assert!(changes <= 1);
        let script = stage.0.lock().unwrap();
        let failed = |acts: &[Act], left: usize| -> u64 {
            let used = acts.len() - left;
            acts[..used].iter().filter(|act| matches!(act, Fails(_))).map(|_| 1).sum()
        };
        let happened = failed(&opens, script.opens.len()) + failed(&frames, script.frames.len());
        prop_assert_eq!(output.errors().total(), happened);
    }
}
