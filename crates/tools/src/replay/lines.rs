//! What `replay` and `demo` print: one line for each change and a summary, for people or as JSON.
//!
//! The JSON keys are a promise to scripts; they only ever grow.

use serde::Serialize;
use serde::ser::{SerializeMap, Serializer};
use tallywheel_accumulator::Reading;
use tallywheel_engine::player::Player;
use tallywheel_units::{Counts, FixedCounts, Loss, Margin, Timestamp};

/// A margin as JSON: `[low, high]` in counts, or null where nothing is known.
#[derive(Debug, Clone, Copy)]
pub struct MarginJson(pub Margin);

impl Serialize for MarginJson {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if self.0.is_unknown() {
            serializer.serialize_none()
        } else {
            [self.0.low().get(), self.0.high().get()].serialize(serializer)
        }
    }
}

/// A list of names with values, written as a JSON object in the list's order.
#[derive(Debug, Clone)]
pub struct Named<T>(pub Vec<(String, T)>);

impl<T: Serialize> Serialize for Named<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for (name, value) in &self.0 {
            map.serialize_entry(name, value)?;
        }
        map.end()
    }
}

/// A trim that changed.
#[derive(Debug, Clone, Serialize)]
pub struct Moved<'a> {
    time_us: u64,
    trim: &'a str,
    wheel: &'a str,
    counts: i64,
    degrees: f64,
    position: f64,
    axis: i32,
    margin: MarginJson,
    #[serde(skip_serializing_if = "Option::is_none")]
    stop: Option<&'static str>,
}

impl<'a> Moved<'a> {
    /// From the trim's new reading and its wheel's tally.
    #[must_use]
    pub fn new(at: Timestamp, trim: &'a str, wheel: &'a str, counts: i64, reading: &Reading) -> Self {
        Self {
            time_us: at.micros(),
            trim,
            wheel,
            counts,
            degrees: round_millionth(reading.degrees.get()),
            position: reading.normalized.get(),
            axis: reading.axis.get(),
            margin: MarginJson(reading.margin),
            stop: reading.at_stop.map(stop_name),
        }
    }

    /// One line for people.
    #[must_use]
    pub fn text(&self) -> String {
        format!(
            "{:>10.3} s  {:<12} {:>+6} counts  {:>8.2}\u{b0}  {:+.4}  axis {:>6}{}",
            micros_to_seconds(self.time_us),
            self.trim,
            self.counts,
            self.degrees,
            self.position,
            self.axis,
            self.stop.map_or(String::new(), |s| format!("  {s} stop")),
        )
    }
}

fn stop_name(stop: tallywheel_accumulator::Stop) -> &'static str {
    match stop {
        tallywheel_accumulator::Stop::Low => "low",
        tallywheel_accumulator::Stop::High => "high",
    }
}

/// Degrees are held to 2^-20 count; more digits than a millionth would be noise.
fn round_millionth(degrees: f64) -> f64 {
    (degrees * 1e6).round() / 1e6
}

fn micros_to_seconds(micros: u64) -> f64 {
    Timestamp::from_micros(micros).seconds()
}

/// A loss.
#[derive(Debug, Clone, Serialize)]
pub struct LossLine<'a> {
    time_us: u64,
    loss: &'static str,
    certainty: &'static str,
    fault: &'static str,
    board: &'a str,
    wheel: &'a str,
    bound: MarginJson,
    /// What an index mark measured and put right, in counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    measured: Option<i64>,
    reports: u32,
    lasted_us: u64,
    cause: &'static str,
    advice: &'static str,
}

impl<'a> LossLine<'a> {
    /// From a loss on `wheel` of `board`.
    #[must_use]
    pub fn new(board: &'a str, wheel: &'a str, loss: &Loss) -> Self {
        Self {
            time_us: loss.at.micros(),
            loss: loss.kind.name(),
            certainty: loss.certainty.name(),
            fault: loss.kind.fault().name(),
            board,
            wheel,
            bound: MarginJson(loss.bound),
            measured: loss.measured().map(Counts::get),
            reports: loss.reports,
            lasted_us: u64::try_from(loss.lasted.as_micros()).unwrap_or(u64::MAX),
            cause: loss.kind.cause(),
            advice: loss.kind.advice(),
        }
    }

    /// One line for people.
    #[must_use]
    pub fn text(&self) -> String {
        let bound = match (self.bound.0, self.measured) {
            (_, Some(measured)) => format!("{measured:+} counts, put right"),
            (margin, None) if margin.is_unknown() => "an unknown number of counts".to_owned(),
            (margin, None) => format!("{margin} counts"),
        };
        format!(
            "{:>10.3} s  {:<12} LOSS {} ({}, {}): {bound}; {}; {}",
            micros_to_seconds(self.time_us),
            self.wheel,
            self.loss,
            self.certainty,
            self.fault,
            self.cause,
            self.advice,
        )
    }
}

