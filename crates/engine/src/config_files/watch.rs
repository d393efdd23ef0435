//! Tells when something in the folder of the user's files changes.
//!
//! `notify` asks the system; where that cannot be had, or on a network drive, whose server tells nobody of changes
//! made elsewhere, it looks once a second. Only the two folders that matter are watched, and the folders of files
//! that are links to elsewhere; what happens to other files (a log may be in the same folder) ends on `notify`'s
//! own thread.

use super::debouncer::FileEvent;
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

/// What tells of events, of whatever kind.
type Watching = Box<dyn Watcher + Send>;
/// What it tells them to.
type Told = Box<dyn FnMut(notify::Result<Event>) + Send>;

/// A watch on one folder.
pub struct Watch {
    folder: PathBuf,
    watcher: Option<Watching>,
    watched: BTreeSet<PathBuf>,
    touches: mpsc::Receiver<FileEvent>,
    polling: Option<String>,
}

impl Watch {
    /// A watch that is on. What changed before is not told of.
    #[must_use]
    pub fn new(folder: &Path) -> Self {
        // The folder of aircraft, or what files in it are links to, may lie elsewhere.
        let network = folders(folder).iter().any(|folder| network_drive(folder));
        Self::choose(folder, network, |told| {
            Ok(Box::new(RecommendedWatcher::new(told, notify::Config::default())?))
        })
    }

    /// One that looks once a second because of `reason`, whatever the system could tell.
    #[must_use]
    pub fn looking(folder: &Path, reason: &str) -> Self {
        let (told, touches) = channel(folder);
        let config = notify::Config::default().with_poll_interval(POLL).with_compare_contents(true);
        let poller: Option<Watching> = match PollWatcher::new(told, config) {
            Ok(poller) => Some(Box::new(poller)),
            Err(_) => None,
        };
        Self::on(folder, poller, touches, Some(reason.to_owned()))
    }

    /// One that is told by whoever has the other end, for tests in virtual time. It is on whatever the folder is.
    #[must_use]
    pub fn scripted(folder: &Path) -> (mpsc::Sender<FileEvent>, Self) {
        let (send, touches) = mpsc::channel(QUEUE_TOUCHES);
        let watched = [folder.to_owned()].into();
        (send, Self { folder: folder.to_owned(), watcher: None, watched, touches, polling: None })
    }

    /// One that the system tells, by what `native` makes; one that looks where that cannot be had, or would not be
    /// told of everything.
    fn choose(folder: &Path, network: bool, native: impl FnOnce(Told) -> notify::Result<Watching>) -> Self {
        if network {
            return Self::looking(folder, "the folder is on a network drive");
        }
        let (told, touches) = channel(folder);
        let watcher = match native(told) {
            Ok(watcher) => watcher,
            Err(error) => return Self::looking(folder, &error.to_string()),
        };
        let watch = Self::on(folder, Some(watcher), touches, None);
        if watch.watched.is_empty() && folder.is_dir() {
            // The system's watches are all in use.
            return Self::looking(folder, "the system gives no more watches");
        }
        watch
    }

