//! Decides when the tray shows something new. No I/O and no clock.

use super::icon::{Glance, SLOTS_MAX, Slot, Step};
use super::menu::{self, Entry};
use super::sight::Sight;
use std::time::Duration;
use tallywheel_units::Timestamp;

/// The least time between two looks: ten pictures a second are as live as an icon needs to be.
pub const LOOK_EVERY: Duration = Duration::from_millis(100);

/// All that a host shows. Equal faces look equal.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Face {
    /// The picture.
    pub glance: Glance,
    /// The menu.
    pub menu: Vec<Entry>,
    /// Words beside the icon, a line for each fact.
    pub tip: String,
}

/// Remembers what is shown and what was seen.
#[derive(Debug, Default)]
pub struct Tender {
    shown: Option<Face>,
    losses: u64,
    losses_seen: u64,
    looked: Option<Timestamp>,
    late: Option<Timestamp>,
}

impl Tender {
    /// Whether [`Self::look`] may be called now; if not, [`Self::deadline`] says when.
    pub fn is_due(&mut self, now: Timestamp) -> bool {
        let next = self.looked.map_or(Timestamp::START, |looked| looked.after(LOOK_EVERY));
        self.late = (next > now).then_some(next);
        self.late.is_none()
    }

    /// When a look that came too early is due; `None` while nothing waits to be seen.
    #[must_use]
    pub const fn deadline(&self) -> Option<Timestamp> {
        self.late
    }

    /// Takes a look; answers the face to show if it is another than before.
    pub fn look(&mut self, now: Timestamp, sight: &Sight) -> Option<Face> {
        self.looked = Some(now);
        self.losses = sight.losses;
        let marked = self.marked(sight);
        let face =
            Face { glance: glance(sight, marked), menu: menu::menu(sight, marked), tip: menu::tip(sight) };
        if self.shown.as_ref() == Some(&face) {
            return None;
        }
        self.shown = Some(face.clone());
        Some(face)
    }

    /// The user has seen the losses so far.
    pub const fn seen(&mut self) {
        self.losses_seen = self.losses;
    }

    /// A position that is certain again, by an alignment or by a stop, needs no mark.
    fn marked(&self, sight: &Sight) -> bool {
        sight.losses > self.losses_seen && sight.trims.iter().any(|trim| !trim.margin.is_certain())
    }
}

fn glance(sight: &Sight, lost: bool) -> Glance {
    let slots = sight.trims.iter().take(SLOTS_MAX).map(|trim| {
        let step = |degrees: tallywheel_units::Degrees| Step::of(degrees.get(), trim.travel.get());
        Slot { place: step(trim.degrees), neutral: step(trim.neutral), away: trim.away }
    });
    Glance { slots: slots.collect(), lost, held: sight.held }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tray::sight::TrimSight;
    use tallywheel_units::{Counts, Degrees, Margin, Normalized};

    fn sight(degrees: f64, margin: Margin, losses: u64) -> Sight {
        let trim = TrimSight {
            name: "rudder".to_owned(),
            degrees: Degrees::new(degrees).unwrap(),
            travel: Degrees::new(460.0).unwrap(),
            neutral: Degrees::new(230.0).unwrap(),
            normalized: Normalized::clamped((degrees - 230.0) / 230.0),
            margin,
            away: false,
            named: Vec::new(),
        };
        Sight {
            aircraft: "Kettrin 2 floatplane".to_owned(),
            hangar: Vec::new(),
            trims: vec![trim],
            boards_away: Vec::new(),
            losses,
            held: false,
        }
    }

    #[test]
    fn the_same_sight_is_shown_once() {
        let mut tender = Tender::default();
        let at = Timestamp::from_micros;
        let mut look = |now, degrees| tender.look(at(now), &sight(degrees, Margin::CERTAIN, 0));
        assert!(look(0, 230.0).is_some());
        assert!(look(100_000, 230.0).is_none());
        assert!(look(200_000, 230.4).is_none(), "less than a step and than a degree in words");
        let moved = look(300_000, 240.0).unwrap();
        assert!(look(400_000, 240.0).is_none());
        assert_eq!(look(500_000, 230.0).unwrap().glance, look_at(230.0).glance);
        assert_eq!(moved.glance, look_at(240.0).glance);
        assert_ne!(moved.glance, look_at(230.0).glance);
    }

    fn look_at(degrees: f64) -> Face {
        Tender::default().look(Timestamp::START, &sight(degrees, Margin::CERTAIN, 0)).unwrap()
    }

    #[test]
    fn looks_are_a_tenth_of_a_second_apart() {
        let mut tender = Tender::default();
        let at = Timestamp::from_micros;
        assert!(tender.is_due(at(5)));
        tender.look(at(1_000_000), &sight(1.0, Margin::CERTAIN, 0));
        assert_eq!(tender.deadline(), None, "nothing is awaited after a look");
        for (now, due) in [(1_000_000, false), (1_030_000, false), (1_099_999, false), (1_100_000, true)] {
            assert_eq!(tender.is_due(at(now)), due, "at {now}");
            assert_eq!(tender.deadline(), (!due).then_some(at(1_100_000)), "at {now}");
        }
    }

    /// Losses, the margin and what the user does, in all orders that end differently.
    #[test]
    fn the_mark_stands_from_a_loss_to_an_alignment_or_until_it_is_seen() {
        enum Does {
            Look(u64, Margin, bool),
            Seen,
        }
        use Does::{Look, Seen};
        let (sure, doubt) = (Margin::CERTAIN, Margin::both(Counts::ONE));
        let stories: [&[Does]; 7] = [
            &[Look(0, sure, false), Look(1, doubt, true), Look(1, sure, false), Look(1, sure, false)],
            &[Look(1, doubt, true), Seen, Look(1, doubt, false), Look(2, doubt, true)],
            &[Look(1, doubt, true), Seen, Look(1, sure, false), Look(2, doubt, true)],
            &[Look(1, doubt, true), Look(1, sure, false), Look(2, doubt, true), Seen, Look(2, doubt, false)],
            // A margin that was kept from an earlier run is no loss of this one.
            &[Look(0, doubt, false), Look(1, doubt, true)],
            &[Seen, Look(1, doubt, true)],
            &[Look(3, Margin::UNKNOWN, true), Seen, Look(4, Margin::UNKNOWN, true)],
        ];
        for (n, story) in stories.iter().enumerate() {
            let mut tender = Tender::default();
            let mut shown = None;
            for (m, does) in story.iter().enumerate() {
                match does {
                    Seen => tender.seen(),
                    Look(losses, margin, expected) => {
                        shown = tender.look(Timestamp::START, &sight(230.0, *margin, *losses)).or(shown);
                        let face = shown.as_ref().unwrap();
                        assert_eq!(face.glance.lost, *expected, "story {n}, step {m}");
                        let offered = face.menu.iter().any(|entry| {
                            matches!(entry, Entry::Button(_, wish) if *wish == crate::tray::sight::Wish::Seen)
                        });
                        assert_eq!(offered, *expected, "story {n}, step {m}: the menu says the same");
                    }
                }
            }
        }
    }
}
