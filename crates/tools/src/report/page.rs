//! The page: one file, no script, nothing from elsewhere.

use super::columns::coarser;
use super::facts::{BoardSummary, COLUMNS, LocatedLoss, ReportFacts, TrimSummary, WheelSummary};
use super::html::escape;
use super::limit::limit;
use super::plot;
use super::traces::Trace;
use super::verdict::{Confidence, bound, degrees, grouped, plural, verdict};
use std::fmt::Write as _;
use std::time::Duration;
use tallywheel_engine::failure::Failure;
use tallywheel_profile::WheelInputs;
use tallywheel_units::Timestamp;

/// How many columns of the wide plot are one of the narrow plot.
const NARROWER: usize = 3;

/// Where the facts are from, for the page's head and foot.
#[derive(Debug, Clone)]
pub struct ReportSources {
    /// What was recorded: a file or the last hour.
    pub recording: String,
    /// The rig file.
    pub rig: String,
    /// The aircraft file.
    pub aircraft: String,
}

/// Writes the whole page.
///
/// # Errors
/// If a plot cannot be drawn.
pub fn page(facts: &ReportFacts, traces: &[Trace], origin: &ReportSources) -> Result<String, Failure> {
    let mut html = String::new();
    head(&mut html, facts, origin);
    summary(&mut html, facts);
    positions(&mut html, facts)?;
    losses(&mut html, facts);
    trace_cards(&mut html, facts, traces)?;
    intervals(&mut html, facts)?;
    wheels(&mut html, facts);
    foot(&mut html, facts, origin);
    Ok(html)
}

/// Adds to the page. Writing to a string cannot fail.
macro_rules! put {
    ($html:expr, $($what:tt)*) => { let _ = writeln!($html, $($what)*); };
}

fn head(html: &mut String, facts: &ReportFacts, origin: &ReportSources) {
    let css = include_str!("page.css");
    put!(
        html,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<link rel=\"icon\" href=\"data:,\">\n\
         <title>Tallywheel report: {}</title>\n<style>\n{css}</style>\n</head>\n<body>\n<main>",
        escape(&origin.recording),
    );
    put!(
        html,
        "<h1>Tallywheel report \u{b7} {} \u{b7} rig {}, flying {}</h1>",
        escape(&origin.recording),
        escape(&facts.rig),
        escape(&facts.aircraft),
    );
}

fn summary(html: &mut String, facts: &ReportFacts) {
    let verdict = verdict(facts);
    let (class, heading) = match verdict.confidence {
        Confidence::Nothing => ("nothing", "\u{2013} Nothing to judge"),
        Confidence::Certain => ("certain", "\u{2713} Every count accounted for"),
        Confidence::Doubtful => ("doubtful", "! In doubt"),
        Confidence::Unknown => ("unknown", "\u{2715} Position unknown"),
    };
    put!(
        html,
        "<section class=\"verdict {class}\" aria-labelledby=\"verdict\">\n<h2 id=\"verdict\">{heading}</h2>\n\
         <p>{}</p>\n<p><strong>{}</strong></p>\n</section>",
        escape(&verdict.finding),
        escape(&verdict.advice),
    );
    let lasted = facts.end.since(facts.begin);
    put!(
        html,
        "<ul class=\"facts\">\n<li>{} long</li>\n<li>{}</li>\n<li>{}</li>",
        span(lasted),
        plural(facts.reports, "report"),
        plural(facts.loss_number(), "loss"),
    );
    if facts.bad_lines > 0 {
        let lines = u64::try_from(facts.bad_lines).unwrap_or(u64::MAX);
        put!(html, "<li>{} of the recording could not be read</li>", plural(lines, "line"));
    }
    put!(html, "</ul>");
    for gap in &facts.gaps {
        put!(
            html,
            "<p><strong>The recording has a gap at {}:</strong> {} not written down, since too much happened at \
             once. The running program counted them; this report cannot, so from there on it knows nothing of the \
             position until a stop tells.</p>",
            clock(gap.at, facts.end),
            if gap.reports == 1 {
                "1 report was".to_owned()
            } else {
                format!("{} reports were", grouped(gap.reports))
            },
        );
    }
}

