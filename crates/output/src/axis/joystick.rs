use super::device::kernel_code;
use super::event::{EVENT_BYTES, encode};
use super::{Course, Place};
use crate::{ConfigProblem, Frame, Output, OutputError};
use evdev::{AbsoluteAxisCode, EventType, SynchronizationCode};
use std::io::{self, Write};
use tallywheel_profile::{AxisCode, OutputConfig};
use tallywheel_units::{AxisValue, TrimIndex};

/// Sends axis values to `W`, the open uinput node: one `write` per change, of only what changed.
#[derive(Debug)]
pub(super) struct Joystick<W> {
    name: String,
    node: W,
    axes: Vec<Axis>,
    course: Course,
    /// The bytes of one write; it has room for every axis and the report's end from the start.
    batch: Vec<u8>,
}

#[derive(Debug)]
struct Axis {
    /// What moves it; with nothing it rests in the middle.
    trim: Option<TrimIndex>,
    code: AbsoluteAxisCode,
    /// What the kernel has.
    current: i32,
}

impl<W: Write> Joystick<W> {
    /// For a device that was created with the values in `places`, and with the axes of `declared` in the middle.
    pub(super) fn new(
        name: String,
        node: W,
        places: &[Place],
        declared: &[AxisCode],
        course: Course,
    ) -> Self {
        let mut axes: Vec<_> = places
            .iter()
            .map(|place| Axis { trim: Some(place.trim), code: kernel_code(place.axis), current: place.value })
            .collect();
        for code in declared.iter().map(|axis| kernel_code(*axis)) {
            if !axes.iter().any(|axis| axis.code == code) {
                axes.push(Axis { trim: None, code, current: AxisValue::NEUTRAL.get() });
            }
        }
        let batch = Vec::with_capacity((axes.len() + 1) * EVENT_BYTES);
        Self { name, node, axes, course, batch }
    }
}

impl<W: Write + Send> Output for Joystick<W> {
    fn name(&self) -> &str {
        &self.name
    }

    fn publish(&mut self, frame: &Frame<'_>) -> Result<(), OutputError> {
        self.batch.clear();
        for axis in &self.axes {
            let value = axis.value(frame, self.course)?;
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
            axis.current = axis.value(frame, self.course)?;
        }
        Ok(())
    }

    /// The device keeps the axes that it was created with; which trims move them may change.
    fn remap(&mut self, config: &OutputConfig) -> bool {
        let OutputConfig::Axis { axes, scale, .. } = config else { return false };
        let has = |axis: AxisCode| self.axes.iter().any(|own| own.code == kernel_code(axis));
        if !axes.iter().all(|(_, axis)| has(*axis)) {
            return false;
        }
        self.course = Course::new(*scale);
        for own in &mut self.axes {
            own.trim = axes.iter().find(|(_, axis)| kernel_code(*axis) == own.code).map(|(trim, _)| *trim);
        }
        true
    }
}

