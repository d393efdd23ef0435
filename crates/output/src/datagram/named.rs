//! Datagrams to a machine that is known by its name.
//!
//! | state | what happens | next state | answer |
//! |---|---|---|---|
//! | looking up | a frame, no answer yet | looking up | taken, nothing sent; asked again after 10 ms, 20 ms, ... 1 s |
//! | looking up | a frame, the name has addresses | sending | as [`Sender`] answers |
//! | looking up | a frame, the name is unknown or leads nowhere | looking up | `Reopen` |
//! | sending | a frame | sending | as [`Sender`] answers |
//!
//! After `Reopen` this is dropped and made again, so a machine that has got another address is found.

use super::lookup::{self, Lookup, Resolve, UnderWay};
use super::sender::Sender;
use super::{Maker, connect, is_receiver, no_way};
use crate::{Frame, Output, OutputError};
use std::io;
use std::net::{SocketAddr, UdpSocket};
use std::time::Duration;
use tallywheel_units::Timestamp;

const FIRST_LOOK: Duration = Duration::from_millis(10);
const LONGEST_LOOK: Duration = Duration::from_secs(1);

pub(super) struct Named {
    name: String,
    state: State,
}

enum State {
    LookingUp {
        lookup: Lookup,
        /// Taken when the address is known.
        maker: Option<Maker>,
        wait: Duration,
        look_at: Timestamp,
    },
    Sending(Box<Sender<UdpSocket>>),
}

impl Named {
    pub(super) fn new(host: &str, port: u16, maker: Maker) -> Result<Self, OutputError> {
        static UNDER_WAY: UnderWay = UnderWay::new();
        Self::with(host, port, maker, lookup::system, &UNDER_WAY)
    }

    fn with(
        host: &str,
        port: u16,
        maker: Maker,
        resolve: Resolve,
        under_way: &'static UnderWay,
    ) -> Result<Self, OutputError> {
        let lookup = Lookup::start(host, port, resolve, under_way).map_err(not_found)?;
        let (name, maker) = (maker.name.clone(), Some(maker));
        let state = State::LookingUp { lookup, maker, wait: FIRST_LOOK, look_at: Timestamp::START };
        Ok(Self { name, state })
    }
}

impl Output for Named {
    fn name(&self) -> &str {
        &self.name
    }

    fn publish(&mut self, frame: &Frame<'_>) -> Result<(), OutputError> {
        let (addresses, maker) = match &mut self.state {
            State::Sending(sender) => return sender.publish(frame),
            State::LookingUp { lookup, maker, wait, look_at } => match lookup.answer() {
                Some(answer) => (answer.map_err(not_found)?, maker.take()),
                None => {
                    if frame.at >= *look_at {
                        *look_at = frame.at.after(*wait);
                        *wait = wait.saturating_mul(2).min(LONGEST_LOOK);
                    }
                    return Ok(());
                }
            },
        };
        let (to, socket) = first_way(addresses)?;
        // It is there: there is one answer, and after it one state or the other goes.
        let Some(maker) = maker else { return Err(not_found(io::ErrorKind::NotFound.into())) };
        let mut sender = maker.with(to, socket);
        let outcome = sender.publish(frame);
        self.state = State::Sending(Box::new(sender));
        outcome
    }

    fn deadline(&self) -> Option<Timestamp> {
        match &self.state {
            State::LookingUp { look_at, .. } => Some(*look_at),
            State::Sending(sender) => sender.deadline(),
        }
    }

    fn is_opening(&self) -> bool {
        matches!(self.state, State::LookingUp { .. })
    }
}

/// A socket to the first of the addresses that there is a way to, IPv4 before IPv6: `localhost` has both, and
/// most simulators listen on IPv4 alone (common practice, no source).
fn first_way(mut addresses: Vec<SocketAddr>) -> Result<(SocketAddr, UdpSocket), OutputError> {
    addresses.retain(|address| is_receiver(*address));
    addresses.sort_by_key(SocketAddr::is_ipv6);
    let mut last = not_found(io::Error::new(io::ErrorKind::NotFound, "it has no address"));
    for to in addresses {
        match connect(to) {
            Ok(socket) => return Ok((to, socket)),
            Err(error) => last = no_way(error),
        }
    }
    Err(last)
}