fn positions(html: &mut String, facts: &ReportFacts) -> Result<(), Failure> {
    put!(html, "<h2>Position over time</h2>");
    put!(
        html,
        "<p class=\"soft\"><span class=\"key line\"></span>position between the stops \
         <span class=\"key band\"></span>margin: where it may be instead \
         <span class=\"tri\">\u{25bc}</span> loss</p>"
    );
    for (place, trim) in facts.trims.iter().enumerate() {
        let span = (facts.begin, facts.end);
        let wide =
            plot::position::position(&format!("p{place}w"), plot::position::WIDE, trim, &trim.columns, span)?;
        let columns = coarser(&trim.columns, NARROWER);
        let narrow =
            plot::position::position(&format!("p{place}n"), plot::position::NARROW, trim, &columns, span)?;
        put!(
            html,
            "<figure>\n<figcaption><h3>{}</h3>ended at {:.1}\u{b0} of {:.0}\u{b0} ({}), {}; neutral is at \
             {:.0}\u{b0}</figcaption>\n<div class=\"wide\">{wide}</div>\n<div class=\"narrow\">{narrow}</div>\n</figure>",
            escape(&trim.name),
            trim.degrees,
            trim.travel,
            ratio(trim.normalized),
            doubt(trim),
            trim.neutral,
        );
    }
    let lasted = facts.end.since(facts.begin).as_secs_f64();
    let column = lasted / u32::try_from(COLUMNS).map_or(1.0, f64::from);
    put!(
        html,
        "<p class=\"soft\">Each of the {COLUMNS} columns of a plot shows the extremes of {}, so that no peak is \
         hidden. The time is the recording\u{2019}s own, as in the log.</p>",
        if column < 1.0 { format!("{:.0} ms", column * 1e3) } else { format!("{column:.1} s") }
    );
    Ok(())
}

fn losses(html: &mut String, facts: &ReportFacts) {
    put!(html, "<h2 id=\"losses\">Losses</h2>");
    if facts.lost.is_empty() {
        put!(html, "<p>None: nothing in the reports points to a missing count.</p>");
        return;
    }
    put!(
        html,
        "<table class=\"stack short\">\n<caption>What to do, by kind, the most frequent first</caption>\n<thead><tr>\
         <th scope=\"col\">Kind</th><th scope=\"col\" class=\"n\">How often</th><th scope=\"col\">Fault</th>\
         <th scope=\"col\">Likely cause</th><th scope=\"col\">What to do</th></tr></thead>\n<tbody>"
    );
    let mut kinds: Vec<_> = facts.losses.iter().collect();
    kinds.sort_by_key(|(_, sum)| std::cmp::Reverse(sum.number));
    for (kind, sum) in kinds {
        put!(
            html,
            "<tr><th scope=\"row\" class=\"b\">{}</th><td class=\"n\" data-h=\"How often\">{}</td><td class=\"b\" data-h=\"Fault\">{}</td>\
             <td data-h=\"Likely cause\">{}</td><td data-h=\"What to do\">{}</td></tr>",
            kind.name(),
            grouped(sum.number),
            kind.fault().name(),
            escape(&sentence(kind.cause())),
            escape(&sentence(kind.advice())),
        );
    }
    put!(html, "</tbody>\n</table>");

    let shown = u64::try_from(facts.lost.len()).unwrap_or(u64::MAX);
    let caption = if shown == facts.loss_number() {
        "Each loss: when it was found, how sure that is, and by how much it may have put the tally off"
            .to_owned()
    } else {
        format!(
            "{} of {} losses: the first ones, and the first of every kind on every wheel",
            grouped(shown),
            grouped(facts.loss_number())
        )
    };
    put!(
        html,
        "<table class=\"stack\">\n<caption>{caption}</caption>\n<thead><tr><th scope=\"col\">Loss</th>\
         <th scope=\"col\" class=\"n\">Time</th><th scope=\"col\">Wheel</th><th scope=\"col\">Kind</th>\
         <th scope=\"col\">Certainty</th><th scope=\"col\">Bound</th><th scope=\"col\">Evidence</th></tr></thead>\n<tbody>"
    );
    for (place, lost) in facts.lost.iter().enumerate() {
        let wheel = facts.wheels.get(lost.wheel.get());
        put!(
            html,
            "<tr id=\"loss-{0}\"><th scope=\"row\">{0}</th><td class=\"n\" data-h=\"Time\">{1}</td>\
             <td data-h=\"Wheel\">{2}</td><td class=\"b\" data-h=\"Kind\">{3}</td><td data-h=\"Certainty\">{4}</td>\
             <td class=\"b\" data-h=\"Bound\">{5}</td><td data-h=\"Evidence\">{6}</td></tr>",
            place + 1,
            clock(lost.loss.at, facts.end),
            escape(wheel.map_or("?", |wheel| &wheel.name)),
            lost.loss.kind.name(),
            lost.loss.certainty.name(),
            cost(lost),
            evidence(lost),
        );
    }
    put!(html, "</tbody>\n</table>");
}

