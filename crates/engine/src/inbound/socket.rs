//! Reads the datagrams, few enough and of allowed senders only.

use super::bucket::Bucket;
use super::message::LONGEST_BYTES;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::time::Duration;
use tallywheel_profile::Simulator;
use tallywheel_units::Timestamp;
use tokio::net::UdpSocket;

/// The most datagrams that are looked at in a second; simulators send at most at their frame rate.
const PER_SECOND: u64 = 250;
/// The most that are taken from the system at once.
const BATCH: usize = 256;
/// How long a flood is left to the system, which drops what does not fit its own buffer.
const PAUSE: Duration = Duration::from_millis(50);

/// A datagram that came in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arrival<'a> {
    /// To be looked at: its sender and its bytes, one more than the longest at most.
    Datagram(SocketAddr, &'a [u8]),
    /// From a sender that is not allowed.
    Stranger,
    /// Beyond what is looked at in a second.
    Flooded,
}

/// The open socket.
#[derive(Debug)]
pub struct Socket {
    socket: UdpSocket,
    simulator: Simulator,
    bucket: Bucket,
    buffer: Box<[u8]>,
    flooded: bool,
}

impl Socket {
    /// Opens it; there must be a runtime.
    ///
    /// # Errors
    /// Where the address is taken or is not this machine's.
    pub fn open(simulator: &Simulator) -> io::Result<Self> {
        let socket = std::net::UdpSocket::bind(simulator.listen)?;
        socket.set_nonblocking(true)?;
        Ok(Self {
            socket: UdpSocket::from_std(socket)?,
            simulator: simulator.clone(),
            bucket: Bucket::new(PER_SECOND),
            // One byte more than is looked at tells what is longer.
            buffer: vec![0; LONGEST_BYTES + 1].into(),
            flooded: false,
        })
    }

    /// What it was opened for.
    #[must_use]
    pub const fn simulator(&self) -> &Simulator {
        &self.simulator
    }

    /// Where it truly listens.
    ///
    /// # Errors
    /// Those of the system.
    pub fn address(&self) -> io::Result<SocketAddr> {
        self.socket.local_addr()
    }

    /// Returns when there is something to read. Nothing is lost where the caller gives up waiting.
    pub async fn readable(&self) {
        if self.flooded {
            tokio::time::sleep(PAUSE).await;
        }
        if self.socket.readable().await.is_err() {
            // Nothing that can be waited for; it must not spin.
            tokio::time::sleep(Duration::from_secs(1)).await;
        }
    }

    /// Hands what there is to `take`, within the limits.
    pub fn read(&mut self, at: Timestamp, mut take: impl FnMut(Arrival<'_>)) {
        self.flooded = false;
        for _ in 0..BATCH {
            match self.socket.try_recv_from(&mut self.buffer) {
                Ok((length, from)) => {
                    if !allowed(&self.simulator, from.ip()) {
                        take(Arrival::Stranger);
                    } else if !self.bucket.take(at) {
                        self.flooded = true;
                        take(Arrival::Flooded);
                    } else {
                        take(Arrival::Datagram(from, self.buffer.get(..length).unwrap_or_default()));
                    }
                }
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => return,
                // Somebody whom this socket never sent anything is not there: Windows says so to the receiver.
                Err(_) => {}
            }
        }
        self.flooded = true;
    }
}

fn allowed(simulator: &Simulator, from: IpAddr) -> bool {
    // A socket for both kinds of addresses tells IPv4 ones in the other form.
    let from = from.to_canonical();
    if simulator.senders.is_empty() { from.is_loopback() } else { simulator.senders.contains(&from) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn simulator(senders: &[&str]) -> Simulator {
        Simulator {
            listen: "127.0.0.1:0".parse().unwrap(),
            senders: senders.iter().map(|sender| sender.parse().unwrap()).collect(),
            gone_after: Duration::from_secs(5),
        }
    }

    fn at(ms: u64) -> Timestamp {
        Timestamp::from_micros(ms * 1000)
    }

    /// What came in.
    #[derive(Debug, PartialEq, Eq, Default)]
    struct Came {
        datagrams: usize,
        longest: usize,
        strangers: usize,
        flooded: usize,
    }

    /// Sends `number` datagrams and reads until `done`.
    fn read(senders: &[&str], number: usize, bytes: &[u8], done: impl Fn(&Came) -> bool) -> Came {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        runtime.block_on(async {
            let mut socket = Socket::open(&simulator(senders)).unwrap();
            let sender = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
            for _ in 0..number {
                sender.send_to(bytes, socket.address().unwrap()).unwrap();
            }
            let mut came = Came::default();
            while !done(&came) {
                tokio::time::timeout(Duration::from_secs(30), socket.readable()).await.expect("nothing came");
                socket.read(at(0), |arrival| match arrival {
                    Arrival::Datagram(_, bytes) => {
                        came.datagrams += 1;
                        came.longest = came.longest.max(bytes.len());
                    }
                    Arrival::Stranger => came.strangers += 1,
                    Arrival::Flooded => came.flooded += 1,
                });
            }
            came
        })
    }

    #[test]
    fn strangers_are_not_looked_at() {
        let came = read(&["10.1.2.3"], 3, b"x", |came| came.strangers == 3);
        assert_eq!(came, Came { strangers: 3, ..Came::default() });
        let came = read(&["127.0.0.1"], 3, b"x", |came| came.datagrams == 3);
        assert_eq!(came.strangers, 0);
    }

    #[test]
    fn a_flood_is_bounded() {
        let came = read(&[], 400, b"x", |came| came.flooded > 0);
        assert_eq!(came.datagrams, 250);
    }

    #[test]
    fn a_long_datagram_is_cut_where_it_shows() {
        let came = read(&[], 1, &[b' '; 9000], |came| came.datagrams == 1);
        assert_eq!(came.longest, LONGEST_BYTES + 1);
    }

    #[test]
    fn addresses_of_both_kinds_are_known() {
        let mapped: IpAddr = "::ffff:127.0.0.1".parse().unwrap();
        assert!(allowed(&simulator(&[]), mapped));
        assert!(allowed(&simulator(&["127.0.0.1"]), mapped));
        assert!(!allowed(&simulator(&[]), "10.0.0.1".parse().unwrap()));
    }
}