fn not_found(source: io::Error) -> OutputError {
    OutputError::Reopen {
        reason: "the name of the receiver is not known",
        cure: "start that machine, or correct the name in the aircraft file, or give an IP address",
        source,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::datagram::{Times, encoder};
    use crate::{Epoch, ErrorKind, TrimReading};
    use std::sync::Mutex;
    use std::thread;
    use tallywheel_profile::{DatagramConfig, Destination, Template};
    use tallywheel_units::TrimIndex;

    fn maker(port: u16) -> Maker {
        let to = Destination::Host { name: "simpc.local".to_owned(), port };
        let config = DatagramConfig::new(to, Template::Line, vec![(TrimIndex::new(0), "t".to_owned())]);
        Maker {
            name: format!("datagram {}", config.to),
            encoder: encoder(&config).unwrap(),
            trims: config.sent(),
            times: Times::new(&config, Epoch::ZERO),
        }
    }

    fn publish(output: &mut Named, micros: u64) -> Result<(), ErrorKind> {
        let frame = Frame { at: Timestamp::from_micros(micros), sequence: 0, trims: &[TrimReading::NEUTRAL] };
        output.publish(&frame).map_err(|error| error.kind())
    }

    /// Gives the frame again and again until the lookup has ended.
    fn publish_until_known(output: &mut Named) -> Result<(), ErrorKind> {
        loop {
            publish(output, 0)?;
            if !output.is_opening() {
                return Ok(());
            }
            thread::yield_now();
        }
    }

    fn receive(receiver: &UdpSocket) -> String {
        let mut bytes = [0; 64];
        let length = receiver.recv(&mut bytes).unwrap();
        String::from_utf8(bytes[..length].to_vec()).unwrap()
    }

    #[test]
    fn frames_wait_for_the_name_and_the_newest_is_sent_then() {
        static GATE: Mutex<()> = Mutex::new(());
        static UNDER_WAY: UnderWay = UnderWay::new();
        fn slow(_: &str, port: u16) -> io::Result<Vec<SocketAddr>> {
            drop(GATE.lock().unwrap());
            // Both of what `localhost` often has, and what is no receiver.
            let addresses = ["[::1]", "0.0.0.0", "127.0.0.1"];
            Ok(addresses.iter().map(|ip| format!("{ip}:{port}").parse().unwrap()).collect())
        }
        let receiver = UdpSocket::bind("127.0.0.1:0").unwrap();
        let port = receiver.local_addr().unwrap().port();
        let closed = GATE.lock().unwrap();
        let mut output = Named::with("simpc.local", port, maker(port), slow, &UNDER_WAY).unwrap();
        assert_eq!(output.name(), format!("datagram simpc.local:{port}"));
        let waits = [0, 10, 20, 30, 70, 150, 310, 630, 1_270, 2_270, 3_270].map(|millis| {
            assert_eq!(publish(&mut output, millis * 1_000), Ok(()));
            assert!(output.is_opening());
            output.deadline().unwrap().micros() / 1_000
        });
        assert_eq!(waits, [10, 30, 30, 70, 150, 310, 630, 1_270, 2_270, 3_270, 4_270]);
        drop(closed);
        assert_eq!(publish_until_known(&mut output), Ok(()));
        assert_eq!((receive(&receiver).as_str(), output.deadline()), ("t 0\n", None));
    }

    #[test]
    fn a_name_that_nobody_knows_is_tried_again_by_whoever_opens() {
        static UNDER_WAY: UnderWay = UnderWay::new();
        fn unknown(_: &str, _: u16) -> io::Result<Vec<SocketAddr>> {
            Err(io::Error::new(io::ErrorKind::NotFound, "no such host"))
        }
        fn nowhere(_: &str, port: u16) -> io::Result<Vec<SocketAddr>> {
            Ok(vec![SocketAddr::from(([0, 0, 0, 0], port))])
        }
        let resolvers: [Resolve; 2] = [unknown, nowhere];
        for resolve in resolvers {
            let mut output = Named::with("simpc.local", 9, maker(9), resolve, &UNDER_WAY).unwrap();
            assert_eq!(publish_until_known(&mut output), Err(ErrorKind::Reopen));
        }
    }

    /// RFC 6761, section 6.3: `localhost` is this machine everywhere; section 6.4: `invalid` is nowhere.
    #[test]
    fn the_system_knows_this_machine() {
        let receiver = UdpSocket::bind("127.0.0.1:0").unwrap();
        let port = receiver.local_addr().unwrap().port();
        let mut output = Named::new("localhost", port, maker(port)).unwrap();
        assert_eq!(publish_until_known(&mut output), Ok(()));
        assert_eq!(receive(&receiver), "t 0\n");
        let mut output = Named::new("simpc.invalid", port, maker(port)).unwrap();
        assert_eq!(publish_until_known(&mut output), Err(ErrorKind::Reopen));
    }

    #[test]
    fn there_is_a_limit_to_the_lookups_under_way() {
        static UNDER_WAY: UnderWay = UnderWay::new();
        fn for_ever(_: &str, _: u16) -> io::Result<Vec<SocketAddr>> {
            loop {
                thread::park();
            }
        }
        let mut under_way = Vec::new();
        let error = loop {
            match Named::with("simpc.local", 9, maker(9), for_ever, &UNDER_WAY) {
                Ok(output) => under_way.push(output),
                Err(error) => break error,
            }
            assert!(under_way.len() <= 16);
        };
        assert_eq!(error.kind(), ErrorKind::Reopen);
    }
}
