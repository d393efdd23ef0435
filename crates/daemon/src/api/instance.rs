//! One daemon for one configuration folder, and where it can be reached.
//!
//! In the user's runtime folder each configuration folder has two files, named by a hash of its path: one that
//! the daemon keeps locked for as long as it runs, and one with address and token. The lock is the kernel's and
//! goes with the process however it ends, so what a killed daemon left is taken over and never in the way.

use super::authentication::Token;
use serde::{Deserialize, Serialize};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The most attempts at the lock: clients that look whether a daemon runs hold it for a moment.
const TRIES: u32 = 5;
const BETWEEN_TRIES: Duration = Duration::from_millis(50);

/// Why the lock of a configuration folder could not be acquired.
#[derive(Debug, thiserror::Error)]
pub enum InstanceError {
    /// Another daemon holds the lock.
    #[error(
        "a daemon{} runs already for {}; `tallywheel status` shows it, end it before you start another",
        process.map_or_else(String::new, |process| format!(" (process {process})")), config.display()
    )]
    Taken {
        /// The configuration folder that the daemon runs for.
        config: PathBuf,
        /// Its process id, where it has written it.
        process: Option<u32>,
    },
    /// The runtime folder cannot be used, so nobody can tell whether a daemon runs.
    #[error("{path}: {source}")]
    System {
        /// The file or folder.
        path: PathBuf,
        /// The system's error.
        source: io::Error,
    },
}

/// The lock of a configuration folder, held until this is dropped.
#[derive(Debug)]
pub struct InstanceLock {
    config: PathBuf,
    endpoint: PathBuf,
    published: bool,
    _lock: File,
}

/// Where a daemon listens and what it expects.
#[derive(Debug, Clone)]
pub struct Endpoint {
    /// The address that it listens at.
    pub address: SocketAddr,
    /// The token that it expects.
    pub token: Token,
    /// Its process id.
    pub process: u32,
}

#[derive(Debug, Serialize, Deserialize)]
struct EndpointFile {
    tallywheel: u32,
    address: SocketAddr,
    token: String,
    process: u32,
    config: String,
}

/// Whether a daemon runs for a folder and can be reached.
#[derive(Debug)]
pub enum Lookup {
    /// One runs and listens here.
    Listening(Endpoint),
    /// One runs and does not listen.
    NotListening,
    /// None runs.
    NotRunning,
}

impl InstanceLock {
    /// Acquires the lock of the folder `config`, which stands in the folder `runtime`; that is made if need be.
    ///
    /// # Errors
    /// [`InstanceError`]
    pub fn acquire(runtime: &Path, config: &Path) -> Result<Self, InstanceError> {
        let at = |path: &Path| {
            let path = path.to_owned();
            move |source| InstanceError::System { path, source }
        };
        private_folder(runtime).map_err(at(runtime))?;
        let config = canonical(config);
        let (lock, endpoint) = files(runtime, &config);
        let file = private(&lock).map_err(at(&lock))?;
        for tried in 1.. {
            match file.try_lock() {
                Ok(()) => break,
                Err(TryLockError::Error(error)) => return Err(at(&lock)(error)),
                Err(TryLockError::WouldBlock) if tried < TRIES => std::thread::sleep(BETWEEN_TRIES),
                Err(TryLockError::WouldBlock) => {
                    let process = read(&endpoint).map(|endpoint| endpoint.process);
                    return Err(InstanceError::Taken { config, process });
                }
            }
        }
        // The daemon that had the lock before is gone, and nobody listens there any more.
        let _ = fs::remove_file(&endpoint);
        Ok(Self { config, endpoint, published: false, _lock: file })
    }