fn cost(lost: &LocatedLoss) -> String {
    match lost.loss.measured() {
        Some(counts) => format!("{} measured, put right", signed(counts.get())),
        None => bound(lost.loss.bound),
    }
}

fn evidence(lost: &LocatedLoss) -> String {
    let reports = match lost.loss.reports {
        0 => "no report".to_owned(),
        number => plural(u64::from(number), "report"),
    };
    if lost.loss.lasted.is_zero() {
        return reports;
    }
    format!("{reports} in {}", span(lost.loss.lasted))
}

fn trace_cards(html: &mut String, facts: &ReportFacts, traces: &[Trace]) -> Result<(), Failure> {
    if traces.is_empty() {
        return Ok(());
    }
    put!(html, "<h2>Inputs around each loss</h2>");
    let more = facts.loss_number().saturating_sub(u64::try_from(traces.len()).unwrap_or(u64::MAX));
    put!(
        html,
        "<p class=\"soft\">High is pressed, the ticks below are the reports, the dashed line is the loss.{}</p>",
        if more > 0 {
            format!(
                " Shown are {}, the first of each kind on each wheel among them; {more} more are not drawn.",
                traces.len(),
                more = grouped(more)
            )
        } else {
            String::new()
        }
    );
    put!(html, "<div class=\"cards\">");
    for trace in traces {
        let Some(wheel) = facts.wheels.get(trace.lost.wheel.get()) else { continue };
        let svg = plot::trace::trace(&format!("t{}", trace.place), trace, wheel)?;
        put!(
            html,
            "<figure>\n<figcaption><h3>Loss {}: {}, {}</h3>at {}, {}, {}</figcaption>\n{svg}</figure>",
            trace.place + 1,
            escape(&wheel.name),
            trace.lost.loss.kind.name(),
            clock(trace.lost.loss.at, facts.end),
            trace.lost.loss.certainty.name(),
            cost(&trace.lost),
        );
    }
    put!(html, "</div>");
    Ok(())
}

