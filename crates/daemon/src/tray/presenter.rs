//! Decides when the tray's view changes. No I/O and no clock.

use super::icon::{IconSlot, IconState, SLOTS_MAX, TravelStep};
use super::menu::{self, MenuEntry};
use super::snapshot::TraySnapshot;
use std::time::Duration;
use tallywheel_units::Timestamp;

/// The least time between two updates: ten pictures a second are as live as an icon needs to be.
pub const UPDATE_INTERVAL: Duration = Duration::from_millis(100);

/// Everything that a host shows. Equal views look equal.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TrayView {
    /// What the icon shows.
    pub icon_state: IconState,
    /// The menu.
    pub menu: Vec<MenuEntry>,
    /// The tool tip, a line for each fact.
    pub tool_tip: String,
}

/// Makes views of snapshots; it remembers the view that is shown and which losses the user has seen.
#[derive(Debug, Default)]
pub struct Presenter {
    shown: Option<TrayView>,
    losses: u64,
    seen_losses: u64,
    updated: Option<Timestamp>,
    due: Option<Timestamp>,
}

impl Presenter {
    /// Tells whether [`Self::update`] may be called at `now`; if not, [`Self::deadline`] says when.
    pub fn is_due(&mut self, now: Timestamp) -> bool {
        let next = self.updated.map_or(Timestamp::START, |updated| updated.after(UPDATE_INTERVAL));
        self.due = (next > now).then_some(next);
        self.due.is_none()
    }

    /// When an update that came too early is due; `None` while nothing waits to be shown.
    #[must_use]
    pub const fn deadline(&self) -> Option<Timestamp> {
        self.due
    }

    /// Makes the view of a snapshot and returns it if it differs from the one that is shown.
    pub fn update(&mut self, now: Timestamp, snapshot: &TraySnapshot) -> Option<TrayView> {
        self.updated = Some(now);
        self.losses = snapshot.losses;
        let marked = self.is_marked(snapshot);
        let view = TrayView {
            icon_state: icon_state(snapshot, marked),
            menu: menu::menu(snapshot, marked),
            tool_tip: menu::tool_tip(snapshot),
        };
        if self.shown.as_ref() == Some(&view) {
            return None;
        }
        self.shown = Some(view.clone());
        Some(view)
    }

    /// Clears the mark: the user has seen the losses so far.
    pub const fn clear_mark(&mut self) {
        self.seen_losses = self.losses;
    }

    /// Tells whether the icon bears the mark for losses. A position that is certain again, by an alignment or by a stop,
    /// needs none.
    fn is_marked(&self, snapshot: &TraySnapshot) -> bool {
        snapshot.losses > self.seen_losses && snapshot.trims.iter().any(|trim| !trim.margin.is_certain())
    }
}

