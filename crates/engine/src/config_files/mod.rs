//! The user's files as they were last good, and what is wrong with them now.
//!
//! For each file, seen each time the folder is read:
//!
//! | file before | file now | what counts | told |
//! |---|---|---|---|
//! | any | the same text | as before | nothing |
//! | any | another text, valid | the new text | good |
//! | none or good | another text, not valid or not readable | as before | wrong, with the place |
//! | good or wrong | not there | as before, but it is not offered to be flown | gone |
//! | none | not there | nothing | nothing |
//!
//! A file that is not valid is told of once for each text, and it stays wrong until it is valid or gone.

mod debouncer;
mod watch;

pub use debouncer::{Debouncer, FileEvent};
pub use watch::Watch;

use crate::files::{self, FilesError};
use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tallywheel_profile::{Aircraft, Rig};

/// All files of one folder.
#[derive(Debug)]
pub struct Config {
    folder: PathBuf,
    rig: LoadedFile<Rig>,
    aircraft: BTreeMap<String, LoadedFile<Aircraft>>,
}

/// One file.
#[derive(Debug)]
struct LoadedFile<T> {
    text: Option<String>,
    good: Option<Arc<T>>,
    wrong: Option<String>,
    there: bool,
}

impl<T> Default for LoadedFile<T> {
    fn default() -> Self {
        Self { text: None, good: None, wrong: None, there: false }
    }
}

/// What a file is to the program.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ConfigFile {
    /// rig.toml.
    Rig,
    /// The aircraft file of this name, without `.toml`.
    Aircraft(String),
}

impl fmt::Display for ConfigFile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Rig => f.write_str("rig"),
            Self::Aircraft(stem) => write!(f, "aircraft {stem}"),
        }
    }
}

/// What is new about a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FileChange {
    /// It says something new, and that is valid.
    Good,
    /// It is not valid or cannot be read: one line for each mistake.
    Wrong(String),
    /// It was deleted.
    Gone,
}

/// A file that changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChangedFile {
    /// The file.
    pub which: ConfigFile,
    /// Its path.
    pub path: PathBuf,
    /// What happened to it.
    pub news: FileChange,
}

impl<T> LoadedFile<T> {
    fn take(
        &mut self,
        text: Result<Option<String>, FilesError>,
        parse: impl FnOnce(&str) -> Result<T, tallywheel_profile::FileErrors>,
    ) -> Option<FileChange> {
        let text = match text {
            Ok(Some(text)) => text,
            Ok(None) => {
                self.text = None;
                self.wrong = None;
                return std::mem::take(&mut self.there).then_some(FileChange::Gone);
            }
            Err(error) => {
                self.there = true;
                self.text = None;
                return self.is_wrong(error.to_string());
            }
        };
        self.there = true;
        if self.text.as_ref() == Some(&text) {
            return None;
        }
        let parsed = parse(&text);
        self.text = Some(text);
        match parsed {
            Ok(good) => {
                self.good = Some(Arc::new(good));
                self.wrong = None;
                Some(FileChange::Good)
            }
            Err(errors) => self.is_wrong(errors.to_string()),
        }
    }

    fn is_wrong(&mut self, reason: String) -> Option<FileChange> {
        if self.wrong.as_ref() == Some(&reason) {
            return None;
        }
        self.wrong = Some(reason.clone());
        Some(FileChange::Wrong(reason))
    }
}

impl Config {
    /// Nothing of `folder` is read before [`Self::read`].
    #[must_use]
    pub fn new(folder: &Path) -> Self {
        Self { folder: folder.to_owned(), rig: LoadedFile::default(), aircraft: BTreeMap::new() }
    }

    /// Reads all files, and answers what is new, the rig first.
    pub fn read(&mut self) -> Vec<ChangedFile> {
        let mut news = Vec::new();
        let path = self.folder.join("rig.toml");
        let name = path.display().to_string();
        let rig = self.rig.take(files::text_if_there(&path), |text| tallywheel_profile::rig(&name, text));
        if let Some(new) = rig {
            news.push(ChangedFile { which: ConfigFile::Rig, path, news: new });
        }
        let there = files::aircraft_in(&self.folder).unwrap_or_default();
        for path in &there {
            self.aircraft.entry(files::stem(path)).or_default();
        }
        for (stem, kept) in &mut self.aircraft {
            let path = self.folder.join("aircraft").join(format!("{stem}.toml"));
            let name = path.display().to_string();
            let text = files::text_if_there(&path);
            if let Some(new) = kept.take(text, |text| tallywheel_profile::aircraft(&name, text)) {
                news.push(ChangedFile { which: ConfigFile::Aircraft(stem.clone()), path, news: new });
            }
        }
        news
    }

    /// The folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The rig as it was last good.
    #[must_use]
    pub fn rig(&self) -> Option<&Arc<Rig>> {
        self.rig.good.as_ref()
    }

    /// An aircraft as its file was last good, the file being there or not.
    #[must_use]
    pub fn aircraft(&self, stem: &str) -> Option<&Arc<Aircraft>> {
        self.aircraft.get(stem)?.good.as_ref()
    }

    /// The aircraft whose files are there and were good once, in the order of the files' names.
    pub fn to_fly(&self) -> impl Iterator<Item = (&str, &Arc<Aircraft>)> {
        let there = self.aircraft.iter().filter(|(_, kept)| kept.there);
        there.filter_map(|(stem, kept)| Some((stem.as_str(), kept.good.as_ref()?)))
    }

    /// The aircraft that a user means: by its file or by its name.
    #[must_use]
    pub fn meant(&self, name: &str) -> Option<(&str, &Arc<Aircraft>)> {
        self.to_fly()
            .find(|(stem, _)| *stem == name)
            .or_else(|| self.to_fly().find(|(_, aircraft)| aircraft.name == name))
    }

    /// The aircraft whose file follows; after the last the first.
    #[must_use]
    pub fn after(&self, stem: &str) -> Option<(&str, &Arc<Aircraft>)> {
        self.to_fly().find(|(next, _)| *next > stem).or_else(|| self.to_fly().next())
    }

    /// What is wrong at present: a file and its mistakes.
    pub fn problems(&self) -> impl Iterator<Item = (ConfigFile, &str)> {
        let rig = self.rig.wrong.as_deref().map(|wrong| (ConfigFile::Rig, wrong));
        let aircraft = self.aircraft.iter();
        let aircraft = aircraft
            .filter_map(|(stem, kept)| Some((ConfigFile::Aircraft(stem.clone()), kept.wrong.as_deref()?)));
        rig.into_iter().chain(aircraft)
    }
}

#[cfg(test)]
mod tests;
