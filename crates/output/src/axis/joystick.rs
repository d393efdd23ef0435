use super::Place;
use super::event::{EVENT_BYTES, encode};
use crate::{ConfigProblem, Frame, Output, OutputError};
use evdev::{AbsoluteAxisCode, EventType, SynchronizationCode};
use std::io::{self, Write};
use tallywheel_units::TrimIndex;

/// Sends axis values to `W`, the open uinput node: one `write` per change, of only what changed.
#[derive(Debug)]
pub(super) struct Joystick<W> {
    name: String,
    node: W,
    axes: Vec<Axis>,
    /// The bytes of one write; it has room for every axis and the report's end from the start.
    batch: Vec<u8>,
}

#[derive(Debug)]
struct Axis {
    trim: TrimIndex,
    code: AbsoluteAxisCode,
    /// What the kernel has.
    current: i32,
}

impl<W: Write> Joystick<W> {
    /// For a device that was created with the values in `places`.
    pub(super) fn new(name: String, node: W, places: &[Place]) -> Self {
        let axes: Vec<_> = places
            .iter()
            .map(|place| Axis {
                trim: place.trim,
                code: super::device::kernel_code(place.axis),
                current: place.value,
            })
            .collect();
        let batch = Vec::with_capacity((axes.len() + 1) * EVENT_BYTES);
        Self { name, node, axes, batch }
    }
}

impl<W: Write + Send> Output for Joystick<W> {
    fn name(&self) -> &str {
        &self.name
    }

    fn publish(&mut self, frame: &Frame<'_>) -> Result<(), OutputError> {
        self.batch.clear();
        for axis in &self.axes {
            let reading = frame.trim(axis.trim).ok_or(ConfigProblem::NoSuchTrim(axis.trim))?;
            let value = reading.axis.get();
            if value != axis.current {
                self.batch.extend_from_slice(&encode(EventType::ABSOLUTE.0, axis.code.0, value));
            }
        }
        if self.batch.is_empty() {
            return Ok(());
        }
        let end = encode(EventType::SYNCHRONIZATION.0, SynchronizationCode::SYN_REPORT.0, 0);
        self.batch.extend_from_slice(&end);
        write_once(&mut self.node, &self.batch)?;
        // Only now has the kernel got them; after an error the next publish sends them again.
        for axis in &mut self.axes {
            if let Some(reading) = frame.trim(axis.trim) {
                axis.current = reading.axis.get();
            }
        }
        Ok(())
    }
}

/// One write of the whole batch. The kernel takes a batch whole or not at all unless it fails on the way,
/// so there is no second write for a rest: the device would show half a change.
fn write_once(node: &mut impl Write, batch: &[u8]) -> Result<(), OutputError> {
    let gone = |source| OutputError::Reopen {
        reason: "the virtual joystick does not take positions any more",
        cure: "if it stays away, run `modprobe uinput`",
        source,
    };
    loop {
        match node.write(batch) {
            Ok(written) if written == batch.len() => return Ok(()),
            Ok(_) => return Err(gone(io::ErrorKind::WriteZero.into())),
            // A signal came before anything was written.
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(gone(error)),
        }
    }
}
