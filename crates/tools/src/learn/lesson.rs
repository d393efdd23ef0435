//! What a live session asks for, step by step. No I/O.

use super::session::{BRISK_TURNS, CLICKS, Mark, MarkKind, SLOW_TURNS};

/// What to do next, and what Enter then marks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Step {
    pub(super) ask: String,
    pub(super) marks: Option<MarkKind>,
    /// The step may be left out, with what follows, by typing "no".
    pub(super) optional: bool,
}

/// Every step, in order.
pub(super) fn steps() -> Vec<Step> {
    let turn = |ask: String| Step { ask, marks: Some(MarkKind::Turn), optional: false };
    let mut steps = vec![turn(
        "Put a mark on the wheel and one beside it, and set them to each other. Then press Enter.".to_owned(),
    )];
    for number in 0..SLOW_TURNS + BRISK_TURNS {
        let how = if number < SLOW_TURNS { "slowly, about four seconds long" } else { "briskly" };
        let way = if number % 2 == 0 { "forward (as for nose up, or right)" } else { "back" };
        let total = SLOW_TURNS + BRISK_TURNS;
        steps.push(turn(format!(
            "Turn {} of {total}: one whole turn {way}, {how}; wait a second at the mark. Then press Enter.",
            number + 1
        )));
    }
    for number in 0..CLICKS {
        steps.push(Step {
            ask: format!(
                "Click {} of {CLICKS}: on by one click, forward. Then press Enter{}.",
                number + 1,
                if number == 0 { ", or type no and Enter if the wheel does not click" } else { "" }
            ),
            marks: Some(MarkKind::Click),
            optional: number == 0,
        });
    }
    steps
}

/// Where a session is.
#[derive(Debug)]
pub(super) struct Lesson {
    steps: std::collections::VecDeque<Step>,
    pub(super) marks: Vec<Mark>,
}

impl Lesson {
    pub(super) fn new() -> Self {
        Self { steps: steps().into(), marks: Vec::new() }
    }

    /// What to ask for; `None` when all is done.
    pub(super) fn ask(&self) -> Option<&str> {
        self.steps.front().map(|step| step.ask.as_str())
    }

    /// The user typed `line` after so many reports.
    pub(super) fn typed(&mut self, line: &str, reports: usize) {
        let Some(step) = self.steps.pop_front() else { return };
        if step.optional && line.trim().eq_ignore_ascii_case("no") {
            self.steps.clear();
            return;
        }
        self.marks.extend(step.marks.map(|kind| Mark { after: reports, kind }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_session_is_thirteen_marks_and_eight_clicks() {
        let mut lesson = Lesson::new();
        let mut reports = 0;
        while lesson.ask().is_some() {
            lesson.typed("", reports);
            reports += 10;
        }
        let kinds = |kind| lesson.marks.iter().filter(|mark| mark.kind == kind).count();
        assert_eq!((kinds(MarkKind::Turn), kinds(MarkKind::Click)), (13, 8));
        assert_eq!(lesson.marks.last().map(|mark| mark.after), Some(200));
        lesson.typed("", 0);
        assert_eq!(lesson.marks.len(), 21);
    }

    #[test]
    fn a_wheel_that_does_not_click_ends_early() {
        let mut lesson = Lesson::new();
        for _ in 0..13 {
            lesson.typed("", 0);
        }
        assert!(lesson.ask().unwrap().contains("type no"));
        lesson.typed(" No\n", 0);
        assert_eq!((lesson.ask(), lesson.marks.len()), (None, 13));
    }
}
