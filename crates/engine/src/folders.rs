//! Where files belong on this platform: configuration by the XDG base directories on Linux, the roaming
//! folder on Windows; logs in the state folder, the local one on Windows; address and token of the running
//! daemon in the runtime folder.

use etcetera::BaseStrategy;
use std::path::PathBuf;

/// The user has no home folder.
#[derive(Debug, thiserror::Error)]
#[error("cannot find your home folder; name the folder with {option}")]
pub struct NoHome {
    option: &'static str,
}

/// The user's configuration folder for Tallywheel; it need not exist.
///
/// # Errors
/// [`NoHome`] where the system names no home folder.
pub fn config() -> Result<PathBuf, NoHome> {
    let base = etcetera::choose_base_strategy().map_err(|_| NoHome { option: "--config" })?;
    Ok(base.config_dir().join("tallywheel"))
}

/// The user's folder for Tallywheel's log files; it need not exist.
///
/// # Errors
/// [`NoHome`] where the system names no home folder.
pub fn logs() -> Result<PathBuf, NoHome> {
    let base = etcetera::choose_base_strategy().map_err(|_| NoHome { option: "--log-dir" })?;
    Ok(base.state_dir().unwrap_or_else(|| base.cache_dir()).join("tallywheel"))
}

/// The user's folder for what belongs to the running daemon; it need not exist. Without a runtime folder, as in
/// a session that nobody logged in to, it is in the state folder; on Windows in the local one.
///
/// # Errors
/// [`NoHome`] where the system names no home folder either.
pub fn runtime() -> Result<PathBuf, NoHome> {
    let base = etcetera::choose_base_strategy().map_err(|_| NoHome { option: "XDG_RUNTIME_DIR" })?;
    match base.runtime_dir() {
        Some(folder) => Ok(folder.join("tallywheel")),
        None => Ok(base.state_dir().unwrap_or_else(|| base.cache_dir()).join("tallywheel").join("run")),
    }
}