    /// Writes the endpoint file, by which this user's programs find the daemon.
    ///
    /// # Errors
    /// The system's, where the file cannot be written.
    pub fn publish(&mut self, address: SocketAddr, token: &Token) -> io::Result<()> {
        let text = serde_json::to_vec(&EndpointFile {
            tallywheel: tallywheel_engine::state::status::FORM,
            address,
            token: token.as_str().to_owned(),
            process: std::process::id(),
            config: self.config.display().to_string(),
        })?;
        // The file appears whole by the rename, and it is never readable for others, not even for a moment.
        let half = self.endpoint.with_extension("new");
        let _ = fs::remove_file(&half);
        let mut file = private(&half)?;
        file.write_all(&text)?;
        drop(file);
        fs::rename(&half, &self.endpoint)?;
        self.published = true;
        Ok(())
    }
}

impl Drop for InstanceLock {
    fn drop(&mut self) {
        if self.published {
            // The file goes before the lock does: after that it could be the next daemon's.
            let _ = fs::remove_file(&self.endpoint);
        }
    }
}

/// Looks for the daemon that runs for the folder `config`; `runtime` is the folder of locks.
#[must_use]
pub fn find(runtime: &Path, config: &Path) -> Lookup {
    let (lock, endpoint) = files(runtime, &canonical(config));
    if let Some(endpoint) = read(&endpoint) {
        return Lookup::Listening(endpoint);
    }
    match File::open(lock).map(|file| file.try_lock_shared()) {
        Ok(Err(TryLockError::WouldBlock)) => Lookup::NotListening,
        _ => Lookup::NotRunning,
    }
}

fn read(endpoint: &Path) -> Option<Endpoint> {
    let file: EndpointFile = serde_json::from_slice(&fs::read(endpoint).ok()?).ok()?;
    // The token is sent to this machine only.
    file.address.ip().is_loopback().then_some(())?;
    let token = Token::from_text(&file.token)?;
    Some(Endpoint { address: file.address, token, process: file.process })
}

fn canonical(config: &Path) -> PathBuf {
    fs::canonicalize(config).or_else(|_| std::path::absolute(config)).unwrap_or_else(|_| config.to_owned())
}

fn files(runtime: &Path, config: &Path) -> (PathBuf, PathBuf) {
    // FNV-1a with 64 bits (RFC 9923): the same in every version of the program, and it keeps nothing secret.
    let hash = config.as_os_str().as_encoded_bytes().iter().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3)
    });
    (runtime.join(format!("{hash:016x}.lock")), runtime.join(format!("{hash:016x}.json")))
}

/// Opens or makes a file that only this user can read. On Windows the folder sees to that.
fn private(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.read(true).write(true).create(true).truncate(false);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)
}

