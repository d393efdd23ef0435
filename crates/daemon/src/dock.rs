//! Keeps every board of the rig read: opens it, hands it to a thread of its own, waits for it to come back.
//!
//! Looking for boards costs tens of milliseconds, so it is done when a device node changed and never on a
//! timer, but for the second after a change in which udev may still be setting permissions.

use crate::clock::Clock;
use crate::devwatch::{self, Node};
use crate::note::{BoardChange, Note, Notes};
use crate::plan::{BoardPath, BoardPlan};
use crate::station::Station;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender};
use std::sync::Arc;
use std::thread;
use std::time::Duration;
use tallywheel_hid_reader::{Hid, OpenBoard, ReportSource, SourceError};
use tallywheel_units::BoardIndex;

/// How long after a change an open that is refused may be udev still at work
/// (measured: about one open in ten right after plugging in is refused).
const SETTLE: Duration = Duration::from_secs(1);
/// How often an open is tried again while things settle.
const SETTLE_STEP: Duration = Duration::from_millis(100);
/// How often boards are looked for where the system cannot tell of changes, only while one is missing.
const LOOK_STEP: Duration = Duration::from_secs(2);
/// The largest report that is read; hidraw allows 16 KiB, boards with 128 buttons send less than 64 bytes.
const REPORT_BYTES_MAX: usize = 4096;
