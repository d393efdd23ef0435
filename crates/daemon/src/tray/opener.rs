//! Opens files and folders with the desktop's own program for them.

use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::sync::Arc;
use tallywheel_engine::notifications::{Message, Subject};
use tokio::sync::mpsc::Sender;

/// The program that opens files and folders: that of the XDG utilities; on Windows the shell.
#[cfg(not(windows))]
const OPENER: &str = "xdg-open";
#[cfg(windows)]
const OPENER: &str = "explorer";

/// The most openers that run at once; some stay for as long as what they opened.
const OPEN_MAX: usize = 8;

/// Opens the log file and the folder with the user's files.
#[derive(Debug)]
pub struct DesktopOpener {
    log: PathBuf,
    folder: PathBuf,
    open: Arc<()>,
}

impl DesktopOpener {
    /// Makes an opener for the log file `log` and the folder `folder` with the user's files.
    #[must_use]
    pub fn new(log: PathBuf, folder: PathBuf) -> Self {
        Self { log, folder, open: Arc::default() }
    }

    /// Opens the log file.
    ///
    /// # Errors
    /// The message for the user; a failure that shows only later goes to `failures`.
    pub fn open_log(&self, failures: &Sender<Message>) -> Result<(), Message> {
        self.open(&self.log, failures)
    }

    /// Opens the folder with the user's files.
    ///
    /// # Errors
    /// As [`Self::open_log`].
    pub fn open_folder(&self, failures: &Sender<Message>) -> Result<(), Message> {
        self.open(&self.folder, failures)
    }

    fn open(&self, path: &Path, failures: &Sender<Message>) -> Result<(), Message> {
        if Arc::strong_count(&self.open) > OPEN_MAX {
            return Err(failed(path, &format!("{OPEN_MAX} things are being opened already")));
        }
        let mut command = tokio::process::Command::new(OPENER);
        command.arg(path).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        // Ctrl-C on our terminal is not meant for what was opened.
        #[cfg(unix)]
        command.process_group(0);
        let mut child = command.spawn().map_err(|error| failed(path, &error.to_string()))?;
        let (open, failures, path) = (Arc::clone(&self.open), failures.clone(), path.to_owned());
        tokio::spawn(async move {
            let ended = child.wait().await;
            drop(open);
            let reason = match ended {
                // The shell of Windows ends with 1 even when it has done its work.
                Ok(status) if status.success() || cfg!(windows) => return,
                Ok(status) => status.to_string(),
                Err(error) => error.to_string(),
            };
            // As many as can be open fit.
            let _ = failures.try_send(failed(&path, &reason));
        });
        Ok(())
    }
}

fn failed(path: &Path, reason: &str) -> Message {
    tracing::warn!(path = %path.display(), reason, "could not be opened");
    Message {
        subject: Subject::Wish,
        title: format!("{} could not be opened", path.display()),
        body: format!("{OPENER}: {reason}"),
        bad: true,
    }
}
