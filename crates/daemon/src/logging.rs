//! The log: lines to the terminal and to a rolling file. Nothing on a reader's thread writes to it.

use rolling_file::{BasicRollingFileAppender, RollingConditionBasic};
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tracing_subscriber::filter::Targets;
use tracing_subscriber::fmt::MakeWriter;
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;
use tracing_subscriber::{fmt, reload};

/// The size in bytes at which a log file is rolled over.
const FILE_BYTES_MAX: u64 = 1024 * 1024;
/// The number of rolled files that are kept beside the one being written.
const FILES_KEPT: usize = 4;

/// Why the log could not be set up.
#[derive(Debug, thiserror::Error)]
pub enum LoggingError {
    /// The level on the command line cannot be understood.
    #[error("--log {given}: expected error, warn, info, debug or trace, or TARGET=LEVEL pairs with commas")]
    Level {
        /// What the command line says.
        given: String,
    },
    /// The log file cannot be written.
    #[error("cannot write the log file {path}: {source}; name another folder with --log-dir")]
    File {
        /// The log file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
}

/// Sets the level of the log while the program runs.
#[derive(Clone)]
pub struct LogLevelHandle {
    reload: Arc<dyn Fn(Targets) + Send + Sync>,
    level: Arc<Mutex<String>>,
}

impl LogLevelHandle {
    /// Returns the level as it is written after `--log`.
    #[must_use]
    pub fn level(&self) -> String {
        self.level.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Sets the level: one word, or TARGET=LEVEL pairs with commas.
    ///
    /// # Errors
    /// [`LoggingError::Level`]; nothing changes then.
    pub fn set(&self, level: &str) -> Result<(), LoggingError> {
        (self.reload)(targets(level)?);
        level.clone_into(&mut self.level.lock().unwrap_or_else(PoisonError::into_inner));
        Ok(())
    }
}

impl std::fmt::Debug for LogLevelHandle {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("LogLevelHandle").field("level", &self.level).finish_non_exhaustive()
    }
}

/// Starts logging to standard error and to `folder`/tallywheel.log; returns the path of the file and the handle of the
/// level.
///
/// # Errors
/// [`LoggingError`]; nothing is logged then.
pub fn start(level: &str, folder: &Path) -> Result<(PathBuf, LogLevelHandle), LoggingError> {
    let targets = targets(level)?;
    let path = file_in(folder);
    let file = open(folder, &path).map_err(|source| LoggingError::File { path: path.clone(), source })?;
    let (filter, handle) = reload::Layer::new(targets);
    let to_terminal = fmt::layer().with_writer(io::stderr).with_ansi(io::stderr().is_terminal());
    let to_file = fmt::layer().with_writer(file).with_ansi(false);
    // A second start in one process (a test) keeps the first one's subscriber.
    let _ = tracing_subscriber::registry().with(filter).with(to_terminal).with(to_file).try_init();
    let reload = Arc::new(move |targets| {
        // Fails only where the subscriber is gone, and with it the log.
        let _ = handle.reload(targets);
    });
    Ok((path, LogLevelHandle { reload, level: Arc::new(Mutex::new(level.to_owned())) }))
}

/// Returns the path of the log file in `folder`.
#[must_use]
pub fn file_in(folder: &Path) -> PathBuf {
    folder.join("tallywheel.log")
}

fn targets(level: &str) -> Result<Targets, LoggingError> {
    Targets::from_str(level).map_err(|_| LoggingError::Level { given: level.to_owned() })
}

/// Writes to the log file alone why the program ends, for when no terminal shows it.
#[cfg(windows)]
pub(crate) fn log_exit(folder: &Path, reason: &str) {
    let path = folder.join("tallywheel.log");
    // Where not even this can be written, nobody is left to be told.
    if let Ok(file) = open(folder, &path) {
        let to_file = fmt::layer().with_writer(file).with_ansi(false);
        let _ = tracing_subscriber::registry().with(to_file).try_init();
        tracing::error!("the program ends: {reason}");
    }
}

fn open(folder: &Path, path: &Path) -> io::Result<LogFile> {
    std::fs::create_dir_all(folder)?;
    let condition = RollingConditionBasic::new().max_size(FILE_BYTES_MAX);
    BasicRollingFileAppender::new(path, condition, FILES_KEPT).map(|file| LogFile(Mutex::new(file)))
}

struct LogFile(Mutex<BasicRollingFileAppender>);

struct LineWriter<'a>(MutexGuard<'a, BasicRollingFileAppender>);

impl<'a> MakeWriter<'a> for LogFile {
    type Writer = LineWriter<'a>;

    fn make_writer(&'a self) -> Self::Writer {
        LineWriter(self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Write for LineWriter<'_> {
    fn write(&mut self, line: &[u8]) -> io::Result<usize> {
        let written = self.0.write(line)?;
        // A line that explains a crash must be in the file before the crash.
        self.0.flush()?;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_log_is_rolled_by_size_and_old_files_go() {
        let folder = std::env::temp_dir().join(format!("tallywheel-log-{}", std::process::id()));
        let path = folder.join("tallywheel.log");
        let file = open(&folder, &path).unwrap();
        let line = vec![b'x'; 64 * 1024];
        for _ in 0..(16 * 7) {
            file.make_writer().write_all(&line).unwrap();
        }
        let mut names: Vec<_> = std::fs::read_dir(&folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        let total: u64 =
            std::fs::read_dir(&folder).unwrap().map(|e| e.unwrap().metadata().unwrap().len()).sum();
        // Windows removes no file that is open.
        drop(file);
        std::fs::remove_dir_all(&folder).unwrap();
        assert_eq!(names.len(), FILES_KEPT + 1, "{names:?}");
        assert!(total <= (FILE_BYTES_MAX + 64 * 1024) * 5, "{total}");
    }

    #[test]
    fn a_level_that_is_none_is_refused() {
        let error = start("loud=very", &std::env::temp_dir()).unwrap_err();
        assert!(error.to_string().starts_with("--log loud=very: expected"), "{error}");
    }
}