fn icon_state(snapshot: &TraySnapshot, lost: bool) -> IconState {
    let slots = snapshot.trims.iter().take(SLOTS_MAX).map(|trim| {
        let step = |degrees: tallywheel_units::Degrees| TravelStep::of(degrees.get(), trim.travel.get());
        IconSlot {
            position: step(trim.degrees),
            neutral: step(trim.neutral),
            disconnected: trim.disconnected,
        }
    });
    IconState { slots: slots.collect(), lost, held: snapshot.held }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tray::snapshot::TrayTrim;
    use tallywheel_units::{Counts, Degrees, Margin, Normalized};

    fn snapshot(degrees: f64, margin: Margin, losses: u64) -> TraySnapshot {
        let trim = TrayTrim {
            name: "rudder".to_owned(),
            degrees: Degrees::new(degrees).unwrap(),
            travel: Degrees::new(460.0).unwrap(),
            neutral: Degrees::new(230.0).unwrap(),
            normalized: Normalized::clamped((degrees - 230.0) / 230.0),
            margin,
            disconnected: false,
            positions: Vec::new(),
        };
        TraySnapshot {
            aircraft: "Kettrin 2 floatplane".to_owned(),
            all_aircraft: Vec::new(),
            trims: vec![trim],
            disconnected_boards: Vec::new(),
            losses,
            held: false,
        }
    }

    #[test]
    fn the_same_snapshot_is_shown_once() {
        let mut presenter = Presenter::default();
        let at = Timestamp::from_micros;
        let mut look = |now, degrees| presenter.update(at(now), &snapshot(degrees, Margin::CERTAIN, 0));
        assert!(look(0, 230.0).is_some());
        assert!(look(100_000, 230.0).is_none());
        assert!(look(200_000, 230.4).is_none(), "less than a step and than a degree in words");
        let moved = look(300_000, 240.0).unwrap();
        assert!(look(400_000, 240.0).is_none());
        assert_eq!(look(500_000, 230.0).unwrap().icon_state, look_at(230.0).icon_state);
        assert_eq!(moved.icon_state, look_at(240.0).icon_state);
        assert_ne!(moved.icon_state, look_at(230.0).icon_state);
    }

    fn look_at(degrees: f64) -> TrayView {
        Presenter::default().update(Timestamp::START, &snapshot(degrees, Margin::CERTAIN, 0)).unwrap()
    }

    #[test]
    fn updates_are_a_tenth_of_a_second_apart() {
        let mut presenter = Presenter::default();
        let at = Timestamp::from_micros;
        assert!(presenter.is_due(at(5)));
        presenter.update(at(1_000_000), &snapshot(1.0, Margin::CERTAIN, 0));
        assert_eq!(presenter.deadline(), None, "nothing is awaited after an update");
        for (now, due) in [(1_000_000, false), (1_030_000, false), (1_099_999, false), (1_100_000, true)] {
            assert_eq!(presenter.is_due(at(now)), due, "at {now}");
            assert_eq!(presenter.deadline(), (!due).then_some(at(1_100_000)), "at {now}");
        }
    }

    /// Losses, the margin and what the user does, in all orders that end differently.
    #[test]
    fn the_mark_stands_from_a_loss_to_an_alignment_or_until_it_is_seen() {
        enum Does {
            Update(u64, Margin, bool),
            Seen,
        }
        use Does::{Seen, Update};
        let (sure, doubt) = (Margin::CERTAIN, Margin::both(Counts::ONE));
        let stories: [&[Does]; 7] = [
            &[Update(0, sure, false), Update(1, doubt, true), Update(1, sure, false), Update(1, sure, false)],
            &[Update(1, doubt, true), Seen, Update(1, doubt, false), Update(2, doubt, true)],
            &[Update(1, doubt, true), Seen, Update(1, sure, false), Update(2, doubt, true)],
            &[
                Update(1, doubt, true),
                Update(1, sure, false),
                Update(2, doubt, true),
                Seen,
                Update(2, doubt, false),
            ],
            // A margin that was kept from an earlier run is no loss of this one.
            &[Update(0, doubt, false), Update(1, doubt, true)],
            &[Seen, Update(1, doubt, true)],
            &[Update(3, Margin::UNKNOWN, true), Seen, Update(4, Margin::UNKNOWN, true)],
        ];
        for (n, story) in stories.iter().enumerate() {
            let mut presenter = Presenter::default();
            let mut shown = None;
            for (m, does) in story.iter().enumerate() {
                match does {
                    Seen => presenter.clear_mark(),
                    Update(losses, margin, expected) => {
                        shown =
                            presenter.update(Timestamp::START, &snapshot(230.0, *margin, *losses)).or(shown);
                        let view = shown.as_ref().unwrap();
                        assert_eq!(view.icon_state.lost, *expected, "story {n}, step {m}");
                        let offered = view.menu.iter().any(|entry| {
                            matches!(entry, MenuEntry::Button(_, action) if *action == crate::tray::snapshot::MenuAction::ClearMark)
                        });
                        assert_eq!(offered, *expected, "story {n}, step {m}: the menu says the same");
                    }
                }
            }
        }
    }
}
