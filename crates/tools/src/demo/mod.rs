//! `tallywheel demo`: the whole job on a recorded wheel, from reports to datagrams over a loopback port.
//!
//! Rig, aircraft and recording are invented and built in, so the demo needs no board, no root and no set-up.

pub mod picture;
mod receiver;
mod screen;

use crate::args::DemoArgs;
use crate::capture::on_interrupt;
use crate::replay::lines::{LossLine, Summary};
use crate::replay::{json_line, write_change};
use receiver::Receiver;
use screen::{Screen, Show};
use std::io::{IsTerminal, Write};
use std::sync::atomic::Ordering;
use std::time::Duration;
use tallywheel_engine::clock::Clock;
use tallywheel_engine::failure::Failure;
use tallywheel_engine::player::{Player, ReplayEvent};
use tallywheel_engine::runtime_config;
use tallywheel_engine::tally::Effect;
use tallywheel_hid_reader::Recording;
use tallywheel_output::{Frame, Supervised};
use tallywheel_profile::{DatagramConfig, OutputConfig, Template};
use tallywheel_units::{Timestamp, TrimIndex};

const RIG: &str = include_str!("../../../../config/rig.toml");
const AIRCRAFT: &str = include_str!("../../../../config/aircraft/kettrin-2-floatplane.toml");
const RECORDING: &str = include_str!("../../../../tests/recordings/demo.hid");

/// How often the picture is drawn anew.
const PICTURE: Duration = Duration::from_millis(50);
/// How often a line is written where there is no terminal.
const LINE: Duration = Duration::from_secs(1);

/// Plays the recording at the hand's own pace, or at once, and shows what comes out.
///
/// # Errors
/// Where `out` cannot be written or there is no loopback network.
pub fn demo(args: &DemoArgs, out: &mut impl Write) -> Result<(), Failure> {
    let mut player = player()?;
    let mut receiver = Receiver::open()?;
    let trims = (0_u8..).map(TrimIndex::new).zip(player.names().trims().map(str::to_owned)).collect();
    let clock = Clock::start();
    let datagram = DatagramConfig::new(receiver.address(), Template::Json, trims);
    let mut output = Supervised::new(OutputConfig::Datagram(datagram), clock.epoch());

    let live = !args.json && !args.fast && std::io::stdout().is_terminal();
    let mut screen = Screen::new(if live { Show::Picture } else { Show::Lines });
    let first = player.due().unwrap_or(Timestamp::START);
    let mut next_show = first;
    publish(&mut output, &player, first);
    receiver.drain();
    if !args.json {
        screen.title(player.names(), out)?;
    }
    let mut events: Vec<ReplayEvent> = Vec::new();
    let stop = if live { Some(on_interrupt()?) } else { None };
    let stopped = || stop.as_ref().is_some_and(|stop| stop.load(Ordering::Relaxed));
    while let Some(due) = player.due().filter(|_| !stopped()) {
        if !args.fast {
            let mut now = first.after(clock.now().since(Timestamp::START));
            while now < due && !stopped() {
                if live && now >= next_show {
                    screen.show(&player, receiver.received(), now, out)?;
                    next_show = now.after(PICTURE);
                }
                let until = if live { due.min(next_show) } else { due };
                std::thread::sleep(until.since(now));
                now = first.after(clock.now().since(Timestamp::START));
            }
        }
        events.extend_from_slice(player.step().unwrap_or_default());
        publish(&mut output, &player, due);
        receiver.drain();
        for happened in events.drain(..) {
            if args.json {
                write_change(&player, &happened, true, out)?;
            } else if let Effect::Lost(loss) = &happened.effect {
                let names = player.names();
                let lost = LossLine::new(names.board(happened.board), names.wheel(happened.wheel), loss);
                screen.loss(&lost, out)?;
            }
        }
        if !args.json && !live && due >= next_show {
            screen.show(&player, receiver.received(), due, out)?;
            next_show = due.after(LINE);
        }
    }
    let mut summary = Summary::of(&player);
    summary.datagrams = Some(receiver.received());
    if args.json {
        json_line(out, &summary)
    } else {
        let end = if stopped() { player.due().unwrap_or(player.end()) } else { player.end() };
        screen.show(&player, receiver.received(), end, out)?;
        screen.end(out)?;
        Ok(out.write_all(summary.text().as_bytes())?)
    }
}

fn player() -> Result<Player, Failure> {
    let rig =
        tallywheel_profile::rig("demo rig.toml", RIG).map_err(runtime_config::RuntimeConfigError::from)?;
    let aircraft = tallywheel_profile::aircraft("demo aircraft.toml", AIRCRAFT)
        .map_err(runtime_config::RuntimeConfigError::from)?;
    let recording = Recording::parse(RECORDING)
        .map_err(|source| Failure::Recording { path: "demo recording".into(), source })?;
    Player::new(runtime_config::build(&rig, &aircraft)?, recording)
}

fn publish(output: &mut Supervised, player: &Player, at: Timestamp) {
    // The demo's own port listens for as long as the demo runs, so there is no news to show.
    let _ =
        output.publish(&Frame { at, sequence: player.tally().sequence(), trims: player.tally().readings() });
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The README shows the picture at 8.0 s, as the terminal had it. The number of datagrams is the only figure
    /// in it that does not follow from the recording alone.
    #[test]
    fn the_readme_shows_what_the_demo_draws() {
        let readme = include_str!("../../../../README.md");
        let at = Timestamp::from_micros(8_000_000);
        let mut player = player().unwrap();
        while player.due().is_some_and(|due| due <= at) {
            player.step();
        }
        let last =
            readme.lines().find(|line| line.starts_with("  8.0 s")).expect("the README has the picture");
        let datagrams = last.split_whitespace().nth(4).unwrap().parse().unwrap();
        let mut drawn = Vec::new();
        Screen::new(Show::Picture).show(&player, datagrams, at, &mut drawn).unwrap();
        let drawn = String::from_utf8(drawn).unwrap();
        let drawn = drawn.trim_start_matches("\u{1b}[?7l");
        assert!(readme.contains(drawn.trim_end()), "the README should show:\n{drawn}");
    }
}