fn intervals(html: &mut String, facts: &ReportFacts) -> Result<(), Failure> {
    let shown: Vec<_> =
        facts.wheels.iter().enumerate().filter(|(_, wheel)| wheel.intervals.number() > 0).collect();
    if shown.is_empty() {
        return Ok(());
    }
    put!(html, "<h2>Speed against the boards\u{2019} limits</h2>");
    put!(
        html,
        "<p class=\"soft\">How often the time between two counts in one direction was so long. Bars near the \
         dashed limit mean turning as fast as the board can tell; beyond it counts get lost.</p>\n<div class=\"cards\">"
    );
    for (place, wheel) in shown {
        let board = facts.boards.get(wheel.board.get());
        let limit = board.and_then(|board| limit(wheel, board));
        let svg = plot::intervals::intervals(&format!("i{place}"), wheel, limit.as_ref())?;
        put!(
            html,
            "<figure>\n<figcaption><h3>{}, {}</h3>{}{}</figcaption>\n{svg}</figure>",
            escape(&wheel.name),
            wiring(wheel),
            wheel.intervals.shortest().map_or(String::new(), |s| format!("Shortest {}", span(s))),
            limit.map_or_else(
                || ". No limit is known: give the board\u{2019}s report interval in the rig file.".to_owned(),
                |limit| format!(", limit {:.1} ms. {}", limit.ms(), escape(&limit.origin))
            ),
        );
    }
    put!(html, "</div>");
    Ok(())
}

fn wheels(html: &mut String, facts: &ReportFacts) {
    put!(
        html,
        "<h2>Wheels and trims</h2>\n<table class=\"stack short\">\n<caption>What each wheel counted. The margin is how far the \
         counts may be off since the beginning of the recording.</caption>\n<thead><tr><th scope=\"col\">Wheel</th>\
         <th scope=\"col\">Inputs</th><th scope=\"col\" class=\"n\">Counts</th><th scope=\"col\" class=\"n\">Turned</th>\
         <th scope=\"col\" class=\"n\">Losses</th><th scope=\"col\">Margin</th></tr></thead>\n<tbody>"
    );
    for wheel in &facts.wheels {
        let board = facts.boards.get(wheel.board.get()).map_or("?", |board| &board.name);
        put!(
            html,
            "<tr><th scope=\"row\">{}</th><td data-h=\"Inputs\">{} on board {}{}</td><td class=\"n\" data-h=\"Counts\">{}</td>\
             <td class=\"n\" data-h=\"Turned\">{}</td><td class=\"n\" data-h=\"Losses\">{}</td><td class=\"b\" data-h=\"Margin\">{}</td></tr>",
            escape(&wheel.name),
            wiring(wheel),
            escape(board),
            if wheel.recorded { "" } else { " (not recorded)" },
            signed(wheel.counts.get()),
            grouped(wheel.turned.get().unsigned_abs()),
            grouped(wheel.losses),
            if wheel.margin.is_certain() { "certain".to_owned() } else { bound(wheel.margin) },
        );
    }
    put!(
        html,
        "</tbody>\n</table>\n<table class=\"stack short\">\n<caption>Where each trim ended. A stop that the wheel was turned \
         against can settle a doubt, so a trim may be surer than its wheel.</caption>\n<thead><tr><th scope=\"col\">Trim</th>\
         <th scope=\"col\">Wheel</th><th scope=\"col\" class=\"n\">Position</th><th scope=\"col\" class=\"n\">Of neutral</th>\
         <th scope=\"col\" class=\"n\">Axis</th><th scope=\"col\" class=\"n\">Moved it</th>\
         <th scope=\"col\" class=\"n\">Stops refused</th><th scope=\"col\">Margin</th></tr></thead>\n<tbody>"
    );
    for trim in &facts.trims {
        let wheel = facts.wheels.get(trim.wheel.get()).map_or("?", |wheel| &wheel.name);
        put!(
            html,
            "<tr><th scope=\"row\">{}</th><td data-h=\"Wheel\">{}</td><td class=\"n\" data-h=\"Position\">{:.1}\u{b0} of {:.0}\u{b0}</td>\
             <td class=\"n\" data-h=\"Of neutral\">{}</td><td class=\"n\" data-h=\"Axis\">{}</td>\
             <td class=\"n\" data-h=\"Moved it\">{}</td><td class=\"n\" data-h=\"Stops refused\">{:.1}</td><td data-h=\"Margin\">{}</td></tr>",
            escape(&trim.name),
            escape(wheel),
            trim.degrees,
            trim.travel,
            ratio(trim.normalized),
            format!("{:+}", trim.axis).replace('-', "\u{2212}"),
            format!("{:+.1}", trim.applied.to_f64()).replace('-', "\u{2212}"),
            trim.refused.to_f64(),
            doubt(trim),
        );
    }
    put!(html, "</tbody>\n</table>");
}

