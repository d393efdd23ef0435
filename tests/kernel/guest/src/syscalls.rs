//! Counts the system calls of a process by the kernel's own tracepoint, so nothing is attached to the process.
//!
//! Linux `Documentation/trace/histogram.rst`: a `hist` trigger on raw_syscalls:sys_enter, keyed by thread.

use std::fs;

use crate::Failure;

const EVENT: &str = "/sys/kernel/tracing/events/raw_syscalls/sys_enter";

/// Counting, from its making until it is dropped.
pub(crate) struct SyscallCount {}

impl SyscallCount {
    /// Starts from zero.
    pub(crate) fn start() -> Result<Self, Failure> {
        fs::write(format!("{EVENT}/trigger"), "hist:keys=common_pid:size=2048")?;
        Ok(Self {})
    }

    /// Calls so far by all threads of a process.
    pub(crate) fn of(&self, process: u32) -> Result<u64, Failure> {
        let table = fs::read_to_string(format!("{EVENT}/hist"))?;
        let mut sum = 0;
        for thread in fs::read_dir(format!("/proc/{process}/task"))? {
            let thread = thread?.file_name().to_string_lossy().into_owned();
            // `{ common_pid:        123 } hitcount:         42`
            for line in table.lines().filter(|line| line.starts_with("{ common_pid:")) {
                let words: Vec<&str> =
                    line.split([' ', ':', '{', '}']).filter(|word| !word.is_empty()).collect();
                if let ["common_pid", id, "hitcount", hits] = words.as_slice()
                    && *id == thread
                {
                    sum += hits.parse::<u64>()?;
                }
            }
        }
        Ok(sum)
    }
}

impl Drop for SyscallCount {
    fn drop(&mut self) {
        let _ = fs::write(format!("{EVENT}/trigger"), "!hist:keys=common_pid:size=2048");
    }
}
