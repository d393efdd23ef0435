//! Puts the demo on the terminal: a picture drawn over itself, or plain lines.
//!
//! While the picture is drawn the terminal does not wrap lines. A line that is too long for it is cut there, so that a
//! picture has as many rows as lines and the next one is drawn over all of it.

use super::picture::{self, TrimPicture};
use crate::fold::fold;
use crate::replay::lines::LossLine;
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

/// The most columns that a picture and what stands above it have.
const COLUMNS: usize = 60;
/// DECAWM off: what is beyond the last column is not drawn (DEC private mode 7, ECMA-48 leaves it to the maker).
const NO_WRAPPING: &str = "\u{1b}[?7l";
/// DECAWM on, as terminals are at the start.
const WRAPPING: &str = "\u{1b}[?7h";

/// The terminal.
#[derive(Debug)]
pub(super) struct Screen {
    show: Show,
    /// Lines of the last picture, to be drawn over.
    drawn: usize,
    /// The terminal was told not to wrap.
    cuts: bool,
}

impl Screen {
    pub(super) const fn new(show: Show) -> Self {
        Self { show, drawn: 0, cuts: false }
    }

    pub(super) fn title(&self, names: &Names, out: &mut impl Write) -> io::Result<()> {
        writeln!(out, "Tallywheel demo: rig {}, aircraft {}", names.rig, names.aircraft)?;
        writeln!(
            out,
            "A recorded hand turns the wheels; each count goes out as a\ndatagram to a loopback port.\n"
        )
    }

    /// A loss stays on the screen; the picture is drawn again below it.
    pub(super) fn loss(&mut self, lost: &LossLine<'_>, out: &mut impl Write) -> io::Result<()> {
        self.wipe(out)?;
        // A picture is drawn over, this is not, so a narrow terminal may wrap it.
        self.end(out)?;
        match self.show {
            Show::Picture => writeln!(out, "{}\n", fold(&lost.text(), 2, COLUMNS)),
            Show::Lines => writeln!(out, "{}", lost.text()),
        }
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
        if self.show == Show::Picture && !self.cuts {
            out.write_all(NO_WRAPPING.as_bytes())?;
            self.cuts = true;
        }
        for line in &lines {
            writeln!(out, "{line}")?;
        }
        self.drawn = if self.show == Show::Picture { lines.len() } else { 0 };
        out.flush()
    }

    /// Leaves the terminal as it was.
    pub(super) fn end(&mut self, out: &mut impl Write) -> io::Result<()> {
        if self.cuts {
            out.write_all(WRAPPING.as_bytes())?;
            self.cuts = false;
        }
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

#[cfg(test)]
mod tests {
    use super::*;
    use avt::Terminal;
    use tallywheel_engine::player::ReplayEvent;
    use tallywheel_engine::tally::Effect;

    fn rows(terminal: &Terminal) -> Vec<String> {
        terminal.screen().visible_lines().map(|line| line.text().trim_end().to_owned()).collect()
    }

    /// What `draw` writes, as a terminal takes it: the system makes carriage return and line feed of a newline.
    fn feed(terminal: &mut Terminal, draw: impl FnOnce(&mut Vec<u8>) -> io::Result<()>) {
        let mut bytes = Vec::new();
        draw(&mut bytes).unwrap();
        terminal.feed(String::from_utf8(bytes).unwrap().replace('\n', "\r\n").as_str());
    }

    /// Plays the whole demo on a terminal, looking at it after each picture.
    fn plays_on(columns: usize, rows_there: usize) {
        let mut player = crate::demo::player().unwrap();
        let mut terminal = Terminal::new(columns, rows_there).unwrap();
        let mut screen = Screen::new(Show::Picture);
        feed(&mut terminal, |out| screen.title(player.names(), out));
        let mut losses = 0;
        let mut events: Vec<ReplayEvent> = Vec::new();
        while let Some(now) = player.due() {
            events.extend_from_slice(player.step().unwrap_or_default());
            for happened in events.drain(..) {
                if let Effect::Lost(loss) = &happened.effect {
                    let names = player.names();
                    let lost = LossLine::new(names.board(happened.board), names.wheel(happened.wheel), loss);
                    feed(&mut terminal, |out| screen.loss(&lost, out));
                    losses += 1;
                }
            }
            feed(&mut terminal, |out| screen.show(&player, 12_345, now, out));
            // What is beyond the last column may show there or not.
            let sure = |line: &str| line.chars().take(columns - 1).collect::<String>().trim_end().to_owned();
            let wanted: Vec<_> = picture_lines(&player, 12_345, now).iter().map(|line| sure(line)).collect();
            let seen: Vec<_> = rows(&terminal).iter().map(|row| sure(row)).collect();
            let scales = seen.iter().filter(|row| row.contains('\u{2523}')).count();
            assert_eq!(
                scales,
                player.tally().trims().len(),
                "a picture was left behind:\n{}",
                seen.join("\n")
            );
            let end = seen.iter().rposition(|row| !row.is_empty()).unwrap() + 1;
            assert_eq!(seen[end - wanted.len()..end], wanted, "{columns} columns, {} s", now.seconds());
        }
        assert_eq!(losses, 1);
        feed(&mut terminal, |out| screen.end(out));
        // Wrapping is as it was: a line that is too long goes on in the next row.
        feed(&mut terminal, |out| writeln!(out, "{}", "x".repeat(columns + 1)));
        let seen = rows(&terminal);
        let last = seen.iter().rposition(|row| !row.is_empty()).unwrap();
        assert_eq!((seen[last - 1].as_str(), seen[last].as_str()), ("x".repeat(columns).as_str(), "x"));
    }

    #[test]
    fn a_terminal_shows_each_picture_once_and_whole() {
        for (columns, rows) in [(80, 24), (79, 24), (60, 24), (40, 24), (132, 43)] {
            plays_on(columns, rows);
        }
    }

    #[test]
    fn no_line_has_more_than_sixty_columns() {
        let mut player = crate::demo::player().unwrap();
        let screen = Screen::new(Show::Picture);
        let mut bytes = Vec::new();
        screen.title(player.names(), &mut bytes).unwrap();
        let mut longest =
            String::from_utf8(bytes).unwrap().lines().map(|line| line.chars().count()).max().unwrap();
        while let Some(now) = player.due() {
            player.step();
            for line in picture_lines(&player, u64::from(u32::MAX), now) {
                longest = longest.max(line.chars().count());
            }
        }
        assert!(longest <= COLUMNS, "{longest}");
    }
}
