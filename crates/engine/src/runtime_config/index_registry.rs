//! Which place each board and wheel has, for as long as the program runs.

use super::RuntimeConfigError;
use tallywheel_profile::Rig;
use tallywheel_units::{BoardIndex, WheelIndex};

/// The most boards or wheels of different names that one run of the program can know.
const MOST: usize = 255;

/// The boards and wheels of all rigs that were used so far, by name.
///
/// A rig file may be changed while reports come in. A reader that still decodes by the old one must not count
/// for another wheel than it means, so a place once given to a name stays its own.
#[derive(Debug, Clone, Default)]
pub struct IndexRegistry {
    boards: Vec<String>,
    wheels: Vec<(String, BoardIndex)>,
}

/// The places of one rig's boards and wheels, in the order of its file.
#[derive(Debug)]
pub(super) struct RigIndexes {
    pub(super) boards: Vec<BoardIndex>,
    pub(super) wheels: Vec<WheelIndex>,
}

impl IndexRegistry {
    /// The places of everything in `rig`; what is new to us gets the next ones.
    pub(super) fn of(&mut self, rig: &Rig) -> Result<RigIndexes, RuntimeConfigError> {
        let mut of = RigIndexes { boards: Vec::new(), wheels: Vec::new() };
        for board in &rig.boards {
            let known = self.boards.iter().position(|name| *name == board.name);
            let at = known.unwrap_or(self.boards.len());
            if known.is_none() {
                self.boards.push(board.name.clone());
            }
            of.boards.push(BoardIndex::new(byte(at, "boards of different names in one run")?));
        }
        for wheel in &rig.wheels {
            let board = of.boards.get(wheel.board.get()).copied().unwrap_or(wheel.board);
            let known = self.wheels.iter().position(|(name, _)| *name == wheel.name);
            let at = known.unwrap_or(self.wheels.len());
            match self.wheels.get_mut(at) {
                Some((_, on)) => *on = board,
                None => self.wheels.push((wheel.name.clone(), board)),
            }
            of.wheels.push(WheelIndex::new(byte(at, "wheels of different names in one run")?));
        }
        Ok(of)
    }

    pub(super) fn boards(&self) -> &[String] {
        &self.boards
    }

    pub(super) fn wheels(&self) -> &[(String, BoardIndex)] {
        &self.wheels
    }
}

impl RigIndexes {
    /// Which of so many wheels count backwards.
    pub(super) fn reversed(&self, rig: &Rig, wheels: usize) -> Vec<bool> {
        let mut reversed = vec![false; wheels];
        for (at, wheel) in self.wheels.iter().zip(&rig.wheels) {
            if let Some(reversed) = reversed.get_mut(at.get()) {
                *reversed = wheel.reversed;
            }
        }
        reversed
    }
}

fn byte(place: usize, what: &'static str) -> Result<u8, RuntimeConfigError> {
    let too_many = || RuntimeConfigError::TooMany { what, limit: MOST, found: place + 1 };
    if place >= MOST { Err(too_many()) } else { u8::try_from(place).map_err(|_| too_many()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rig(boards: &[&str], wheels: &[(&str, &str)]) -> Rig {
        let mut text = "name = \"bench\"\n".to_owned();
        for (n, board) in boards.iter().enumerate() {
            text += &format!("[[board]]\nname = \"{board}\"\nserial = \"{n}\"\n");
        }
        for (n, (wheel, board)) in wheels.iter().enumerate() {
            let (forward, backward) = (2 * n + 1, 2 * n + 2);
            text += &format!(
                "[[wheel]]\nname = \"{wheel}\"\nboard = \"{board}\"\nwiring = \"pulses\"\nforward = {forward}\n\
                 backward = {backward}\ncounts_per_turn = 24\nreversed = {}\n",
                *wheel == "b"
            );
        }
        tallywheel_profile::rig("rig.toml", &text).unwrap()
    }

    #[test]
    fn what_keeps_its_name_keeps_its_place() {
        let mut places = IndexRegistry::default();
        let first = places.of(&rig(&["x", "y"], &[("a", "x"), ("b", "y")])).unwrap();
        assert_eq!(first.wheels, [0, 1].map(WheelIndex::new));
        let second = rig(&["y", "z"], &[("c", "z"), ("b", "z")]);
        let of = places.of(&second).unwrap();
        assert_eq!(of.boards, [1, 2].map(BoardIndex::new));
        assert_eq!(of.wheels, [2, 1].map(WheelIndex::new));
        assert_eq!(of.reversed(&second, 3), [false, true, false]);
        let wheels = [("a", 0), ("b", 2), ("c", 2)].map(|(name, at)| (name.to_owned(), BoardIndex::new(at)));
        assert_eq!(places.wheels(), wheels);
    }

    #[test]
    fn too_many_names_are_said() {
        let mut places = IndexRegistry::default();
        for n in 0..5 {
            let names: Vec<_> = (0..51).map(|m| format!("{n}-{m}")).collect();
            let wheels: Vec<_> = names.iter().map(|name| (name.as_str(), "x")).collect();
            places.of(&rig(&["x"], &wheels)).unwrap();
        }
        let error = places.of(&rig(&["x"], &[("one more", "x")])).unwrap_err();
        assert!(error.to_string().starts_with("at most 255 wheels"), "{error}");
    }
}