impl Axis {
    fn value(&self, frame: &Frame<'_>, course: Course) -> Result<i32, ConfigProblem> {
        let Some(trim) = self.trim else { return Ok(AxisValue::NEUTRAL.get()) };
        frame.trim(trim).map(|reading| course.value(reading)).ok_or(ConfigProblem::NoSuchTrim(trim))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{ErrorKind, TrimReading};
    use std::collections::VecDeque;
    use tallywheel_units::Timestamp;

    /// Takes what a uinput node would, one entry per `write`.
    #[derive(Debug, Default)]
    struct Node {
        writes: Vec<Vec<u8>>,
        answers: VecDeque<io::Result<usize>>,
    }

    impl Write for Node {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.writes.push(bytes.to_vec());
            self.answers.pop_front().unwrap_or(Ok(bytes.len()))
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    fn readings(values: &[i64]) -> Vec<TrimReading> {
        values
            .iter()
            .map(|&value| TrimReading { axis: AxisValue::clamped(value), ..TrimReading::NEUTRAL })
            .collect()
    }

    fn publish(joystick: &mut Joystick<Node>, values: &[i64]) -> Result<(), OutputError> {
        joystick.publish(&Frame { at: Timestamp::START, sequence: 0, trims: &readings(values) })
    }

    /// Trim 0 on RZ from 100, trim 1 on X from neutral.
    fn joystick() -> Joystick<Node> {
        let place = |trim, axis, value| Place { trim: TrimIndex::new(trim), axis, value };
        let places = [place(0, AxisCode::Rz, 100), place(1, AxisCode::X, 0)];
        Joystick::new("axis".to_owned(), Node::default(), &places, &[AxisCode::Y, AxisCode::X], Course::Whole)
    }

    /// Type, code and value by their places in `struct input_event` on a 64-bit little-endian machine.
    #[cfg(all(target_pointer_width = "64", target_endian = "little"))]
    fn events(write: &[u8]) -> Vec<(u16, u16, i32)> {
        assert_eq!(write.len() % 24, 0);
        write
            .chunks(24)
            .map(|event| {
                (
                    u16::from_le_bytes([event[16], event[17]]),
                    u16::from_le_bytes([event[18], event[19]]),
                    i32::from_le_bytes([event[20], event[21], event[22], event[23]]),
                )
            })
            .collect()
    }

    /// Codes from `include/uapi/linux/input-event-codes.h`: EV_SYN 0, EV_ABS 3, ABS_X 0, ABS_RZ 5,
    /// SYN_REPORT 0.
    #[cfg(all(target_pointer_width = "64", target_endian = "little"))]
    #[test]
    fn each_change_is_one_write_of_what_changed_and_the_reports_end() {
        let mut joystick = joystick();
        publish(&mut joystick, &[100, 0]).unwrap();
        assert!(joystick.node.writes.is_empty(), "the device was created in this position");
        publish(&mut joystick, &[101, 0]).unwrap();
        publish(&mut joystick, &[-32767, 32767]).unwrap();
        publish(&mut joystick, &[-32767, 32767]).unwrap();
        publish(&mut joystick, &[-32767, 0]).unwrap();
        let writes: Vec<_> = joystick.node.writes.iter().map(|write| events(write)).collect();
        assert_eq!(
            writes,
            [
                vec![(3, 5, 101), (0, 0, 0)],
                vec![(3, 5, -32767), (3, 0, 32767), (0, 0, 0)],
                vec![(3, 0, 0), (0, 0, 0)],
            ]
        );
    }

    /// Another aircraft is flown with the same joystick: trim 0 is on Y then, and what was on RZ and X rests.
    #[cfg(all(target_pointer_width = "64", target_endian = "little"))]
    #[test]
    fn another_aircraft_moves_the_axes_of_the_same_device() {
        let config = |axis| OutputConfig::Axis {
            device: None,
            axes: vec![(TrimIndex::new(0), axis)],
            declared: vec![],
            scale: tallywheel_profile::Scale::UNIT,
        };
        let mut joystick = joystick();
        assert!(!joystick.remap(&config(AxisCode::Rudder)));
        publish(&mut joystick, &[100, 0]).unwrap();
        assert!(joystick.node.writes.is_empty(), "nothing has changed so far");
        assert!(joystick.remap(&config(AxisCode::Y)));
        publish(&mut joystick, &[7]).unwrap();
        assert_eq!(events(&joystick.node.writes[0]), [(3, 5, 0), (3, 1, 7), (0, 0, 0)]);
        publish(&mut joystick, &[7]).unwrap();
        assert_eq!(joystick.node.writes.len(), 1);
    }

    #[test]
    fn what_the_kernel_did_not_take_is_written_again() {
        let mut joystick = joystick();
        joystick.node.answers = [Err(io::Error::from_raw_os_error(libc::ENODEV))].into();
        let error = publish(&mut joystick, &[7, 0]).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::Reopen);
        assert!(error.to_string().contains("No such device"), "{error}");
        assert!(error.to_string().contains("modprobe uinput"), "{error}");
        publish(&mut joystick, &[7, 0]).unwrap();
        assert_eq!(joystick.node.writes[0], joystick.node.writes[1]);
        publish(&mut joystick, &[7, 0]).unwrap();
        assert_eq!(joystick.node.writes.len(), 2);
    }

    #[test]
    fn a_signal_only_repeats_the_write_and_half_a_write_is_an_error() {
        let mut joystick = joystick();
        joystick.node.answers = [Err(io::ErrorKind::Interrupted.into())].into();
        publish(&mut joystick, &[7, 0]).unwrap();
        assert_eq!(joystick.node.writes.len(), 2);
        joystick.node.answers = [Ok(EVENT_BYTES)].into();
        assert_eq!(publish(&mut joystick, &[8, 0]).unwrap_err().kind(), ErrorKind::Reopen);
    }

    #[test]
    fn a_frame_without_the_trim_is_refused_before_anything_is_written() {
        let mut joystick = joystick();
        let error = publish(&mut joystick, &[7]).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::ChangeConfig);
        assert!(joystick.node.writes.is_empty());
    }

    #[test]
    fn nothing_is_allocated_per_frame() {
        let places: Vec<_> =
            AxisCode::ALL.into_iter().map(|axis| Place { trim: TrimIndex::new(0), axis, value: 0 }).collect();
        let mut joystick = Joystick::new("axis".to_owned(), io::sink(), &places, &[], Course::Whole);
        let frames = [readings(&[1]), readings(&[-32767]), readings(&[-32767])];
        let counted = allocation_counter::measure(|| {
            for trims in &frames {
                joystick.publish(&Frame { at: Timestamp::START, sequence: 1, trims }).unwrap();
            }
        });
        assert_eq!(counted.count_total, 0);
    }
}
