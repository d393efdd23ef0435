//! The running daemon's last hour on disk, off the fast path.
//!
//! On the reader's thread a [`RecordingFilter`](crate::recording_filter::RecordingFilter) picks the reports worth keeping and posts each as a sample of
//! fixed size: nothing is allocated, written or waited for there. On the other side of the queue the [`Recorder`]
//! appends them to a recording per board, in segments that are thrown away when they are old. [`find`] puts
//! the segments together again.
//!
//! | what | limit |
//! |---|---|
//! | bytes kept of a report | 64 |
//! | reports kept while no line of a wheel changes | those of 200 ms after a change, and the last one before the next |
//! | a segment | 10 minutes or 4 MiB, whichever comes first |
//! | segments of a board | 7, so at least the last hour, or 28 MiB |
//! | time to the disk | 100 ms, while something moves; nothing is done while nothing moves |

mod find;
mod segments;
#[cfg(test)]
mod tests;

pub use find::{Found, Start, find, merge};
pub use segments::{FOLDER, Recorder};
