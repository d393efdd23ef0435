//! `tallywheel report`: one page that holds all it should, whatever the recording and its names are.
//! How it looks and behaves in a browser is tested in `tests/browser`.
//!
//! `UPDATE_GOLDEN=1` writes the golden page anew; look at it before you commit it.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

use std::fmt::Write as _;
use tallywheel_tests::{Folder, Ran, run, top};

const RIG: &str = "config/rig.toml";
const AIRCRAFT: &str = "config/aircraft/kettrin-2-floatplane.toml";
const DEMO: &str = "tests/recordings/demo.hid";

fn report(recording: &str) -> Ran {
    run(&["report", recording, "--rig", RIG, "--aircraft", AIRCRAFT])
}

fn page(recording: &str) -> String {
    let ran = report(recording);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    well_formed(&ran.out);
    ran.out
}

/// Every tag is closed in its turn, ids are unique, and nothing is fetched or run.
fn well_formed(page: &str) {
    const VOID: [&str; 3] = ["meta", "link", "br"];
    assert!(page.starts_with("<!DOCTYPE html>\n"));
    let (style, rest) = page.split_once("</style>").unwrap();
    let body = format!("{}</style>{rest}", style.split_once("<style>").unwrap().0.to_owned() + "<style>");
    let mut open = Vec::new();
    for tag in body.split('<').skip(2).map(|tag| tag.split_once('>').unwrap().0) {
        let name = tag.split([' ', '/']).next().unwrap();
        if let Some(closed) = tag.strip_prefix('/') {
            assert_eq!(open.pop(), Some(closed), "</{closed}>");
        } else if !tag.ends_with('/') && !VOID.contains(&name) {
            open.push(name);
        }
    }
    assert!(open.is_empty(), "{open:?}");
    let mut ids: Vec<_> = body.split(" id=\"").skip(1).map(|id| id.split('"').next().unwrap()).collect();
    let number = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), number, "an id is used twice");
    for never in ["<script", "http:", "https:", "url(", "@import", "src=", "onload", "javascript:"] {
        assert!(!page.to_lowercase().contains(never), "{never}");
    }
    for always in ["name=\"viewport\"", "prefers-color-scheme:dark", "@media print", "For simulators only"] {
        assert!(page.contains(always), "{always}");
    }
}

fn count(page: &str, part: &str) -> usize {
    page.matches(part).count()
}

#[test]
fn the_demos_page_is_the_golden_one() {
    let page = page(DEMO);
    let golden = top().join("tests/golden/demo-report.html");
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::write(&golden, &page).unwrap();
    }
    let expected = std::fs::read_to_string(&golden).unwrap();
    let different = page.lines().zip(expected.lines()).position(|(seen, golden)| seen != golden);
    assert!(page == expected, "first difference in line {different:?}");
}

/// Against the summary that `replay --json` gives of the same recording.
#[test]
fn the_page_says_what_replay_says() {
    let page = page(DEMO);
    let ran = run(&["replay", DEMO, "--rig", RIG, "--aircraft", AIRCRAFT, "--json"]);
    let summary: serde_json::Value = serde_json::from_str(ran.out.lines().last().unwrap()).unwrap();
    for trim in ["rudder", "elevator"] {
        let position = &summary["position"][trim];
        let degrees = position["degrees"].as_f64().unwrap();
        assert!(page.contains(&format!("<h3>{trim}</h3>ended at {degrees:.1}\u{b0}")), "{trim}");
        let axis = format!("{:+}", position["axis"].as_i64().unwrap()).replace('-', "\u{2212}");
        assert!(page.contains(&axis), "{trim}: axis {axis}");
    }
    let losses: u64 =
        summary["losses"].as_object().unwrap().values().filter_map(serde_json::Value::as_u64).sum();
    assert_eq!(count(&page, "<tr id=\"loss-"), usize::try_from(losses).unwrap());
    for kind in summary["losses"].as_object().unwrap().keys() {
        assert!(page.contains(kind), "{kind}");
    }
    let lost = ran.out.lines().find(|line| line.contains("\"kind\"")).unwrap();
    let lost: serde_json::Value = serde_json::from_str(lost).unwrap();
    for (key, of) in [("cause", "Likely cause"), ("cure", "Cure")] {
        let text = lost[key].as_str().unwrap();
        assert!(
            page.contains(&format!("data-h=\"{of}\">{}{}", text[..1].to_uppercase(), &text[1..])),
            "{key}"
        );
    }
    assert!(page.contains(&format!("{:.3} s", lost["time_us"].as_f64().unwrap() / 1e6)));
}

