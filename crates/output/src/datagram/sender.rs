use super::encoder::Encoder;
use super::times::Times;
use crate::{ConfigProblem, Frame, Output, OutputError, TrimReading};
use std::io;
use std::net::{SocketAddr, UdpSocket};
use tallywheel_units::{Timestamp, TrimIndex};

/// What a datagram is handed to, so that a test can be a network in trouble.
pub(super) trait Link: Send {
    /// Sends without waiting.
    fn send(&self, datagram: &[u8]) -> io::Result<usize>;
}

impl Link for UdpSocket {
    fn send(&self, datagram: &[u8]) -> io::Result<usize> {
        Self::send(self, datagram)
    }
}

/// Sends the readings of its trims when they have changed: one datagram per change. [`super::times`] says when.
pub(super) struct Sender<L> {
    name: String,
    to: SocketAddr,
    link: L,
    encoder: Box<dyn Encoder>,
    trims: Vec<TrimIndex>,
    /// The readings of this frame, in the order of `trims`.
    readings: Vec<TrimReading>,
    /// The readings that went out last; empty before the first.
    sent: Vec<TrimReading>,
    bytes: Vec<u8>,
    times: Times,
}

impl<L: Link> Sender<L> {
    /// `link` is open and never waits; `encoder` was made for the names of `trims`.
    pub(super) fn new(
        name: String,
        to: SocketAddr,
        link: L,
        encoder: Box<dyn Encoder>,
        trims: Vec<TrimIndex>,
        times: Times,
    ) -> Self {
        Self {
            name,
            to,
            link,
            bytes: Vec::with_capacity(encoder.largest()),
            encoder,
            readings: Vec::with_capacity(trims.len()),
            sent: Vec::with_capacity(trims.len()),
            trims,
            times,
        }
    }

    /// Whether a receiver would see any difference to what went out last.
    fn has_changed(&mut self) -> bool {
        let Self { encoder, sent, readings, .. } = self;
        let pairs = sent.iter().zip(readings.iter()).enumerate();
        sent.is_empty() || pairs.into_iter().any(|(place, (sent, now))| encoder.differs(place, sent, now))
    }

    fn send(&self) -> Result<(), OutputError> {
        match self.link.send(&self.bytes) {
            Ok(_) => Ok(()),
            // The system tells that nobody took the datagram before, and does not send this one: once more,
            // or a simulator that has just started would miss it.
            Err(error) if is_refusal(&error) => match self.link.send(&self.bytes) {
                Ok(_) => Err(OutputError::CarryOn { to: self.to }),
                Err(error) => Err(not_sent(error)),
            },
            Err(error) => Err(not_sent(error)),
        }
    }
}

impl<L: Link> Output for Sender<L> {
    fn name(&self) -> &str {
        &self.name
    }

    fn publish(&mut self, frame: &Frame<'_>) -> Result<(), OutputError> {
        self.readings.clear();
        for &trim in &self.trims {
            self.readings.push(*frame.trim(trim).ok_or(ConfigProblem::NoSuchTrim(trim))?);
        }
        let changed = self.has_changed();
        if !self.times.is_due(frame.at, changed) {
            return Ok(());
        }
        self.bytes.clear();
        self.encoder.encode(self.times.stamp(frame.at), &self.readings, &mut self.bytes);
        let outcome = self.send();
        match &outcome {
            Ok(()) | Err(OutputError::CarryOn { .. }) => {
                std::mem::swap(&mut self.sent, &mut self.readings);
                self.times.sent(frame.at);
            }
            Err(OutputError::Resend { .. }) => self.times.held_up(frame.at),
            Err(_) => self.times.lost(),
        }
        outcome
    }

    fn deadline(&self) -> Option<Timestamp> {
        self.times.deadline()
    }
}

/// The receiver's machine answered that nobody listens on that port (reset is how Windows puts it).
fn is_refusal(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::ConnectionRefused | io::ErrorKind::ConnectionReset)
}

fn not_sent(source: io::Error) -> OutputError {
    if is_refusal(&source) || is_busy(&source) {
        return OutputError::Resend {
            reason: "a datagram did not get out",
            cure: "the position is sent again by itself; close what keeps the network busy",
            source,
        };
    }
    OutputError::Reopen {
        reason: "the datagrams do not get out any more",
        cure: "check the network, the firewall and the address in the aircraft file",
        source,
    }
}

/// The machine has no room for the datagram at the moment.
fn is_busy(error: &io::Error) -> bool {
    let kinds = [io::ErrorKind::WouldBlock, io::ErrorKind::Interrupted, io::ErrorKind::OutOfMemory];
    kinds.contains(&error.kind()) || error.raw_os_error() == Some(NO_BUFFER_SPACE)
}

