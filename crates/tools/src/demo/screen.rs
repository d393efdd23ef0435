//! Puts the demo on the terminal: a picture drawn over itself, or plain lines.

use super::picture::{self, TrimPicture};
use crate::replay::lines::Lost;
use std::io::{self, Write};
use tallywheel_engine::player::Player;
use tallywheel_engine::runtime_config::Names;
use tallywheel_units::{Counts, Timestamp};

/// How the demo is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Show {
    /// A picture that is drawn over itself.
    Picture,
    /// One line per trim now and then.
    Lines,
}

/// The terminal.
#[derive(Debug)]
pub(super) struct Screen {
    show: Show,
    /// Lines of the last picture, to be drawn over.
    drawn: usize,
}

impl Screen {
    pub(super) const fn new(show: Show) -> Self {
        Self { show, drawn: 0 }
    }

    pub(super) fn title(&self, names: &Names, out: &mut impl Write) -> io::Result<()> {
        writeln!(out, "Tallywheel demo: rig {}, flying {}", names.rig, names.aircraft)?;
        writeln!(
            out,
            "A recorded hand turns the wheels; each count goes out as a datagram to a loopback port.\n"
        )
    }

    /// A loss stays on the screen; the picture is drawn again below it.
    pub(super) fn loss(&mut self, lost: &Lost<'_>, out: &mut impl Write) -> io::Result<()> {
        self.wipe(out)?;
        writeln!(out, "{}", lost.text())
    }

    pub(super) fn show(
        &mut self,
        player: &Player,
        datagrams: u64,
        now: Timestamp,
        out: &mut impl Write,
    ) -> io::Result<()> {
        let lines = match self.show {
            Show::Picture => picture_lines(player, datagrams, now),
            Show::Lines => plain_lines(player, now),
        };
        self.wipe(out)?;
        for line in &lines {
            writeln!(out, "{line}")?;
        }
        self.drawn = if self.show == Show::Picture { lines.len() } else { 0 };
        out.flush()
    }

    fn wipe(&mut self, out: &mut impl Write) -> io::Result<()> {
        if self.drawn > 0 {
            // ECMA-48: cursor up by so many lines, then erase from there to the end of the screen.
            write!(out, "\u{1b}[{}A\u{1b}[J", self.drawn)?;
            self.drawn = 0;
        }
        Ok(())
    }
}

fn picture_lines(player: &Player, datagrams: u64, now: Timestamp) -> Vec<String> {
    let mut lines: Vec<String> = trims(player).flat_map(|trim| picture::trim(&trim)).collect();
    let losses: u64 = player.tally().losses().map(|(_, number)| number).sum();
    lines.push(String::new());
    lines.push(format!(
        "  {:.1} s   {} reports   {datagrams} datagrams   {losses} losses",
        now.seconds(),
        player.tally().reports(),
    ));
    lines
}

fn plain_lines(player: &Player, now: Timestamp) -> Vec<String> {
    let trims = trims(player);
    trims
        .map(|trim| {
            format!(
                "{:>10.3} s  {:<12} {:>+6} counts  {:>8.2}\u{b0}  {:+.4}  axis {:>6}",
                now.seconds(),
                trim.name,
                trim.counts.get(),
                trim.degrees.get(),
                trim.normalized.get(),
                trim.axis,
            )
        })
        .collect()
}

fn trims(player: &Player) -> impl Iterator<Item = TrimPicture<'_>> {
    player.names().trims().zip(player.tally().trims()).map(|(name, trim)| {
        let reading = trim.reading();
        let config = trim.accumulator.config();
        TrimPicture {
            name,
            counts: player.tally().wheel(trim.wheel).map_or(Counts::ZERO, |wheel| wheel.counts),
            per_turn: config.per_turn(),
            degrees: reading.degrees,
            travel: config.travel(),
            neutral: config.neutral(),
            normalized: reading.normalized,
            axis: reading.axis,
            margin: reading.margin,
            refused: trim.refused,
        }
    })
}
