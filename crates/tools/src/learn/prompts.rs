//! The prompts of a live session, in their order. No I/O.

use super::session::{BRISK_TURNS, CLICKS, SLOW_TURNS, SessionMark, SessionMarkKind};

/// One prompt, and the mark that Enter sets then.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Prompt {
    pub(super) ask: String,
    pub(super) marks: Option<SessionMarkKind>,
    /// The prompt may be left out, with what follows, by typing "no".
    pub(super) optional: bool,
}

/// Returns all prompts in their order.
pub(super) fn prompts() -> Vec<Prompt> {
    let turn = |ask: String| Prompt { ask, marks: Some(SessionMarkKind::Turn), optional: false };
    let mut prompts = vec![turn(
        "Put a mark on the wheel and one beside it, and set them to each other. Then press Enter.".to_owned(),
    )];
    for number in 0..SLOW_TURNS + BRISK_TURNS {
        let how = if number < SLOW_TURNS { "slowly, about four seconds long" } else { "briskly" };
        let way = if number % 2 == 0 { "forward (as for nose up, or right)" } else { "back" };
        let total = SLOW_TURNS + BRISK_TURNS;
        prompts.push(turn(format!(
            "Turn {} of {total}: one whole turn {way}, {how}; wait a second at the mark. Then press Enter.",
            number + 1
        )));
    }
    for number in 0..CLICKS {
        prompts.push(Prompt {
            ask: format!(
                "Click {} of {CLICKS}: on by one click, forward. Then press Enter{}.",
                number + 1,
                if number == 0 { ", or type no and Enter if the wheel does not click" } else { "" }
            ),
            marks: Some(SessionMarkKind::Click),
            optional: number == 0,
        });
    }
    prompts
}

/// The prompts that are left, and the marks set so far.
#[derive(Debug)]
pub(super) struct Prompts {
    prompts: std::collections::VecDeque<Prompt>,
    pub(super) marks: Vec<SessionMark>,
}

impl Prompts {
    pub(super) fn new() -> Self {
        Self { prompts: prompts().into(), marks: Vec::new() }
    }

    /// Returns the text of the next prompt; `None` when all is done.
    pub(super) fn ask(&self) -> Option<&str> {
        self.prompts.front().map(|prompt| prompt.ask.as_str())
    }

    /// Sets the mark of the prompt that is answered by `line` after so many `reports`.
    pub(super) fn typed(&mut self, line: &str, reports: usize) {
        let Some(prompt) = self.prompts.pop_front() else { return };
        if prompt.optional && line.trim().eq_ignore_ascii_case("no") {
            self.prompts.clear();
            return;
        }
        self.marks.extend(prompt.marks.map(|kind| SessionMark { after: reports, kind }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_session_is_thirteen_marks_and_eight_clicks() {
        let mut prompts = Prompts::new();
        let mut reports = 0;
        while prompts.ask().is_some() {
            prompts.typed("", reports);
            reports += 10;
        }
        let kinds = |kind| prompts.marks.iter().filter(|mark| mark.kind == kind).count();
        assert_eq!((kinds(SessionMarkKind::Turn), kinds(SessionMarkKind::Click)), (13, 8));
        assert_eq!(prompts.marks.last().map(|mark| mark.after), Some(200));
        prompts.typed("", 0);
        assert_eq!(prompts.marks.len(), 21);
    }

    #[test]
    fn a_wheel_that_does_not_click_ends_early() {
        let mut prompts = Prompts::new();
        for _ in 0..13 {
            prompts.typed("", 0);
        }
        assert!(prompts.ask().unwrap().contains("type no"));
        prompts.typed(" No\n", 0);
        assert_eq!((prompts.ask(), prompts.marks.len()), (None, 13));
    }
}
