//! The demo's picture of wheels and trims, as plain text of a fixed number of lines.

use crate::text::{signed, signed_count};
use tallywheel_units::{AxisValue, Counts, CountsPerTurn, Degrees, FixedCounts, Margin, Normalized};

/// What is drawn of one trim.
#[derive(Debug, Clone, Copy)]
pub(super) struct TrimPicture<'a> {
    /// The trim's name.
    pub(super) name: &'a str,
    /// The wheel's tally since the start.
    pub(super) counts: Counts,
    /// Counts one turn of the wheel makes.
    pub(super) per_turn: CountsPerTurn,
    /// Degrees from the low stop.
    pub(super) degrees: Degrees,
    /// Degrees from stop to stop.
    pub(super) travel: Degrees,
    /// Neutral, degrees from the low stop.
    pub(super) neutral: Degrees,
    /// The position about neutral.
    pub(super) normalized: Normalized,
    /// The axis value.
    pub(super) axis: AxisValue,
    /// How far the tally may be off.
    pub(super) margin: Margin,
    /// Counts refused by a stop.
    pub(super) refused: FixedCounts,
}

/// Columns of the scale between the stops.
const SCALE_COLUMNS: u32 = 37;

/// Three lines for one trim, of at most 60 columns where its name has at most nine characters: the scale between its
/// stops, the wheel with its numbers, and what is published.
#[must_use]
pub(super) fn trim(trim: &TrimPicture<'_>) -> [String; 3] {
    let doubt = match trim.margin {
        margin if margin.is_certain() => "certain".to_owned(),
        margin if margin.is_unknown() => "position unknown".to_owned(),
        margin => format!("margin {margin}"),
    };
    [
        format!(
            "  {:<9} \u{2523}{}\u{252b}  {}",
            trim.name,
            scale(trim.degrees, trim.travel, trim.neutral),
            signed(trim.normalized.get(), 4),
        ),
        format!(
            "    {} {:>5} turns  {:>5} counts  {:>6.1}\u{b0} of {:.0}\u{b0}",
            hand(trim.counts, trim.per_turn),
            signed(turns(trim.counts, trim.per_turn), 2),
            signed_count(trim.counts.get()),
            trim.degrees.get(),
            trim.travel.get(),
        ),
        format!("    axis {:>6}  past a stop {:>5.1}  {doubt}", trim.axis, trim.refused.to_f64()),
    ]
}

/// The scale between the stops, with neutral and where the trim is.
#[must_use]
pub fn scale(degrees: Degrees, travel: Degrees, neutral: Degrees) -> String {
    let here = column(degrees, travel);
    let neutral = column(neutral, travel);
    (0..SCALE_COLUMNS)
        .map(|n| match n {
            _ if n == here => '\u{25cf}',
            _ if n == neutral => '\u{253c}',
            _ => '\u{2500}',
        })
        .collect()
}

/// The column that stands for `degrees` on a scale of `travel`.
fn column(degrees: Degrees, travel: Degrees) -> u32 {
    let last = SCALE_COLUMNS - 1;
    let share = (degrees.get() / travel.get() * f64::from(last)).round();
    (0..=last).find(|n| f64::from(*n) >= share).unwrap_or(last)
}

/// A mark that turns with the wheel, an eighth of a turn at a time.
fn hand(counts: Counts, per_turn: CountsPerTurn) -> char {
    const MARKS: [char; 8] =
        ['\u{2191}', '\u{2197}', '\u{2192}', '\u{2198}', '\u{2193}', '\u{2199}', '\u{2190}', '\u{2196}'];
    let turn = i64::from(per_turn.get());
    let eighth = counts.get().rem_euclid(turn).saturating_mul(8) / turn;
    usize::try_from(eighth).ok().and_then(|n| MARKS.get(n)).copied().unwrap_or('\u{2191}')
}

#[expect(clippy::as_conversions, reason = "a demo's counts are far below 2^53")]
fn turns(counts: Counts, per_turn: CountsPerTurn) -> f64 {
    counts.get() as f64 / f64::from(per_turn.get())
}

#[cfg(test)]
mod tests {
    use super::*;
    use expect_test::{Expect, expect};

    fn check(counts: i64, degrees: f64, normalized: f64, margin: Margin, expected: &Expect) {
        let degrees = Degrees::new(degrees).unwrap();
        let picture = trim(&TrimPicture {
            name: "rudder",
            counts: Counts::new(counts),
            per_turn: CountsPerTurn::new(96).unwrap(),
            degrees,
            travel: Degrees::new(580.0).unwrap(),
            neutral: Degrees::new(320.0).unwrap(),
            normalized: Normalized::clamped(normalized),
            axis: AxisValue::clamped(-1234),
            margin,
            refused: FixedCounts::from_raw(7 << 19),
        });
        // The bar keeps the blanks in front, which `expect!` would take for indentation.
        expected.assert_eq(&picture.map(|line| format!("|{line}")).join("\n"));
    }

    #[test]
    fn the_mark_stands_at_the_ends_at_neutral_and_between() {
        check(
            0,
            0.0,
            -1.0,
            Margin::CERTAIN,
            &expect![[r#"
                |  rudder    ┣●───────────────────┼────────────────┫  -1.0000
                |    ↑  0.00 turns      0 counts     0.0° of 580°
                |    axis  -1234  past a stop   3.5  certain"#]],
        );
        check(
            -25,
            320.0,
            0.0,
            Margin::both(Counts::new(2)),
            &expect![[r#"
                |  rudder    ┣────────────────────●────────────────┫  0.0000
                |    ↙ -0.26 turns    -25 counts   320.0° of 580°
                |    axis  -1234  past a stop   3.5  margin -2..+2"#]],
        );
        check(
            180,
            580.0,
            1.0,
            Margin::UNKNOWN,
            &expect![[r#"
                |  rudder    ┣────────────────────┼───────────────●┫  +1.0000
                |    ↖ +1.88 turns   +180 counts   580.0° of 580°
                |    axis  -1234  past a stop   3.5  position unknown"#]],
        );
    }
}
