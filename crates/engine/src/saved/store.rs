//! The files of saved positions, `positions/STEM.0` and `positions/STEM.1` in the state folder.
//!
//! The two are written in turn, each as a whole beside its place and then renamed to it, so one of them is whole at
//! every instant and is the last or the one before.

use super::format::{Damage, Positions};
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// More than any aircraft's positions take; a file that is longer is none of ours.
const LARGEST_BYTES: u64 = 64 * 1024;

/// A state folder; it need not exist before something is written.
#[derive(Debug, Clone)]
pub struct Store {
    folder: PathBuf,
}

/// What was found of an aircraft.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Found {
    /// The newest that is whole.
    pub positions: Option<Positions>,
    /// Files that are not whole.
    pub damage: Vec<(PathBuf, Damage)>,
}

impl Store {
    /// In `folder`.
    #[must_use]
    pub fn new(folder: &Path) -> Self {
        Self { folder: folder.to_owned() }
    }

    /// Reads what is saved of an aircraft.
    #[must_use]
    pub fn read(&self, stem: &str) -> Found {
        let mut found = Found::default();
        for slot in [0, 1] {
            let path = self.path(stem, slot);
            let bytes = match read(&path) {
                Ok(bytes) => bytes,
                Err(error) if error.kind() == io::ErrorKind::NotFound => continue,
                Err(error) => {
                    found.damage.push((path, Damage::Unreadable(error.to_string())));
                    continue;
                }
            };
            match Positions::from_text(&bytes) {
                Ok(positions) => {
                    if found.positions.as_ref().is_none_or(|other| other.sequence < positions.sequence) {
                        found.positions = Some(positions);
                    }
                }
                Err(damage) => found.damage.push((path, damage)),
            }
        }
        found
    }

    /// Writes where the trims of an aircraft are; the one before stays.
    ///
    /// # Errors
    /// Those of the disk.
    pub fn write(&self, stem: &str, positions: &Positions) -> io::Result<()> {
        replace(&self.path(stem, positions.sequence % 2), positions.to_text().as_bytes())
    }

    /// The aircraft that was flown last.
    #[must_use]
    pub fn last_aircraft(&self) -> Option<String> {
        let bytes = read(&self.last()).ok()?;
        let text = String::from_utf8(bytes).ok()?;
        text.strip_suffix('\n').filter(|stem| !stem.is_empty()).map(str::to_owned)
    }

    /// Writes which aircraft is flown.
    ///
    /// # Errors
    /// Those of the disk.
    pub fn write_last_aircraft(&self, stem: &str) -> io::Result<()> {
        replace(&self.last(), format!("{stem}\n").as_bytes())
    }

    fn last(&self) -> PathBuf {
        self.folder.join("last-aircraft")
    }

    fn path(&self, stem: &str, slot: u64) -> PathBuf {
        self.folder.join("positions").join(format!("{stem}.{slot}"))
    }
}

fn read(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(LARGEST_BYTES).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Writes a file as a whole: what has its name is the old one or the new one, at every instant.
fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut beside = path.as_os_str().to_owned();
    beside.push(".new");
    // The folder is there but for the first time, so it is not asked for while a wheel turns.
    let mut file = match File::create(&beside) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            path.parent().map_or(Ok(()), fs::create_dir_all)?;
            File::create(&beside)?
        }
        file => file?,
    };
    file.write_all(bytes)?;
    // The name must not come to the disk before what it names.
    file.sync_data()?;
    drop(file);
    fs::rename(&beside, path)
}

#[cfg(test)]
mod tests {
    use super::super::format::Place;
    use super::*;
    use tallywheel_units::{Degrees, Margin};

    struct Temporary(PathBuf);

    impl Temporary {
        fn new(test: &str) -> Self {
            let folder = std::env::temp_dir().join(format!("tallywheel-store-{test}-{}", std::process::id()));
            let _ = fs::remove_dir_all(&folder);
            Self(folder)
        }
    }

    impl Drop for Temporary {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    fn at(sequence: u64) -> Positions {
        let degrees = Degrees::new(f64::from(u32::try_from(sequence).unwrap())).unwrap();
        let trims = [("rudder".to_owned(), Place { degrees, margin: Margin::CERTAIN })];
        Positions { sequence, trims: trims.into() }
    }

    #[test]
    fn the_newest_is_read_and_the_one_before_is_kept() {
        let folder = Temporary::new("newest");
        let store = Store::new(&folder.0);
        assert_eq!(store.read("kettrin"), Found::default());
        for sequence in 1..=5 {
            store.write("kettrin", &at(sequence)).unwrap();
            assert_eq!(store.read("kettrin").positions, Some(at(sequence)));
        }
        fs::remove_file(store.path("kettrin", 1)).unwrap();
        assert_eq!(store.read("kettrin").positions, Some(at(4)));
        assert_eq!(store.read("ozzock"), Found::default(), "each aircraft has its own");
    }

    #[test]
    fn a_damaged_one_is_said_and_overwritten_first() {
        let folder = Temporary::new("damaged");
        let store = Store::new(&folder.0);
        (1..=4).for_each(|sequence| store.write("kettrin", &at(sequence)).unwrap());
        fs::write(store.path("kettrin", 0), &at(4).to_text()[..20]).unwrap();
        let found = store.read("kettrin");
        assert_eq!(found.positions, Some(at(3)));
        assert_eq!(found.damage, [(store.path("kettrin", 0), Damage::CutOff)]);
        store.write("kettrin", &at(4)).unwrap();
        assert_eq!(store.read("kettrin"), Found { positions: Some(at(4)), damage: vec![] });
        for slot in [0, 1] {
            fs::write(store.path("kettrin", slot), "\u{0}\u{0}").unwrap();
        }
        let found = store.read("kettrin");
        assert_eq!((found.positions, found.damage.len()), (None, 2));
    }

    #[test]
    fn the_last_aircraft_is_remembered() {
        let folder = Temporary::new("last");
        let store = Store::new(&folder.0);
        assert_eq!(store.last_aircraft(), None);
        store.write_last_aircraft("kettrin 2").unwrap();
        assert_eq!(store.last_aircraft().as_deref(), Some("kettrin 2"));
        fs::write(store.last(), "").unwrap();
        assert_eq!(store.last_aircraft(), None);
    }
}