    fn on(
        folder: &Path,
        watcher: Option<Watching>,
        touches: mpsc::Receiver<FileEvent>,
        polling: Option<String>,
    ) -> Self {
        let mut watch =
            Self { folder: folder.to_owned(), watcher, watched: BTreeSet::new(), touches, polling };
        watch.refresh();
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
    pub async fn touched(&mut self) -> FileEvent {
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

/// What a watcher of `folder` tells, and where that comes out if it matters.
fn channel(folder: &Path) -> (Told, mpsc::Receiver<FileEvent>) {
    let (send, touches) = mpsc::channel(QUEUE_TOUCHES);
    let folder = folder.to_owned();
    let told = move |event: notify::Result<Event>| {
        if let Some(touch) = touch(&folder, event) {
            // A full queue wakes the reader anyway.
            let _ = send.try_send(touch);
        }
    };
    (Box::new(told), touches)
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
fn touch(folder: &Path, event: notify::Result<Event>) -> Option<FileEvent> {
    // After an error or an overflow nobody knows what was missed.
    let Ok(event) = event else { return Some(FileEvent::Finished) };
    if event.need_rescan() {
        return Some(FileEvent::Finished);
    }
    let kind = match event.kind {
        EventKind::Access(AccessKind::Close(AccessMode::Write)) | EventKind::Remove(_) | EventKind::Any => {
            FileEvent::Finished
        }
        EventKind::Modify(ModifyKind::Name(_) | ModifyKind::Metadata(_)) => FileEvent::Finished,
        // A new file is opened and closed; a new name for an old one, or a folder, is not.
        EventKind::Create(_) | EventKind::Modify(_) => FileEvent::Ongoing,
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
    let kind = nix::sys::statfs::statfs(folder).map(|found| found.filesystem_type().0);
    // Its width differs between systems; the number itself has 32 bits.
    kind.is_ok_and(|kind| u32::try_from(kind & 0xFFFF_FFFF).is_ok_and(is_network))
}

/// Whether files of this kind of file system lie on another machine. The numbers are those of the kernel's
/// include/uapi/linux/magic.h.
#[cfg(target_os = "linux")]
const fn is_network(kind: u32) -> bool {
    matches!(
        kind,
        0x0000_517B // SMB
            | 0x0000_564C // NCP
            | 0x0000_6969 // NFS
            | 0x00C3_6400 // Ceph
            | 0x0102_1997 // 9P
            | 0x5346_414F // AFS
            | 0x6B41_4653 // AFS, the kernel's own
            | 0x6573_5546 // FUSE
            | 0x7375_7245 // Coda
            | 0xFE53_4D42 // SMB2
            | 0xFF53_4D42 // CIFS
    )
}

#[cfg(not(target_os = "linux"))]
fn network_drive(_folder: &Path) -> bool {
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use notify::{Config, Error, EventHandler, WatcherKind};

    /// A folder of files that is gone when the test ends.
    struct Temporary(PathBuf);

    impl Temporary {
        fn new(test: &str) -> Self {
            let folder = std::env::temp_dir().join(format!("tallywheel-watch-{test}-{}", std::process::id()));
            let _ = std::fs::remove_dir_all(&folder);
            std::fs::create_dir_all(folder.join("aircraft")).unwrap();
            Self(folder)
        }
    }

    impl Drop for Temporary {
        fn drop(&mut self) {
            let _ = std::fs::remove_dir_all(&self.0);
        }
    }

    /// A system whose watches are all in use.
    struct Exhausted;

    impl Watcher for Exhausted {
        fn new<F: EventHandler>(_told: F, _config: Config) -> notify::Result<Self> {
            Ok(Self)
        }

        fn watch(&mut self, _path: &Path, _mode: RecursiveMode) -> notify::Result<()> {
            Err(Error::generic("no space left on device"))
        }

        fn unwatch(&mut self, _path: &Path) -> notify::Result<()> {
            Ok(())
        }

        fn kind() -> WatcherKind {
            WatcherKind::NullWatcher
        }
    }

    /// Whether a saved file is told of.
    fn tells(watch: &mut Watch) -> bool {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        // Another text each time: one that stays the same is no change.
        let text = format!("name = \"{}\"\n", watch.polling().unwrap_or("told"));
        std::fs::write(watch.folder.join("rig.toml"), text).unwrap();
        let told = async { tokio::time::timeout(Duration::from_secs(60), watch.touched()).await };
        runtime.block_on(told).is_ok()
    }

    #[test]
    fn what_the_system_cannot_tell_is_looked_for_and_the_reason_is_known() {
        let folder = Temporary::new("reasons");
        let mut told = Watch::choose(&folder.0, false, |told| {
            Ok(Box::new(RecommendedWatcher::new(told, Config::default())?))
        });
        assert_eq!(told.polling(), None);
        assert!(tells(&mut told));
        let mut refused = Watch::choose(&folder.0, false, |_| {
            Err(Error::io(std::io::Error::from(std::io::ErrorKind::PermissionDenied)))
        });
        assert_eq!(refused.polling(), Some("permission denied"));
        assert!(refused.is_on() && tells(&mut refused));
        let mut exhausted = Watch::choose(&folder.0, false, |_| Ok(Box::new(Exhausted)));
        assert_eq!(exhausted.polling(), Some("the system gives no more watches"));
        assert!(exhausted.is_on() && tells(&mut exhausted));
        let mut network =
            Watch::choose(&folder.0, true, |_| panic!("the system knows nothing of this folder"));
        assert_eq!(network.polling(), Some("the folder is on a network drive"));
        assert!(network.is_on() && tells(&mut network));
    }

    #[test]
    fn a_folder_that_is_not_there_is_no_reason_to_look_at_it() {
        let nowhere = std::env::temp_dir().join("tallywheel-watch-that-nobody-makes");
        let watch = Watch::choose(&nowhere, false, |_| Ok(Box::new(Exhausted)));
        assert_eq!((watch.polling(), watch.is_on()), (None, false));
    }

    /// The numbers of statfs(2).
    #[cfg(target_os = "linux")]
    #[test]
    fn file_systems_of_other_machines_are_known() {
        let remote: [u32; 11] = [
            0x6969,
            0x517B,
            0xFF53_4D42,
            0xFE53_4D42,
            0x0102_1997,
            0x5346_414F,
            0x6B41_4653,
            0x7375_7245,
            0x564C,
            0x6573_5546,
            0x00C3_6400,
        ];
        for kind in remote {
            assert!(is_network(kind), "{kind:#x}");
        }
        // ext4, tmpfs, btrfs, XFS, overlay, F2FS, exFAT, MS-DOS.
        for kind in
            [0xEF53, 0x0102_1994, 0x9123_683E, 0x5846_5342, 0x794C_7630, 0xF2F5_2010, 0x2011_BAB0, 0x4D44]
        {
            assert!(!is_network(kind), "{kind:#x}");
        }
        assert!(!network_drive(Path::new("/proc")));
    }

    #[test]
    fn only_the_files_and_their_folders_matter() {
        let folder = Path::new("/c");
        for (path, does) in [
            ("/c", true),
            ("/c/rig.toml", true),
            ("/c/rig.toml~", false),
            ("/c/tallywheel.log", false),
            ("/c/aircraft", true),
            ("/c/aircraft/kettrin.toml", true),
            ("/c/aircraft/kettrin.toml.swp", false),
            ("/elsewhere/kettrin.toml", true),
        ] {
            assert_eq!(matters(folder, Path::new(path)), does, "{path}");
        }
    }
}