#[test]
fn it_writes_the_file_that_it_is_told() {
    let folder = Folder::new("reportfile");
    let file = format!("{}/page.html", folder.arg());
    let ran = run(&["report", DEMO, "--rig", RIG, "--aircraft", AIRCRAFT, "-o", &file]);
    assert_eq!((ran.code, ran.out.as_str(), ran.err.as_str()), (Some(0), "", ""));
    assert_eq!(std::fs::read_to_string(&file).unwrap(), page(DEMO));
    let file = format!("{}/no/such/folder.html", folder.arg());
    let ran = run(&["report", DEMO, "--rig", RIG, "--aircraft", AIRCRAFT, "-o", &file]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.err.contains("folder.html: "), "{}", ran.err);
}

/// Whatever stands in a name stands in the page as text.
#[test]
fn names_are_never_markup() {
    let folder = Folder::new("escape");
    let evil = "<script>alert(1)</script>&\\\"'<img src=x onerror=alert(1)>";
    let name = "</style></svg><script>alert(2)</script>";
    let rig = std::fs::read_to_string(top().join(RIG)).unwrap();
    let rig = rig
        .replace("\"bench\"", &format!("\"{evil}\""))
        .replace("name = \"main\"", &format!("name = \"b{evil}\""));
    let rig = rig.replace("name = \"rudder\"", &format!("name = \"w{name}\""));
    folder.write("rig.toml", &rig);
    let aircraft = format!(
        "name = \"a{evil}\"\n[[trim]]\nname = \"t{name}\"\nwheel = \"w{name}\"\ntravel_degrees = 580\n"
    );
    folder.write("aircraft.toml", &aircraft);
    let demo = std::fs::read_to_string(top().join(DEMO)).unwrap();
    let demo = demo.replace("N: Bench board", "N: <script>alert(3)</script>\u{202e}");
    folder.write("<b>.hid", &demo);
    let path = |file: &str| format!("{}/{file}", folder.arg());
    let ran =
        run(&["report", &path("<b>.hid"), "--rig", &path("rig.toml"), "--aircraft", &path("aircraft.toml")]);
    // A name that the files refuse is no name in a page either.
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{}", ran.err);
    let allowed = ran.out.replace("&lt;img src=x onerror=", "").replace("&lt;", "").to_lowercase();
    assert!(!allowed.contains("<script") && !allowed.contains("<img") && !allowed.contains("<b>"));
    assert_eq!(count(&ran.out, "</style>"), 1);
    assert!(
        count(&ran.out, "&lt;script&gt;alert(2)&lt;/script&gt;") >= 3,
        "the trim's name is there as text"
    );
    assert!(ran.out.contains("&lt;script&gt;alert(3)"), "the board's name is there as text");
}

#[test]
fn a_recording_of_nothing_has_a_page_that_says_so() {
    let folder = Folder::new("emptyreport");
    let demo = std::fs::read_to_string(top().join(DEMO)).unwrap();
    let head: String =
        demo.lines().filter(|line| !line.starts_with("E:")).map(|line| format!("{line}\n")).collect();
    folder.write("empty.hid", &head);
    let one = demo.lines().find(|line| line.starts_with("E:")).unwrap();
    folder.write("one.hid", &format!("{head}{one}\n"));
    for file in ["empty.hid", "one.hid"] {
        let page = page(&format!("{}/{file}", folder.arg()));
        assert!(page.contains("Nothing to judge") && page.contains("no wheel moved"), "{file}");
        assert!(page.contains("<p>None: nothing in the reports"), "{file}");
        assert!(page.contains("Position of rudder over time"), "{file}");
    }
}

