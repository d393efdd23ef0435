//! Which programs have a device open, as far as this user may see (proc(5)).

use crate::doctor::facts::Holder;
use std::fs;
use std::path::{Path, PathBuf};

/// Those that have one of `nodes` open, but for `own`, by their processes.
pub(super) fn holders(proc: &Path, nodes: &[PathBuf], own: &[Option<u32>]) -> Vec<Holder> {
    let mut holders = Vec::new();
    for entry in fs::read_dir(proc).into_iter().flatten().flatten() {
        let Some(process) = entry.file_name().to_str().and_then(|name| name.parse().ok()) else { continue };
        // Those of other users cannot be looked into, and those that just ended have nothing open.
        let mut handles = fs::read_dir(entry.path().join("fd")).into_iter().flatten().flatten();
        let holds = handles.any(|handle| fs::read_link(handle.path()).is_ok_and(|to| nodes.contains(&to)));
        if holds && !own.contains(&Some(process)) {
            let name = fs::read_to_string(entry.path().join("comm")).unwrap_or_default();
            holders.push(Holder { process, name: name.trim().to_owned() });
        }
    }
    holders.sort_by_key(|holder| holder.process);
    holders
}
