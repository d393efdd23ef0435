//! Reads the user's files: one rig, one folder of aircraft.

use std::path::{Path, PathBuf};
use tallywheel_profile::{Aircraft, FileErrors, LARGEST_FILE_BYTES, Rig};

/// What is wrong with the user's files.
#[derive(Debug, thiserror::Error)]
pub enum FilesError {
    /// A file says something it cannot mean.
    #[error("{0}")]
    Wrong(#[from] FileErrors),
    /// There is no rig file yet.
    #[error(
        "there is no {path}; copy the examples from the project's config folder to {folder} and change them to your rig"
    )]
    NoRig {
        /// Where it was looked for.
        path: PathBuf,
        /// The user's folder.
        folder: PathBuf,
    },
    /// There is no aircraft file yet.
    #[error(
        "there is no aircraft file in {folder}; copy an example from the project's config/aircraft folder there"
    )]
    NoAircraft {
        /// Where they were looked for.
        folder: PathBuf,
    },
    /// The system does not let us read a file.
    #[error("cannot read {path}: {reason}")]
    Unreadable {
        /// The file or folder.
        path: PathBuf,
        /// Why, for people.
        reason: String,
    },
    /// No aircraft, or more than one, is meant.
    #[error("{problem}; choose one with --aircraft: {}", choices.join(", "))]
    Choose {
        /// Why there is a choice.
        problem: String,
        /// The names of the aircraft files, without `.toml`.
        choices: Vec<String>,
    },
}

/// An aircraft file that was read.
#[derive(Debug, Clone)]
pub struct AircraftFile {
    /// The file's name without `.toml`.
    pub stem: String,
    /// What it says.
    pub aircraft: Aircraft,
}

/// Reads a rig file.
///
/// # Errors
/// [`FilesError`]
pub fn rig(path: &Path) -> Result<Rig, FilesError> {
    Ok(tallywheel_profile::rig(&path.display().to_string(), &text(path)?)?)
}

/// Reads an aircraft file.
///
/// # Errors
/// [`FilesError`]
pub fn aircraft(path: &Path) -> Result<Aircraft, FilesError> {
    Ok(tallywheel_profile::aircraft(&path.display().to_string(), &text(path)?)?)
}

/// Reads `folder`/rig.toml.
///
/// # Errors
/// [`FilesError`]
pub fn rig_in(folder: &Path) -> Result<Rig, FilesError> {
    let path = folder.join("rig.toml");
    if !path.exists() {
        return Err(FilesError::NoRig { path, folder: folder.to_owned() });
    }
    rig(&path)
}

/// The paths of all aircraft files in `folder`/aircraft, by name.
///
/// # Errors
/// [`FilesError`] where there is none, or the folder cannot be read.
pub fn aircraft_in(folder: &Path) -> Result<Vec<PathBuf>, FilesError> {
    let folder = folder.join("aircraft");
    let entries = match std::fs::read_dir(&folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return Err(FilesError::NoAircraft { folder });
        }
        Err(error) => return Err(FilesError::Unreadable { path: folder, reason: error.to_string() }),
    };
    let mut paths: Vec<_> = entries
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "toml") && !hidden(path))
        .collect();
    paths.sort();
    if paths.is_empty() { Err(FilesError::NoAircraft { folder }) } else { Ok(paths) }
}

/// Editors keep their half-written copies under names that begin with a dot.
fn hidden(path: &Path) -> bool {
    path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'))
}

/// The one aircraft to fly: the one called `name` by itself or by its file, or the only one.
///
/// # Errors
/// [`FilesError`]; a wrong file matters only if it is the one that is meant.
pub fn choose_aircraft(folder: &Path, name: Option<&str>) -> Result<AircraftFile, FilesError> {
    let read = |path: &Path| aircraft(path).map(|aircraft| AircraftFile { stem: stem(path), aircraft });
    let paths = aircraft_in(folder)?;
    let choices = || paths.iter().map(|path| stem(path)).collect();
    let Some(name) = name else {
        return match paths.as_slice() {
            [only] => read(only),
            several => Err(FilesError::Choose {
                problem: format!("there are {} aircraft files", several.len()),
                choices: choices(),
            }),
        };
    };
    if let Some(path) = paths.iter().find(|path| stem(path) == name) {
        return read(path);
    }
    let named = paths.iter().filter_map(|path| read(path).ok()).find(|file| file.aircraft.name == name);
    named.ok_or_else(|| FilesError::Choose {
        problem: format!("there is no aircraft {name}"),
        choices: choices(),
    })
}

/// Whether there is an aircraft file of this name.
#[must_use]
pub fn is_aircraft(folder: &Path, name: &str) -> bool {
    aircraft_in(folder).is_ok_and(|paths| paths.iter().any(|path| stem(path) == name))
}

/// A file's name without its ending.
#[must_use]
pub fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned())
}

/// What a file says; `None` where there is none.
///
/// # Errors
/// [`FilesError::Unreadable`]
pub fn text_if_there(path: &Path) -> Result<Option<String>, FilesError> {
    match text(path) {
        // Deleted just now is as good as never there; a link that leads nowhere is not.
        Err(_)
            if std::fs::symlink_metadata(path).is_err_and(|e| e.kind() == std::io::ErrorKind::NotFound) =>
        {
            Ok(None)
        }
        read => read.map(Some),
    }
}

fn text(path: &Path) -> Result<String, FilesError> {
    use std::io::Read;
    let unreadable = |reason: String| FilesError::Unreadable { path: path.to_owned(), reason };
    // Opening a pipe would wait for somebody to write into it.
    if std::fs::metadata(path).is_ok_and(|found| !found.is_file()) {
        return Err(unreadable("it is not an ordinary file".to_owned()));
    }
    let file = std::fs::File::open(path).map_err(|error| unreadable(error.to_string()))?;
    // One byte more than is allowed is enough for profile to refuse it.
    let limit = u64::try_from(LARGEST_FILE_BYTES).unwrap_or(u64::MAX).saturating_add(1);
    let mut bytes = Vec::new();
    file.take(limit).read_to_end(&mut bytes).map_err(|error| unreadable(error.to_string()))?;
    String::from_utf8(bytes).map_err(|error| {
        unreadable(format!(
            "byte {} is no UTF-8 text; save it as UTF-8",
            error.utf8_error().valid_up_to() + 1
        ))
    })
}