/// Both lines at once out of rest, some ten times a second for twelve minutes, and to no beat that a turning wheel could have: the page stays small and says what it leaves out.
#[test]
fn thousands_of_losses_fit_in_a_small_page() {
    let folder = Folder::new("manylosses");
    let demo = std::fs::read_to_string(top().join(DEMO)).unwrap();
    let mut text: String =
        demo.lines().filter(|line| !line.starts_with("E:")).map(|line| format!("{line}\n")).collect();
    for n in 0..7_500_u64 {
        let micros = n * 100_000 + n * n * 7919 % 23 * 4000;
        let lines = if n % 2 == 0 { "00" } else { "03" };
        writeln!(text, "E: {:06}.{:06} 4 {lines} 00 00 00", micros / 1_000_000, micros % 1_000_000).unwrap();
    }
    // At the end of it all, a loss of another kind: a report that is too short.
    text += "E: 000761.000000 1 00\nE: 000761.500000 4 00 00 00 00\n";
    folder.write("many.hid", &text);
    let page = page(&format!("{}/many.hid", folder.arg()));
    assert!(page.len() < 400_000, "{} bytes", page.len());
    assert!(page.contains("103 of 7503 losses: the first ones"), "the table says that it is cut");
    let traces = count(&page, "<h3>Loss ");
    assert!((2..=12).contains(&traces), "{traces} traces");
    assert!(page.contains("more are not drawn"));
    assert!(page.contains("<h3>Loss 101: rudder, bad-report</h3>"), "the rare kind has its trace");
}

#[test]
fn an_unplugged_board_and_a_gap_are_told() {
    let folder = Folder::new("marks");
    let demo = std::fs::read_to_string(top().join(DEMO)).unwrap();
    let lines: Vec<_> = demo.lines().collect();
    let mark = |mark: &str| {
        let mut lines = lines.clone();
        lines.push(mark);
        lines.join("\n")
    };
    folder.write("gone.hid", &mark("# unplugged 000015.000000"));
    folder.write("gap.hid", &mark("# gap 000015.000000 1234"));
    let gone = page(&format!("{}/gone.hid", folder.arg()));
    assert!(gone.contains("Position unknown") && gone.contains("board-gone"));
    assert!(gone.contains("First plug it in again"), "the worst comes first");
    let gap = page(&format!("{}/gap.hid", folder.arg()));
    assert!(
        gap.contains("The recording has a gap at 15.000 s") && gap.contains("1234 reports were not written")
    );
    assert!(!gap.contains("board-gone"));
}

#[test]
fn what_is_missing_on_the_command_line_is_named() {
    let ran = run(&["report"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.contains("--rig"), "{}", ran.err);
    let ran = run(&["report", DEMO, "--last-hour"]);
    assert_eq!(ran.code, Some(2));
    let folder = Folder::new("nohour");
    folder.write("rig.toml", &std::fs::read_to_string(top().join(RIG)).unwrap());
    folder.write("aircraft/kettrin.toml", &std::fs::read_to_string(top().join(AIRCRAFT)).unwrap());
    let ran = run(&["report", "--last-hour", "--config", folder.arg(), "--log-dir", folder.arg()]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.err.contains("there is no last hour in"), "{}", ran.err);
}

/// As a daemon leaves it: the segments of a board in a folder beside the log.
#[test]
fn the_last_hour_has_a_page() {
    let folder = Folder::new("lasthour");
    folder.write("rig.toml", &std::fs::read_to_string(top().join(RIG)).unwrap());
    folder.write("aircraft/kettrin.toml", &std::fs::read_to_string(top().join(AIRCRAFT)).unwrap());
    let demo = std::fs::read_to_string(top().join(DEMO)).unwrap();
    folder.write("log/last-hour/0-000000.hid", &demo.replacen("\nE:", "\n# position 0 100 0 0\nE:", 1));
    let log = format!("{}/log", folder.arg());
    let ran =
        run(&["report", "--last-hour", "--config", folder.arg(), "--log-dir", &log, "--aircraft", "kettrin"]);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    well_formed(&ran.out);
    assert!(ran.out.contains("Tallywheel report \u{b7} the last hour"));
    // With 100 degrees for a start the low stop refuses some of what it takes from neutral.
    assert!(ran.out.contains("<h3>rudder</h3>ended at "), "the rudder started at 100 degrees");
    assert!(!ran.out.contains("<h3>rudder</h3>ended at 305.0"), "not at neutral");
}
