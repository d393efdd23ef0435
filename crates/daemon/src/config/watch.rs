//! Tells when something in the folder of the user's files changes.
//!
//! `notify` asks the system; where that cannot be had, or on a network drive, whose server tells nobody of changes
//! made elsewhere, it looks once a second. Only the two folders that matter are watched, and the folders of files
//! that are links to elsewhere; what happens to other files (a log may be in the same folder) ends on `notify`'s
//! own thread.

use super::settle::Touch;
use notify::event::{AccessKind, AccessMode, EventKind, ModifyKind};
use notify::{Event, PollWatcher, RecommendedWatcher, RecursiveMode, Watcher};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::sync::mpsc;

/// How often the folder is looked at where the system does not tell.
const POLL: Duration = Duration::from_secs(1);
/// The most changes that wait; more say nothing new.
const QUEUE_TOUCHES: usize = 64;

/// A watch on one folder.
pub struct Watch {
    folder: PathBuf,
    watcher: Option<Box<dyn Watcher + Send>>,
    watched: BTreeSet<PathBuf>,
    touches: mpsc::Receiver<Touch>,
    polling: Option<String>,
}

impl Watch {
    /// A watch that is on. What changed before is not told of.
    #[must_use]
    pub fn new(folder: &Path) -> Self {
        let why = network_drive(folder).then(|| "the folder is on a network drive".to_owned());
        Self::with(folder, why)
    }

    /// One that looks once a second because of `polling`, or is told by the system.
    fn with(folder: &Path, mut polling: Option<String>) -> Self {
        let (send, touches) = mpsc::channel(QUEUE_TOUCHES);
        let folder = folder.to_owned();
        let told = |send: mpsc::Sender<Touch>, folder: PathBuf| {
            move |event: notify::Result<Event>| {
                if let Some(touch) = touch(&folder, event) {
                    // A full queue wakes the reader anyway.
                    let _ = send.try_send(touch);
                }
            }
        };
        let mut watcher: Option<Box<dyn Watcher + Send>> = None;
        if polling.is_none() {
            let config = notify::Config::default();
            match RecommendedWatcher::new(told(send.clone(), folder.clone()), config) {
                Ok(native) => watcher = Some(Box::new(native)),
                Err(error) => polling = Some(error.to_string()),
            }
        }
        if polling.is_some() {
            let config = notify::Config::default().with_poll_interval(POLL).with_compare_contents(true);
            let poller = PollWatcher::new(told(send, folder.clone()), config);
            if let Ok(poller) = poller {
                watcher = Some(Box::new(poller));
            }
        }
        let mut watch = Self { folder, watcher, watched: BTreeSet::new(), touches, polling };
        watch.refresh();
        if watch.polling.is_none() && watch.watched.is_empty() && watch.folder.is_dir() {
            // The system's watches are all in use.
            return Self::with(&watch.folder, Some("the system gives no more watches".to_owned()));
        }
        watch
    }

    /// Why the folder is looked at once a second instead of waiting for the system.
    #[must_use]
    pub fn polling(&self) -> Option<&str> {
        self.polling.as_deref()
    }

    /// Whether the folder itself is watched: not where it is not there. Then somebody has to look and
    /// [`Self::refresh`].
    #[must_use]
    pub fn is_on(&self) -> bool {
        self.watched.contains(&self.folder)
    }

    /// The next change. Nothing is lost where the caller gives up waiting.
    pub async fn touched(&mut self) -> Touch {
        match self.touches.recv().await {
            Some(touch) => touch,
            None => std::future::pending().await,
        }
    }

    /// Watches the folders that there are now; call it after each change, since a folder that was deleted and
    /// made again is another one. Says whether one is watched that was not before, so that what happened in it
    /// has to be looked for.
    pub fn refresh(&mut self) -> bool {
        let wanted = folders(&self.folder);
        let Some(watcher) = &mut self.watcher else { return false };
        for gone in self.watched.difference(&wanted) {
            // It is gone already where the folder was deleted.
            let _ = watcher.unwatch(gone);
        }
        let before = std::mem::take(&mut self.watched);
        for folder in wanted {
            // The polling watcher would compare with nothing and miss what just changed.
            let again = before.contains(&folder) && self.polling.is_some();
            if again || watcher.watch(&folder, RecursiveMode::NonRecursive).is_ok() {
                self.watched.insert(folder);
            }
        }
        self.watched.difference(&before).next().is_some()
    }
}

