//! What wakes the device manager.

use crate::devwatch::Node;
use crate::runtime_config::BoardConfig;
use crossbeam_channel::{Receiver, Sender};
use tallywheel_units::{Counts, WheelIndex};

/// The most wake-ups that wait; more would tell nothing new.
const QUEUE_EVENTS: usize = 64;

/// The number that tells one reading of a board from the next.
pub(super) type ReaderId = u64;

/// One reason to wake.
#[derive(Debug)]
pub(super) enum DeviceEvent {
    /// A device node changed.
    Node(Node),
    /// A reader ended because its board is gone.
    Gone(ReaderId),
    /// The time at which the outputs want something may have changed.
    OutputDeadline,
    /// The rig has these boards now.
    Rig(Vec<BoardConfig>),
    /// Somebody knows how far a wheel turned.
    Confirm { wheel: WheelIndex, turned: Counts },
}

/// The sending end; it wakes the device manager.
#[derive(Debug, Clone)]
pub struct DeviceSender(Sender<DeviceEvent>);

/// The device manager's end.
#[derive(Debug)]
pub struct DeviceReceiver(pub(super) Receiver<DeviceEvent>);

/// Makes both ends of a queue of 64 events.
#[must_use]
pub fn channel() -> (DeviceSender, DeviceReceiver) {
    let (send, receive) = crossbeam_channel::bounded(QUEUE_EVENTS);
    (DeviceSender(send), DeviceReceiver(receive))
}

impl DeviceSender {
    /// The outputs' deadline may have changed. Never waits; a full queue wakes the device manager anyway.
    pub fn output_changed(&self) {
        let _ = self.0.try_send(DeviceEvent::OutputDeadline);
    }

    /// The rig file changed. Waits for a place in the queue: a reader's thread must not call it.
    pub fn rig_changed(&self, boards: Vec<BoardConfig>) {
        let _ = self.0.send(DeviceEvent::Rig(boards));
    }

    /// Somebody knows that a wheel turned by so many counts, in its decoder's direction, since the last time.
    /// Waits for a place in the queue.
    pub fn confirm(&self, wheel: WheelIndex, turned: Counts) {
        let _ = self.0.send(DeviceEvent::Confirm { wheel, turned });
    }

    /// The board that this reader read is gone. Waits for a place in the queue, since it must not be lost; the reader
    /// has nothing left to delay.
    pub(super) fn gone(&self, reader: ReaderId) {
        let _ = self.0.send(DeviceEvent::Gone(reader));
    }

    /// A device node changed. Waits for a place in the queue, so that no change is missed; the watch has a thread of its
    /// own. False where nobody is left to tell.
    pub(super) fn node(&self, node: Node) -> bool {
        self.0.send(DeviceEvent::Node(node)).is_ok()
    }
}