/// Linux's `ENOBUFS`, which std has no kind for.
#[cfg(target_os = "linux")]
const NO_BUFFER_SPACE: i32 = libc::ENOBUFS;
/// Windows Sockets' `WSAENOBUFS`.
#[cfg(not(target_os = "linux"))]
const NO_BUFFER_SPACE: i32 = 10_055;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Epoch;
    use crate::ErrorKind;
    use crate::datagram::encoder;
    use std::collections::VecDeque;
    use std::sync::{Arc, Mutex};
    use std::time::Duration;
    use tallywheel_profile::{DatagramConfig, LayoutField, NumberForm, NumberSource, Template, TextForm};
    use tallywheel_units::Normalized;

    /// What the network answers next (it takes what is left over) and what it took.
    #[derive(Debug, Default)]
    struct Network {
        answers: VecDeque<io::Error>,
        taken: Vec<String>,
    }

    #[derive(Clone, Default)]
    struct Wire(Arc<Mutex<Network>>);

    impl Link for Wire {
        fn send(&self, datagram: &[u8]) -> io::Result<usize> {
            let mut network = self.0.lock().unwrap();
            match network.answers.pop_front() {
                Some(error) => Err(error),
                None => {
                    network.taken.push(String::from_utf8(datagram.to_vec()).unwrap());
                    Ok(datagram.len())
                }
            }
        }
    }

    impl Wire {
        fn answers(&self, errors: impl IntoIterator<Item = io::Error>) {
            self.0.lock().unwrap().answers.extend(errors);
        }
        fn taken(&self) -> Vec<String> {
            std::mem::take(&mut self.0.lock().unwrap().taken)
        }
        fn sender(&self) -> Sender<Self> {
            self.sender_with(|_| ())
        }
        fn sender_with(&self, change: impl FnOnce(&mut DatagramConfig)) -> Sender<Self> {
            let to = SocketAddr::from(([127, 0, 0, 1], 47_811));
            let trims = vec![(TrimIndex::new(0), "t".to_owned())];
            let mut config = DatagramConfig::new(to, Template::Line, trims);
            change(&mut config);
            let encoder = encoder(&config).unwrap();
            let times = Times::new(&config, Epoch::ZERO);
            Sender::new("datagram".to_owned(), to, self.clone(), encoder, config.sent(), times)
        }
    }

    fn publish(sender: &mut Sender<Wire>, millis: u64, position: f64) -> Result<(), ErrorKind> {
        let trims = [TrimReading { normalized: Normalized::clamped(position), ..TrimReading::NEUTRAL }];
        let at = Timestamp::from_micros(millis * 1_000);
        sender.publish(&Frame { at, sequence: millis, trims: &trims }).map_err(|error| error.kind())
    }

    fn busy() -> [io::Error; 3] {
        [
            io::ErrorKind::WouldBlock.into(),
            io::ErrorKind::Interrupted.into(),
            io::Error::from_raw_os_error(NO_BUFFER_SPACE),
        ]
    }

    #[test]
    fn a_position_that_found_no_room_is_sent_again_until_it_is_out() {
        let wire = Wire::default();
        let mut sender = wire.sender();
        wire.answers(busy());
        for millis in [0, 100, 200] {
            assert_eq!(publish(&mut sender, millis, 0.5), Err(ErrorKind::Resend));
            assert_eq!(sender.deadline(), Some(Timestamp::from_micros((millis + 100) * 1_000)));
        }
        assert_eq!(publish(&mut sender, 300, 0.5), Ok(()));
        assert_eq!(publish(&mut sender, 301, 0.5), Ok(()));
        assert_eq!(wire.taken(), ["t 0.5\n"]);
        assert_eq!(sender.deadline(), None);
    }

    #[test]
    fn only_the_newest_position_is_sent_again() {
        let wire = Wire::default();
        let mut sender = wire.sender();
        publish(&mut sender, 0, 0.0).unwrap();
        wire.answers(busy());
        for (millis, position) in [(1, 0.1), (2, 0.2), (3, 0.3)] {
            assert_eq!(publish(&mut sender, millis, position), Err(ErrorKind::Resend));
        }
        assert_eq!(publish(&mut sender, 4, 0.4), Ok(()));
        assert_eq!(wire.taken(), ["t 0\n", "t 0.4\n"]);
    }

    #[test]
    fn a_position_that_came_back_to_what_was_sent_needs_no_sending() {
        let wire = Wire::default();
        let mut sender = wire.sender();
        publish(&mut sender, 0, 0.0).unwrap();
        wire.answers(busy().into_iter().take(1));
        assert_eq!(publish(&mut sender, 1, 0.1), Err(ErrorKind::Resend));
        assert_eq!(publish(&mut sender, 2, 0.0), Ok(()));
        assert_eq!((wire.taken().len(), sender.deadline()), (1, None));
    }

    #[test]
    fn after_a_refusal_the_datagram_goes_out_with_a_second_try() {
        for refusal in [io::ErrorKind::ConnectionRefused, io::ErrorKind::ConnectionReset] {
            let wire = Wire::default();
            let mut sender = wire.sender();
            wire.answers([refusal.into()]);
            assert_eq!(publish(&mut sender, 0, 0.5), Err(ErrorKind::CarryOn));
            assert_eq!((wire.taken().len(), sender.deadline()), (1, None));
            assert_eq!(publish(&mut sender, 1, 0.5), Ok(()), "it is out, so it is not sent again");
            assert_eq!(wire.taken().len(), 0);
            wire.answers([refusal.into(), refusal.into()]);
            assert_eq!(publish(&mut sender, 2, 0.6), Err(ErrorKind::Resend));
            assert!(sender.deadline().is_some());
        }
    }

    #[test]
    fn a_network_that_is_gone_needs_a_new_socket() {
        for error in
            [io::ErrorKind::NetworkUnreachable, io::ErrorKind::HostUnreachable, io::ErrorKind::NetworkDown]
        {
            let wire = Wire::default();
            let mut sender = wire.sender();
            wire.answers([io::ErrorKind::WouldBlock.into(), error.into()]);
            assert_eq!(publish(&mut sender, 0, 0.5), Err(ErrorKind::Resend));
            assert_eq!(publish(&mut sender, 1, 0.5), Err(ErrorKind::Reopen));
            assert_eq!(sender.deadline(), None, "whoever opens it again says when");
        }
    }

    const fn millis(millis: u64) -> Timestamp {
        Timestamp::from_micros(millis * 1_000)
    }

    #[test]
    fn a_limited_rate_sends_the_newest_position_in_the_end() {
        let wire = Wire::default();
        let mut sender = wire.sender_with(|config| config.min_interval = Duration::from_millis(50));
        for (at, position, deadline) in [
            (0, 0.0, None),
            (10, 0.1, Some(50)),
            (20, 0.2, Some(50)),
            (49, 0.3, Some(50)),
            (50, 0.3, None),
            (60, 0.4, Some(100)),
            // Back to what the receiver has: nothing is owed any more.
            (70, 0.3, None),
            (100, 0.3, None),
            (101, 0.5, None),
        ] {
            assert_eq!(publish(&mut sender, at, position), Ok(()));
            assert_eq!(sender.deadline(), deadline.map(millis), "{at}");
        }
        assert_eq!(wire.taken(), ["t 0\n", "t 0.3\n", "t 0.5\n"]);
    }

    #[test]
    fn keep_alive_repeats_the_position_while_nothing_moves() {
        let wire = Wire::default();
        let mut sender = wire.sender_with(|config| config.keep_alive = Some(Duration::from_millis(100)));
        for (at, position, deadline) in
            [(0, 0.0, 100), (30, 0.1, 130), (99, 0.1, 130), (130, 0.1, 230), (300, 0.1, 400)]
        {
            assert_eq!(publish(&mut sender, at, position), Ok(()));
            assert_eq!(sender.deadline(), Some(millis(deadline)), "{at}");
        }
        assert_eq!(wire.taken(), ["t 0\n", "t 0.1\n", "t 0.1\n", "t 0.1\n"]);
    }

    #[test]
    fn each_datagram_has_the_next_number_and_a_later_time() {
        let wire = Wire::default();
        let number = |source| LayoutField::Number { source, form: NumberForm::Text(TextForm::default()) };
        let mut sender = wire.sender_with(|config| {
            let blank = || LayoutField::Bytes(b" ".to_vec());
            let trim = NumberSource::Trim(TrimIndex::new(0), tallywheel_profile::TrimValue::Counts);
            config.template = Template::Layout(vec![
                number(NumberSource::Sequence),
                blank(),
                number(NumberSource::TimeMicros),
                blank(),
                number(trim),
            ]);
        });
        let mut frames = |at, counts| {
            let trims =
                [TrimReading { counts: tallywheel_units::Counts::new(counts), ..TrimReading::NEUTRAL }];
            let at = Timestamp::from_micros(at);
            sender.publish(&Frame { at, sequence: 77, trims: &trims }).map_err(|error| error.kind())
        };
        frames(1_000, 0).unwrap();
        frames(1_000, 1).unwrap();
        // A frame of another board that was overtaken by a hair.
        frames(999, 2).unwrap();
        wire.answers([io::ErrorKind::WouldBlock.into()]);
        assert_eq!(frames(5_000, 3), Err(ErrorKind::Resend));
        frames(6_000, 4).unwrap();
        assert_eq!(wire.taken(), ["0 1000 0", "1 1001 1", "2 1002 2", "3 6000 4"]);
    }
}