/// The folder, the one of aircraft, and wherever their files truly are.
fn folders(folder: &Path) -> BTreeSet<PathBuf> {
    let aircraft = folder.join("aircraft");
    let mut folders = BTreeSet::new();
    for at in [folder, aircraft.as_path()] {
        if !at.is_dir() {
            continue;
        }
        folders.insert(at.to_owned());
        for entry in std::fs::read_dir(at).into_iter().flatten().flatten() {
            let path = entry.path();
            let link = entry.file_type().is_ok_and(|kind| kind.is_symlink());
            if link
                && path.extension().is_some_and(|ending| ending == "toml")
                && let Ok(truly) = path.canonicalize()
                && let Some(parent) = truly.parent()
            {
                folders.insert(parent.to_owned());
            }
        }
    }
    folders
}

/// What an event means, if it means anything.
fn touch(folder: &Path, event: notify::Result<Event>) -> Option<Touch> {
    // After an error or an overflow nobody knows what was missed.
    let Ok(event) = event else { return Some(Touch::Finished) };
    if event.need_rescan() {
        return Some(Touch::Finished);
    }
    let kind = match event.kind {
        EventKind::Access(AccessKind::Close(AccessMode::Write)) | EventKind::Remove(_) | EventKind::Any => {
            Touch::Finished
        }
        EventKind::Modify(ModifyKind::Name(_) | ModifyKind::Metadata(_)) => Touch::Finished,
        // A new file is opened and closed; a new name for an old one, or a folder, is not.
        EventKind::Create(_) | EventKind::Modify(_) => Touch::Ongoing,
        EventKind::Access(_) | EventKind::Other => return None,
    };
    event.paths.iter().any(|path| matters(folder, path)).then_some(kind)
}

/// Whether a path is one of the files, one of the folders, or where a link leads.
fn matters(folder: &Path, path: &Path) -> bool {
    let aircraft = folder.join("aircraft");
    if path == folder || path == aircraft {
        return true;
    }
    let toml = path.extension().is_some_and(|ending| ending == "toml");
    match path.parent() {
        Some(parent) if parent == folder => path.file_name().is_some_and(|name| name == "rig.toml"),
        Some(parent) if parent == aircraft => toml,
        _ => true,
    }
}

/// Whether changes made on another machine may come to a folder without the system knowing.
#[cfg(target_os = "linux")]
fn network_drive(folder: &Path) -> bool {
    use nix::sys::statfs::{
        AFS_SUPER_MAGIC, CODA_SUPER_MAGIC, FUSE_SUPER_MAGIC, NCP_SUPER_MAGIC, NFS_SUPER_MAGIC,
        SMB_SUPER_MAGIC, statfs,
    };
    // The kernel's include/uapi/linux/magic.h; the numbers that nix has no names for, as nix holds numbers.
    const OTHERS: [u32; 3] =
        [0x0102_1997 /* 9P */, 0xFE53_4D42 /* SMB2 */, 0xFF53_4D42 /* CIFS */];
    let known = [
        AFS_SUPER_MAGIC,
        CODA_SUPER_MAGIC,
        FUSE_SUPER_MAGIC,
        NCP_SUPER_MAGIC,
        NFS_SUPER_MAGIC,
        SMB_SUPER_MAGIC,
    ];
    statfs(folder).is_ok_and(|found| {
        let kind = found.filesystem_type();
        known.contains(&kind) || u32::try_from(kind.0 & 0xFFFF_FFFF).is_ok_and(|kind| OTHERS.contains(&kind))
    })
}

#[cfg(not(target_os = "linux"))]
fn network_drive(_folder: &Path) -> bool {
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_files_and_their_folders_matter() {
        let folder = Path::new("/c");
        for (path, does) in [
            ("/c", true),
            ("/c/rig.toml", true),
            ("/c/rig.toml~", false),
            ("/c/tallywheel.log", false),
            ("/c/aircraft", true),
            ("/c/aircraft/heron.toml", true),
            ("/c/aircraft/heron.toml.swp", false),
            ("/elsewhere/heron.toml", true),
        ] {
            assert_eq!(matters(folder, Path::new(path)), does, "{path}");
        }
    }
}