fn foot(html: &mut String, facts: &ReportFacts, origin: &ReportSources) {
    put!(html, "</main>\n<footer>");
    for BoardSummary { name, device, reports, report_interval, shortest } in &facts.boards {
        let Some(device) = device else {
            put!(html, "<p>Board {}: not in this recording.</p>", escape(name));
            continue;
        };
        put!(
            html,
            "<p>Board {}, recorded as \u{201c}{}\u{201d}: {}{}{}.</p>",
            escape(name),
            escape(device),
            plural(*reports, "report"),
            report_interval.map_or(String::new(), |t| format!(", every {} by the rig file", span(t))),
            shortest.map_or(String::new(), |t| format!(", the shortest time between two was {}", span(t))),
        );
    }
    put!(
        html,
        "<p>Made by Tallywheel {} from {}, {} and {}.</p>\n<p>For simulators only, never for real aircraft.</p>\n\
         </footer>\n</body>\n</html>",
        env!("CARGO_PKG_VERSION"),
        escape(&origin.recording),
        escape(&origin.rig),
        escape(&origin.aircraft),
    );
}

fn doubt(trim: &TrimSummary) -> String {
    match trim.margin {
        margin if margin.is_certain() => "certain".to_owned(),
        margin if margin.is_unknown() => "margin unknown".to_owned(),
        margin => format!("{} ({})", bound(margin), degrees(margin, trim.count)),
    }
}

fn wiring(wheel: &WheelSummary) -> String {
    let [one, two] = wheel.inputs.buttons();
    let lines = match wheel.inputs {
        WheelInputs::Pulses { .. } => format!("pulses on buttons {one} and {two}"),
        WheelInputs::Quadrature { per_cycle, .. } => {
            format!("quadrature x{} on buttons {one} and {two}", per_cycle.get())
        }
    };
    wheel.index.map_or(lines.clone(), |index| format!("{lines}, index mark on button {index}"))
}

fn signed(number: i64) -> String {
    let sign = match number {
        0 => "",
        1.. => "+",
        _ => "\u{2212}",
    };
    format!("{sign}{}", grouped(number.unsigned_abs()))
}

fn ratio(ratio: f64) -> String {
    format!("{ratio:+.4}").replace('-', "\u{2212}")
}

fn sentence(clause: &str) -> String {
    let mut letters = clause.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A moment as the log and `replay` write it, and in hours and minutes where that takes less counting.
fn clock(at: Timestamp, end: Timestamp) -> String {
    let seconds = format!("{:.3} s", at.seconds());
    if end.seconds() < 180.0 {
        return seconds;
    }
    let whole = at.micros() / 1_000_000;
    let (hours, minutes, rest) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 {
        format!("{seconds} ({hours}:{minutes:02}:{rest:02})")
    } else {
        format!("{seconds} ({minutes}:{rest:02})")
    }
}

/// A length of time.
fn span(span: Duration) -> String {
    let seconds = span.as_secs_f64();
    if seconds < 1.0 {
        format!("{:.1} ms", seconds * 1e3)
    } else if seconds < 180.0 {
        format!("{seconds:.1} s")
    } else if seconds < 7200.0 {
        format!("{:.1} min", seconds / 60.0)
    } else {
        format!("{:.1} h", seconds / 3600.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_read_as_in_the_log_and_with_their_hours() {
        let at = Timestamp::from_micros(3_723_004_000);
        assert_eq!(clock(at, at), "3723.004 s (1:02:03)");
        assert_eq!(clock(Timestamp::from_micros(5_000), Timestamp::from_micros(9_000_000)), "0.005 s");
        assert_eq!(span(Duration::from_micros(4_000)), "4.0 ms");
        assert_eq!(span(Duration::from_secs(3600)), "60.0 min");
    }
}