/// Makes a folder that only this user can look into.
fn private_folder(path: &Path) -> io::Result<()> {
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)?;
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        if fs::metadata(path)?.permissions().mode() & 0o077 != 0 {
            // Fails where the folder is another user's, whom it must not be trusted to.
            fs::set_permissions(path, fs::Permissions::from_mode(0o700))?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Folder(PathBuf);

    impl Folder {
        fn new(test: &str) -> Self {
            let path =
                std::env::temp_dir().join(format!("tallywheel-instance-{test}-{}", std::process::id()));
            let _ = fs::remove_dir_all(&path);
            fs::create_dir_all(path.join("config")).unwrap();
            fs::create_dir_all(path.join("other")).unwrap();
            Self(path)
        }

        fn acquire(&self, config: &str) -> Result<InstanceLock, InstanceError> {
            InstanceLock::acquire(&self.0.join("run"), &self.0.join(config))
        }

        fn find(&self, config: &str) -> Lookup {
            find(&self.0.join("run"), &self.0.join(config))
        }
    }

    impl Drop for Folder {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    fn address() -> SocketAddr {
        "127.0.0.1:4711".parse().unwrap()
    }

    /// The published test vectors of FNV-1a 64: the empty string, "a" and "foobar" (RFC 9923, appendix).
    #[cfg(unix)]
    #[test]
    fn files_are_named_by_the_published_hash() {
        let vectors = [("", "cbf29ce484222325"), ("a", "af63dc4c8601ec8c"), ("foobar", "85944171f73967e8")];
        for (text, hash) in vectors {
            let (lock, endpoint) = files(Path::new("run"), Path::new(text));
            assert_eq!(lock, Path::new("run").join(format!("{hash}.lock")));
            assert_eq!(endpoint, Path::new("run").join(format!("{hash}.json")));
        }
    }

    #[test]
    fn a_folder_is_had_once_at_a_time_by_any_of_its_names() {
        let folder = Folder::new("once");
        let mut held = folder.acquire("config").unwrap();
        held.publish(address(), &Token::new().unwrap()).unwrap();
        let again = folder.acquire("other/../config").unwrap_err();
        assert!(matches!(again, InstanceError::Taken { process: Some(id), .. } if id == std::process::id()));
        let said = again.to_string();
        assert!(
            said.starts_with(&format!("a daemon (process {}) runs already for ", std::process::id())),
            "{said}"
        );
        assert!(folder.acquire("other").is_ok(), "another folder is another daemon's");
        drop(held);
        assert!(folder.acquire("config").is_ok());
    }

    #[test]
    fn whoever_looks_finds_what_was_published_and_nothing_after_the_end() {
        let folder = Folder::new("find");
        assert!(matches!(folder.find("config"), Lookup::NotRunning));
        let mut held = folder.acquire("config").unwrap();
        assert!(matches!(folder.find("config"), Lookup::NotListening));
        let token = Token::new().unwrap();
        held.publish(address(), &token).unwrap();
        let Lookup::Listening(endpoint) = folder.find("config") else { panic!() };
        assert_eq!((endpoint.address, endpoint.token), (address(), token));
        assert!(matches!(folder.find("other"), Lookup::NotRunning));
        drop(held);
        assert!(matches!(folder.find("config"), Lookup::NotRunning));
    }

    #[test]
    fn what_a_killed_daemon_left_is_taken_over() {
        let folder = Folder::new("killed");
        let mut held = folder.acquire("config").unwrap();
        held.publish(address(), &Token::new().unwrap()).unwrap();
        held.published = false;
        // As after kill -9: the lock is gone, the files are not.
        drop(held);
        assert!(matches!(folder.find("config"), Lookup::Listening(_)));
        let _held = folder.acquire("config").unwrap();
        assert!(matches!(folder.find("config"), Lookup::NotListening), "the old address leads nowhere");
    }

    #[cfg(unix)]
    #[test]
    fn only_the_user_can_read_any_of_it() {
        use std::os::unix::fs::PermissionsExt;
        let folder = Folder::new("modes");
        let runtime = folder.0.join("run");
        fs::create_dir(&runtime).unwrap();
        fs::set_permissions(&runtime, fs::Permissions::from_mode(0o755)).unwrap();
        let mut held = folder.acquire("config").unwrap();
        held.publish(address(), &Token::new().unwrap()).unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        assert_eq!(mode(&runtime), 0o700);
        let files: Vec<_> = fs::read_dir(&runtime).unwrap().map(|entry| entry.unwrap().path()).collect();
        assert_eq!(files.len(), 2, "{files:?}");
        for file in files {
            assert_eq!(mode(&file), 0o600, "{}", file.display());
        }
    }

    /// A file that somebody else put there must not make us send the token to another machine.
    #[test]
    fn addresses_elsewhere_and_damaged_files_are_not_believed() {
        let folder = Folder::new("damaged");
        let mut held = folder.acquire("config").unwrap();
        held.publish("192.0.2.1:80".parse().unwrap(), &Token::new().unwrap()).unwrap();
        assert!(matches!(folder.find("config"), Lookup::NotListening));
        for text in ["", "{}", "{\"address\":\"127.0.0.1:1\",\"token\":\"\"}", "\0"] {
            fs::write(&held.endpoint, text).unwrap();
            assert!(matches!(folder.find("config"), Lookup::NotListening), "{text}");
        }
    }
}