/// Where one trim ended.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct PositionSummary {
    degrees: f64,
    normalized: f64,
    axis: i32,
    margin: MarginJson,
}

impl PositionSummary {
    /// From the trim's last reading.
    #[must_use]
    pub fn new(reading: &Reading) -> Self {
        Self {
            degrees: round_millionth(reading.degrees.get()),
            normalized: reading.normalized.get(),
            axis: reading.axis.get(),
            margin: MarginJson(reading.margin),
        }
    }
}

/// Counts with their fraction as JSON, to a millionth.
#[derive(Debug, Clone, Copy)]
pub struct FixedJson(pub FixedCounts);

impl Serialize for FixedJson {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_f64(round_millionth(self.0.to_f64()))
    }
}

/// What a whole recording came to.
#[derive(Debug, Clone, Serialize)]
pub struct Summary {
    /// Always true; tells this line from the others.
    pub summary: bool,
    /// Reports decoded.
    pub reports: u64,
    /// Lines of the recording that could not be read.
    pub bad_lines: usize,
    /// Per wheel: sum of all counts, forward positive.
    pub counts: Named<i64>,
    /// Per wheel: how far the counts may be off.
    pub margin: Named<MarginJson>,
    /// Per trim: counts that moved it.
    pub applied: Named<FixedJson>,
    /// Per trim: counts that a stop refused.
    pub refused: Named<FixedJson>,
    /// Per kind: how many losses, those that happened only.
    pub losses: Named<u64>,
    /// Per trim: where it ended.
    pub position: Named<PositionSummary>,
    /// Datagrams that came back over the loopback port, in the demo only.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub datagrams: Option<u64>,
}

impl Summary {
    /// What all that `player` has played came to.
    #[must_use]
    pub fn of(player: &Player) -> Self {
        let (names, tally, recording) = (player.names(), player.tally(), player.recording());
        let wheels =
            || names.wheels().filter_map(|(wheel, name)| Some((name.to_owned(), tally.wheel(wheel)?)));
        let trims = || names.trims().map(str::to_owned).zip(tally.trims());
        Self {
            summary: true,
            reports: tally.reports(),
            bad_lines: recording.bad_lines.len(),
            counts: Named(wheels().map(|(name, wheel)| (name, wheel.counts.get())).collect()),
            margin: Named(wheels().map(|(name, wheel)| (name, MarginJson(wheel.stated()))).collect()),
            applied: Named(trims().map(|(name, trim)| (name, FixedJson(trim.applied))).collect()),
            refused: Named(trims().map(|(name, trim)| (name, FixedJson(trim.refused))).collect()),
            losses: Named(
                tally
                    .losses()
                    .filter(|(_, number)| *number > 0)
                    .map(|(kind, number)| (kind.name().to_owned(), number))
                    .collect(),
            ),
            position: Named(
                trims().map(|(name, trim)| (name, PositionSummary::new(&trim.reading()))).collect(),
            ),
            datagrams: None,
        }
    }

    /// A few lines for people.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = format!("\n{} reports", self.reports);
        if self.bad_lines > 0 {
            text += &format!(", {} lines that could not be read", self.bad_lines);
        }
        if let Some(datagrams) = self.datagrams {
            text += &format!(", {datagrams} datagrams received");
        }
        text.push('\n');
        for ((wheel, counts), (_, margin)) in self.counts.0.iter().zip(&self.margin.0) {
            let doubt = match margin.0 {
                m if m.is_certain() => "certain".to_owned(),
                m if m.is_unknown() => "margin unknown".to_owned(),
                m => format!("margin {m}"),
            };
            text += &format!("wheel {wheel}: {counts:+} counts, {doubt}\n");
        }
        for (n, (trim, position)) in self.position.0.iter().enumerate() {
            let refused = self.refused.0.get(n).map_or(FixedCounts::ZERO, |(_, r)| r.0);
            text += &format!(
                "trim {trim}: {:.2}\u{b0} from the low stop, {:+.4}, axis {}; the stops refused {refused} counts\n",
                position.degrees, position.normalized, position.axis,
            );
        }
        if self.losses.0.is_empty() {
            text += "no losses\n";
        }
        for (kind, number) in &self.losses.0 {
            text += &format!("losses {kind}: {number}\n");
        }
        text
    }
}
